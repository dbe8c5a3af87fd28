"""JSON Schema of what a day prints: the order of the fields, and what is left out."""

from __future__ import annotations

from json_words import Schema, each, level, named, number, of, parts, text, whole

_MOMENT = r"^\d{4}-\d\d-\d\dT\d\d:\d\d[+-]\d\d:\d\d$"
_DAY = r"^\d{4}-\d\d-\d\d$"
SURVEY = parts(
    "",
    {
        "place": text("which place"),
        "where": text("the same in words"),
        "measure": text("what to measure"),
        "must_beat": number("figure it must beat, in `unit`", maybe=True),
        "unit": text("`m`, `kg` or empty"),
        "why": text("one sentence"),
        "lon": number("degrees east", maybe=True),
        "lat": number("degrees north", maybe=True),
    },
)


def moment(meaning: str, *, maybe: bool = False) -> Schema:
    return text(meaning, maybe=maybe, pattern=_MOMENT)


def drive(meaning: str, *, maybe: bool = False) -> Schema:
    return parts(
        meaning,
        {
            "from": text("where it begins"),
            "to": text("where it ends"),
            "leave": moment("when it leaves"),
            "arrive": moment("when it is there"),
            "minutes": number("time on the road", minimum=0),
            "length_km": number("length of the way", minimum=0),
            "level": level("answer of the road move"),
            "why": text("what was found on it"),
        },
    ) | ({"type": ["object", "null"]} if maybe else {})


STOP = parts(
    "",
    {
        "n": whole("number in the order"),
        "field_id": text("the field", minLength=1),
        "name": text("its name; may be empty"),
        "area_ha": number("area", minimum=0),
        "level": level("the worse of field and drive"),
        "ground_level": level("the field's own answer"),
        "ground_why": text("the sentence behind it", minLength=1),
        "drive": drive("the drive there"),
        "mow_from": moment("mowing begins"),
        "mow_to": moment("mowing ends"),
        "leave": moment("ready to drive on"),
        "mowing_min": number("minutes of laps, runs and turns, rounded up", minimum=0),
        "mowing_low_min": number("at the fast end", maybe=True),
        "mowing_high_min": number("at the slow end", maybe=True),
        "heading_deg": number("line of travel, degrees from north", maybe=True),
        "runs": number("runs along it", maybe=True),
        "turns": number("turns between them", maybe=True),
    },
)
MACHINE = parts(
    "",
    {
        "machine": text("id of the machine", minLength=1),
        "name": text("its name"),
        "state": text("transport state"),
        "start": text("where it starts and comes back to"),
        "stops": each("fields in their order", STOP),
        "home": drive("the drive back; null when nothing fits", maybe=True),
        "slow": each("what the slow end of the mowing does to the day", text("")),
        "drive_min": number("minutes on the road", minimum=0),
        "length_km": number("kilometres on the road", minimum=0),
        "mowing_min": number("minutes of mowing", minimum=0),
        "area_ha": number("hectares mown", minimum=0),
    },
)
LEFT = parts(
    "",
    {
        "field_id": text("the field", minLength=1),
        "name": text("its name; may be empty"),
        "area_ha": number("area", minimum=0),
        "reasons": each(
            "one a machine",
            parts(
                "",
                {
                    "machine": text("name of the machine"),
                    "kind": text(
                        "`ground`, `road`, `mowing time` or `time`",
                        enum=["ground", "road", "mowing time", "time"],
                    ),
                    "level": level("how bad it is; `ok` when only the hours are too short"),
                    "why": text("one sentence", minLength=1),
                    "survey": each("places whose measuring may open the road", SURVEY),
                },
            ),
        ),
    },
)


def day_results(finding: Schema, source: Schema, files: Schema) -> dict[str, Schema]:
    found = finding["properties"] | {"drives": each("the drives it was found on", text(""))}
    told = parts("one statement on the drives", found)
    return {
        "day": parts(
            "",
            {
                "schema": {"const": "fieldmap/1", "description": "as in `days/<name>.json`"},
                "farm": text("name of the farm"),
                "note": text("its note; may be empty"),
                "day": parts(
                    "the day as a whole",
                    {
                        "date": text("the day", pattern=_DAY),
                        "level": level("worst of all fields and drives in it"),
                        "time_zone": text("whose clock the times are of"),
                        "from": moment("hours of work begin"),
                        "to": moment("hours of work end"),
                        "sunrise": moment("sunrise", maybe=True),
                        "sunset": moment("sunset", maybe=True),
                        "sun": text("`usual`, `sun never sets` or `sun never rises`"),
                        "fields": whole("fields in the day"),
                        "left": whole("fields that are not"),
                        "area_ha": number("hectares mown", minimum=0),
                        "with_unknown": of("boolean", "ways with something unknown were used"),
                    },
                ),
                "notes": each("what to know of the plan", text("")),
                "cautions": each("what the plan does not know, and who decides", text("")),
                "machines": each("one a machine", MACHINE),
                "left": each("fields in nobody's day", LEFT),
                "findings": each("what was found on the drives", told),
                "survey": each("places to measure, each once", SURVEY),
                "sources": named("sources of the findings, by key", source),
                "files": files,
            },
        )
    }
