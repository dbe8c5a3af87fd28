"""The set-up compared, as JSON: what one cut meets, and every skid shoe with every knife."""

from __future__ import annotations

from json_words import Schema, each, number, of, parts, text


def _range(meaning: str, *, maybe: bool = False) -> Schema:
    """Low, value and high."""
    return of(
        "array",
        f"{meaning}: low, value, high",
        maybe=maybe,
        items=number("", maybe=True),
        minItems=3,
        maxItems=3,
    )


MET = {
    "strikes": number("strikes reckoned for one cut, as advised", maybe=True, minimum=0),
    "strikes_low": number("low end of it", maybe=True, minimum=0),
    "strikes_high": number("high end of it", maybe=True, minimum=0),
    "wraps": number("wraps reckoned for one cut", maybe=True, minimum=0),
    "forage_things": number("things that end in the forage", maybe=True, minimum=0),
    "set_up_cost": number("what one cut with the set-up advised costs", maybe=True),
    "set_up_margin": number("how much dearer the second is", maybe=True),
    "power_needed_kw": number("power at the shaft on the steepest climb", maybe=True, minimum=0),
    "work_rate_ha_h": number("work rate", maybe=True, minimum=0),
}
OPTION = parts(
    "",
    {
        "shoe": text("skid shoe"),
        "knife": text("knife, as in machines.toml"),
        "name": text("both in words"),
        "cut_m": number("cut height", minimum=0),
        "inside": of("boolean", "whether it lies inside the limits"),
        "why_not": text("why not; may be empty"),
        "best": of("boolean", "whether it is advised"),
        "strikes": _range("strikes"),
        "wraps": _range("wraps"),
        "forage": _range("things in the forage"),
        "yield_t": _range("hay given up by the height, t"),
        "ash_points": _range("ash added, points"),
        "tdn_points": _range("digestible nutrients lost, points"),
        "stand_left_pct": _range("stand left after five cuts", maybe=True),
        "cost": _range("money"),
        "parts": of(
            "object",
            "the money by part",
            additionalProperties=_range("money of one part"),
        ),
    },
)
SET_UP = {
    **parts(
        "shoes and knives compared; null where the ground is not for knives",
        {
            "options": each("each skid shoe with each knife", OPTION),
            "margin": _range("how much dearer the second is", maybe=True),
            "second": text("the second; may be empty"),
            "flips": each("what would change the advice", text("")),
            "unknown": each("what is not known", text("")),
        },
    ),
    "type": ["object", "null"],
}
