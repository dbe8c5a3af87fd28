"""Invented payloads for the cab sheet and the options: a plain field, and one full to the brim."""

from __future__ import annotations

from typing import Any

from page_payloads import field_payload, hazard
from page_pieces import collection, point, polygon

from fieldmap.finding import Finding, Level

STOP = (
    "WARNING: shut down and take the key out before you go near knives or rolls. The machine's "
    "manual decides where it says otherwise."
)
ROLLS = f"{STOP} Rolls grab twine and clothing: never clear them with power on."
PRESSURE = (
    "WARNING: the tyre maker's table rules. Do not lower the pressure for the field and then drive "
    "on the road with it."
)
WET = "NOTICE: stay off ground too wet to bear: a heavy axle packs soil deeper than it mends."
POWER = (
    "NOTICE: handbook averages, recalled and not checked; dull knives and thick patches take more. "
    "The manuals of the tractor and the mower decide."
)


def setting(what: str, level: Level = "ok", caution: str = "", **more: Any) -> dict[str, Any]:
    """A setting as a finding, with invented figures where none are given."""
    held = {"value": 4.0, "low": 3.0, "high": 6.0, "unit": "deg", "sources": ("practice",), **more}
    why = "The machine carries it, and the crop asks for it. The manual wins."
    return Finding(level, what, "LS-1", why, "assumed", caution=caution, **held).as_dict()


def settings() -> list[dict[str, Any]]:
    """All settings of a full sheet, in no order of use."""
    word = {"value": None, "low": None, "high": None, "unit": ""}
    return [
        setting("nitrate test", "care", "WARNING: have it tested before feeding. Labs differ.",
                **word, choice="test before feeding"),
        setting("work rate", unit="ha/h"),
        setting("field speed", "care", "WARNING: the most that the map allows. Slow down for wet "
                "grass and where the crop hides the ground.", unit="km/h"),
        setting("set-up compared", "care", "NOTICE: money puts the settings in an order, no more.",
                value=340.0, low=40.0, high=900.0, unit="money", choice="high shoe, low-lift"),
        setting("conditioner", "care", ROLLS, **word, choice="rubber rolls"),
        setting("knife", "care", STOP, **word, choice="low-lift knife"),
        setting("cut height and skid shoe", "care", STOP, value=0.1016, low=0.0762, high=0.127,
                unit="m cut", choice="skid shoe: high"),
        setting("knives since the last change", "unknown", f"{STOP} A cracked one can fly.",
                value=None, low=None, high=None, unit="ha"),
        setting("cutterbar tilt", caution="NOTICE: the lever differs by design; see the manual."),
        setting("cutterbar float", unit="N", value=450.0, low=300.0, high=600.0),
        setting("roll gap to start with", caution=STOP, unit="m gap", value=0.0016, low=0.0016,
                high=0.0024),
        setting("roll gap check", caution=ROLLS, **word, choice="foil through by hand, shut off"),
        setting("regrowth after the water", "care", "WARNING: do not bale or feed a stand that "
                "stood under water until it has grown again.", value=0.23, low=0.2, high=0.25,
                unit="m cut"),
        *(setting(f"axle load, axle {n}", "care", WET, value=5e3, low=4e3, high=6e3,
                  unit="kg", sources=("memory",)) for n in (1, 2)),
        *(setting(f"tyre pressure, axle {n}", "unknown", PRESSURE, value=None, low=None,
                  high=None, unit="kPa", sources=()) for n in (1, 2)),
        setting("power needed", "care", POWER, value=62.0, low=49.0, high=81.0, unit="kW"),
        setting("hitch height nobody expected", caution="The manual decides.", unit="m"),
    ]  # fmt: skip


def heading() -> dict[str, Any]:
    caution = (
        "WARNING: a slope worked out from a map is never leave to drive there. Wet grass slides."
    )
    return Finding(
        "care", "side slope on the best heading", "LS-1", "Both ways along it.", "mapped",
        ("invented.mower",), 11.0, 0.0, 19.0, 20.0, "%", caution, "run 90 / 270 deg",
    ).as_dict()  # fmt: skip


def crowded() -> dict[str, Any]:
    """12 zones, 25 marks with long notes, 19 settings, 14 steps, bad findings of every kind."""
    payload = field_payload()
    actions = ("keep out", "up and down only", "slow", "raise the cut", "pick up first",
               "go and look")  # fmt: skip
    levels = ("stop", "stop", "care", "care", "stop", "unknown")
    kinds = [f"kind {n}" for n in range(9)]
    marks = [
        (
            point(40 + 95 * (n % 5), 60 + 70 * (n // 5)),
            hazard(n, kinds[n % 9], kinds[n % 9], levels[n % 6], call="the landowner or a loader",
                   action="pick up first", note=f"Note {n}: " + "half under the silt, " * 20),
        )
        for n in range(25)
    ]  # fmt: skip
    zones = [
        (
            polygon((20 + 40 * n, 20), (55 + 40 * n, 20), (55 + 40 * n, 380), (20 + 40 * n, 380)),
            {"action": actions[n % 6], "level": levels[n % 6], "area_ha": 0.2 + n, "cause": "x",
             "reason": f"reason {n} that goes on about the slope and the brow for long " * 2},
        )
        for n in range(12)
    ]  # fmt: skip
    cautions = [f"WARNING: The {kind} can hurt. Somebody has to take it away, " + "slowly " * 9
                for kind in kinds]  # fmt: skip
    findings = [
        Finding("stop", kind, "LS-1", "Marked.", "measured", ("log",), 2.0, caution=caution)
        for kind, caution in zip(kinds, cautions, strict=True)
    ]
    names = ("ground looked at", "hollows", "stones left", "sight ahead", "turning on the headland")
    findings += [
        Finding("unknown", name, "LS-1", "Nobody knows. Look.", "mapped", ("practice",), None,
                limit=15.0, unit="%", caution="WARNING: a clear log is not a clear field. Look.")
        for name in names
    ]  # fmt: skip
    return payload | {
        "hazards": collection(*marks),
        "zones": collection(*zones),
        "settings": settings(),
        "findings": [heading(), *(one.as_dict() for one in findings)],
        "to_change": [f"Step {n}: walk it, look at it, and write down what lies there" for n in
                      range(14)],
        "currency": "USD",
        "links": {"index": "../index.html", "gpx": "", "field": "../fields/LS-1.html"},
    }  # fmt: skip


def option(shoe: str, knife: str, cut_m: float, cost: float, **more: Any) -> dict[str, Any]:
    spread = {"inside": True, "why_not": "", "best": False, "stand_left_pct": None, **more}
    return {
        "shoe": shoe, "knife": knife, "cut_m": cut_m,
        "strikes": [0.5, 1.2, 3.0], "wraps": [0.0, 0.1, 0.4], "forage": [0.0, 0.2, 1.0],
        "yield_t": [0.0, 2.36, 4.0], "ash_points": [0.1, 0.8, 3.2], "tdn_points": [0.1, 0.8, 3.1],
        "cost": [cost / 2, cost, None],
        "parts": {"strikes": [60.0, 180.0, 900.0], "yield given up": [0.0, cost - 180.0, 700.0]},
        **spread,
    }  # fmt: skip


def set_up() -> dict[str, Any]:
    return {
        "options": [
            option("low", "high_lift", 0.0508, 300.0, inside=False,
                   why_not="2.0 in is under the crop's 3.0 in"),
            option("middle", "low_lift", 0.0762, 905.0),
            option("high", "low_lift", 0.1016, 640.0, best=True),
        ],
        "margin": [40.0, 265.0, 900.0],
        "second": "middle shoe, low-lift knives",
        "flips": ["A strike would have to cost less than 60 USD."],
        "unknown": ["what knives are fitted"],
        "currency": "USD",
    }  # fmt: skip
