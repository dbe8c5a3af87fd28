"""JSON Schema of what a move tells beyond its legs: steps, corners, meeting traffic, light."""

from __future__ import annotations

from json_words import Schema, each, level, number, of, parts, text, whole

_OUTLINE = {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2}
_TIME = r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d$"


def _maybe(schema: Schema) -> Schema:
    return schema | {"type": [schema["type"], "null"]}


def _points(meaning: str) -> Schema:
    return each(meaning, _OUTLINE | {"description": ""})


MET = parts(
    "",
    {
        "at_m": number("metres driven to it", minimum=0),
        "level": level("its answer"),
        "what": text("what it is", minLength=1),
        "words": text("what to do there, or why it is told"),
        "caution": text("the caution that goes with it; may be empty"),
        "ask": text("whom to ask; may be empty"),
        "lon": number("degrees east"),
        "lat": number("degrees north"),
        "long_m": number("how far it goes on; 0 for a spot", minimum=0),
    },
)
STEPS = each(
    "the way as a driver is told it",
    parts(
        "",
        {
            "n": whole("number of the step"),
            "words": text("what to do where it begins", minLength=1),
            "road": text("the road driven; empty for the arrival"),
            "ways": each("OpenStreetMap ways, in order", whole("")),
            "legs": each("first leg in it, and the one after its last, from 0", whole("")),
            "from_m": number("metres driven before it", minimum=0),
            "length_m": number("metres driven on it", minimum=0),
            "level": level("worst of its legs and of what is met"),
            "met": each("what is met on it, in driving order", MET),
            "lon": number("degrees east, where it begins"),
            "lat": number("degrees north"),
            "bearing_deg": number("heading after the turn, from the grid's north", maybe=True),
            "turn_deg": number("change of heading there, to the right positive", maybe=True),
        },
    ),
)
CORNERS = each(
    "corners, bends and gates on the way",
    parts(
        "",
        {
            "place": text("which place"),
            "where": text("the same in words"),
            "level": level("its answer"),
            "why": text("one sentence"),
            "deflection_deg": number("change of heading, to the right positive", maybe=True),
            "low_m": number("room at the least width", maybe=True),
            "high_m": number("room at the greatest width", maybe=True),
            "need_m": number("room the train sweeps", maybe=True),
            "lon": number("degrees east", maybe=True),
            "lat": number("degrees north", maybe=True),
            "lane_low": _points("outline of the road at the least width: x east, y north (m)"),
            "lane_high": _points("the same at the greatest width"),
            "swept": _points("outline of the ground swept"),
            "path": _points("line of the steering axle's middle"),
        },
    ),
)
_SURE = ["surely", "possibly"]
MEETING = parts(
    "where a car finds no room beside the machine",
    {
        "runs": each(
            "stretches without a place to pull in",
            parts(
                "",
                {
                    "sure": text("`surely` or `possibly`", enum=_SURE),
                    "where": text("the road it begins on"),
                    "from_m": number("metres driven to its begin"),
                    "to_m": number("metres driven to its end"),
                    "length_m": number("its length"),
                    "minutes": number("at road speed", maybe=True),
                    "car_kmh": number("speed of cars there"),
                    "legs": each("its first and last leg, from 0", whole("")),
                    "lon": number("degrees east"),
                    "lat": number("degrees north"),
                },
            ),
        ),
        "pull_ins": each(
            "places to let others by",
            parts(
                "",
                {
                    "sure": text("`surely` or `possibly`", enum=_SURE),
                    "kind": text("`wide road`, `passing place` or `side road`"),
                    "where": text("the road"),
                    "at_m": number("metres driven to it"),
                    "lon": number("degrees east"),
                    "lat": number("degrees north"),
                },
            ),
        ),
        "sight": each(
            "crests and bends at which cars come into sight late",
            parts(
                "",
                {
                    "sure": text("`surely` or `possibly`", enum=_SURE),
                    "from_m": number("metres driven to its begin"),
                    "to_m": number("metres driven to its end"),
                    "sight_m": number("least sight there"),
                    "need_m": number("sight that both need"),
                    "closing_s": number("time from sight to meeting", maybe=True),
                    "car_kmh": number("speed of cars there"),
                    "radius_m": number("of the bend or crest", maybe=True),
                    "kind": text("`crest` or `bend`"),
                    "who": text("`oncoming` or `behind`"),
                    "where": text("the road"),
                    "lon": number("degrees east"),
                    "lat": number("degrees north"),
                },
            ),
        ),
    },
    optional=("runs", "pull_ins", "sight"),
)


def _moment(meaning: str) -> Schema:
    return text(meaning, maybe=True, pattern=_TIME)


SUN = _maybe(
    parts(
        "light of the day at the start; null when no time was asked",
        {
            "day": text("the day"),
            "zone": text("the farm's time zone"),
            "at": _moment("when the move begins"),
            "until": _moment("when it ends"),
            "sunrise": _moment("sunrise"),
            "sunset": _moment("sunset"),
            "dawn": _moment("civil dawn"),
            "dusk": _moment("civil dusk"),
            "kind": text("`usual`, `sun never sets` or `sun never rises`"),
        },
    )
)
PROFILE = _maybe(
    parts(
        "heights along the way; null without elevation",
        {
            "chainage_m": each("metres driven", number("")),
            "height_m": each("height", of("number", "", maybe=True)),
            "grade_pct": each("grade, climbing positive", of("number", "", maybe=True)),
        },
    )
)
MOVE_MORE: dict[str, Schema] = {
    "corners": CORNERS,
    "meeting": MEETING,
    "sun": SUN,
    "profile": PROFILE,
}
