"""JSON Schemas of what every command prints with ``--json``."""

from __future__ import annotations

from json_day import day_results
from json_hazards import HAZARD_RESULTS, PICK_UP
from json_ledger import ledger_results
from json_move import MOVE_MORE, STEPS
from json_roads import ROADS
from json_search import SEARCH
from json_set_up import MET, SET_UP
from json_slopes import DRIVING, FIRST_PLACES, SLOPES
from json_what_if import WHAT_IF
from json_widest import road_checks_result, widest_result
from json_words import (
    BASES,
    LEVELS,
    Schema,
    collection,
    each,
    level,
    named,
    number,
    of,
    parts,
    text,
    whole,
)

FAULT = parts(
    "one thing that is wrong",
    {
        "what": text("what is wrong", minLength=1),
        "value": text("the value that was seen"),
        "why": text("why it matters", minLength=1),
        "mend": text("what to do about it", minLength=1),
        "where": text("file, layer, row or key; empty when there is none"),
    },
)
FINDING = parts(
    "one statement, with what stands behind it",
    {
        "level": level("`ok`, `care`, `unknown` or `stop`"),
        "what": text("what was looked at", minLength=1),
        "where": text("the field, place or leg"),
        "why": text("one sentence", minLength=1),
        "basis": text("`measured`, `mapped` or `assumed`", enum=BASES),
        "sources": each("keys of the sources", text("")),
        "value": number("the figure, in `unit`", maybe=True),
        "low": number("low end of its range", maybe=True),
        "high": number("high end of its range", maybe=True),
        "limit": number("what it was held against", maybe=True),
        "unit": text("unit of the four figures (SI); may be empty"),
        "caution": text("the caution that goes with it; may be empty"),
        "choice": text("the answer where it is a word"),
        "lon": number("degrees east, when it has one place", maybe=True),
        "lat": number("degrees north", maybe=True),
    },
)
SOURCE = parts(
    "where figures come from",
    {
        "title": text("title"),
        "publisher": text("who published it"),
        "year": text("year; may be empty"),
        "url": text("address; may be empty"),
        "mark": text("how it was seen: `seen`, `secondary`, `memory`, `own`, ..."),
    },
)
CHECK = parts(
    "one check of a leg or place",
    {
        "check": text("its name: `width`, `height`, `mass`, ..."),
        "level": level("its answer"),
        "value": number("the figure taken", maybe=True),
        "low": number("low end", maybe=True),
        "high": number("high end", maybe=True),
        "need": number("what the machine needs", maybe=True),
        "unit": text("`m`, `kg` or empty"),
        "basis": text("`measured`, `mapped` or `assumed`", enum=BASES),
        "why": text("one sentence"),
    },
    optional=("value",),
)
#: Objects that have a table of their own in the README.
SHARED = {"fault": FAULT, "finding": FINDING, "source": SOURCE, "check": CHECK}
LEG = {
    "n": whole("number of the leg on the way"),
    "name": text("name of the road"),
    "way_id": of("integer", "OpenStreetMap way"),
    "length_m": number("length", minimum=0),
    "level": level("worst of its checks"),
    "what": text("why, when not `ok`"),
    "checks": each("each check", CHECK),
}
LINES, PLACES = ["LineString"], ["Point"]
FIELD = {
    "field_id": text("the field", minLength=1),
    "name": text("its name", maybe=True),
    "crop": text("its crop", maybe=True),
    "area_ha": number("area", minimum=0),
    "level": level("worst of its findings"),
    "reason": text("the sentence behind it", minLength=1),
    "slope_p95_pct": number("slope that 95 % of the ground stays under", maybe=True),
    "slope_max_pct": number("steepest cell that is known", maybe=True),
    "slope_known_share": number("share of the field whose slope is known, 0 to 1"),
    "heading_deg": number("best heading, degrees clockwise from north", maybe=True),
    "side_slope_max_pct": number("steepest ground across that heading", maybe=True),
    "side_slope_use_max": number("share of the machine's static limit", maybe=True),
    **DRIVING,
    "unknown_share": number("share of ground whose answer is unknown", minimum=0, maximum=1),
    "looked_share": number("share that somebody looked at", minimum=0, maximum=1),
    "flooded_share": number("share that stood under water", minimum=0, maximum=1),
    "marks": whole("hazards that reach the field"),
    "cut_height_m": number("cut height advised", maybe=True),
    "skid_shoe": text("skid shoe that gives it", maybe=True),
    "knife": text("knife advised", maybe=True),
    "conditioner": text("conditioner advised", maybe=True),
    **MET,
    "findings": each("about the ground and what lies on it", FINDING),
    "settings": each("about the mower, in the order in which it is set", FINDING),
    "set_up": SET_UP,
    "to_change": each("what would change the answer", text("")),
    "ground": each("what the heights can and cannot show", text("")),
    "hazards": each("ids of the hazards that reach it", text("")),
    "pick_up": each("the list to walk with, by who must deal with it", PICK_UP),
    "first_places": FIRST_PLACES,
    "zones": each(
        "zones of the field",
        parts(
            "",
            {
                "action": text("what to do there"),
                "level": level("its answer"),
                "cause": text("what governs it"),
                "reason": text("one sentence"),
                "area_ha": number("area", minimum=0),
            },
        ),
    ),
}
COUNTS = parts("fields by answer", {name: whole(f"`{name}`") for name in reversed(LEVELS)})
FILES = each("files written, the page first", text(""))

RESULTS: dict[str, Schema] = {
    "demo": parts(
        "",
        {
            "farm": text("folder of the invented farm"),
            "hazards": whole("hazards that stand in the log"),
            "counts": COUNTS,
            "moves": each(
                "the road moves",
                parts(
                    "",
                    {
                        "name": text("from and to"),
                        "level": level("its answer"),
                        "page": text("its page"),
                    },
                ),
            ),
            "search": text("the page of the search"),
            "open": text("the page to open first"),
        },
    ),
    "start": parts(
        "",
        {
            "farm": text("the farm.toml that was made"),
            "notes": each("what was mended or is still missing", text("")),
        },
    ),
    "check": parts(
        "",
        {
            "faults": whole("how many; they stand in `errors`"),
            "notes": each("what was mended, lies far off or is not there", text("")),
        },
    ),
    "assess": parts(
        "",
        {
            "schema": {"const": "fieldmap/1", "description": "as in `fields.json`"},
            "farm": text("name of the farm"),
            "note": text("its note; may be empty"),
            "day": text("day asked about", pattern=r"^\d{4}-\d\d-\d\d$"),
            "machine": text("id of the machine", maybe=True),
            "counts": COUNTS,
            "fields": each("one a field", parts("", FIELD)),
            "files": FILES,
        },
    ),
    "move": parts(
        "",
        {
            "schema": {"const": "fieldmap/1", "description": "as in `moves/<name>.json`"},
            "farm": text("name of the farm"),
            "note": text("its note; may be empty"),
            "day": text("day asked about", pattern=r"^\d{4}-\d\d-\d\d$"),
            "move": parts(
                "the answer",
                {
                    "name": text("what the move is called"),
                    "from": text("start"),
                    "to": text("goal"),
                    "machine": text("name of the machine"),
                    "state": text("transport state"),
                    "level": level("worst of its findings"),
                    "reason": text("the sentence behind the way"),
                    "length_km": number("length of the way", maybe=True),
                    "minutes": number("time on the road", maybe=True),
                },
            ),
            "steps": STEPS,
            "legs": collection("the way, leg by leg", LEG, LINES),
            "nodes": each(
                "places on the way with something to check",
                parts(
                    "",
                    {
                        "place": text("which place"),
                        "name": text("its name"),
                        "level": level("worst of its checks"),
                        "lon": number("degrees east"),
                        "lat": number("degrees north"),
                        "why": text("one sentence"),
                        "checks": each("each check", CHECK),
                    },
                    optional=("name",),
                ),
            ),
            "direct": collection("the shortest way, checked or not", LEG, LINES),
            "findings": each("about the way", FINDING),
            "refusals": each("what refuses the direct way", FINDING),
            "survey": each(
                "the few places to go and measure",
                parts(
                    "",
                    {
                        "place": text("which place"),
                        "where": text("the same in words"),
                        "kind": text("road check that settles it; empty when none does"),
                        "measure": text("what to measure"),
                        "must_beat": number("figure it must beat, in `unit`", maybe=True),
                        "unit": text("`m`, `kg` or empty"),
                        "why": text("one sentence"),
                        "lon": number("degrees east", maybe=True),
                        "lat": number("degrees north", maybe=True),
                    },
                ),
            ),
            "states": named("answer for each transport state", level("")),
            **MOVE_MORE,
            "sources": named("sources of the findings, by key", SOURCE),
            "files": FILES,
        },
    ),
    "values": parts(
        "",
        {
            "values": each(
                "one a row of the tables",
                parts(
                    "",
                    {
                        "key": text("table and row"),
                        "value": number("the figure", maybe=True),
                        "low": number("low end", maybe=True),
                        "high": number("high end", maybe=True),
                        "unit": text("unit (SI)"),
                        "source": SOURCE
                        | {
                            "properties": {"key": text("its key")} | SOURCE["properties"],
                            "required": ["key", *SOURCE["required"]],
                        },
                        "place": text("where in the source"),
                        "note": text("a word on it; may be empty"),
                        "words": named("the row's other columns", text("")),
                        "overridden": of("boolean", "the farm gave its own figure"),
                    },
                ),
            ),
        },
    ),
    "version": parts("", {"versions": named("version of each library", text(""))}),
    "search": SEARCH,
    "slopes": SLOPES,
    "what-if": WHAT_IF,
    "road-checks": road_checks_result(),
    "widest": widest_result(FILES),
    **HAZARD_RESULTS,
    **day_results(FINDING, SOURCE, FILES),
    **ledger_results(FINDING),
    **ROADS,
}
ENVELOPE = parts(
    "",
    {
        "schema": {"const": "fieldmap/1", "description": "name and number of this format"},
        "ok": of("boolean", "no errors"),
        "warnings": each("words for a person", text("")),
        "errors": each("everything that is wrong", FAULT),
        "result": of("object", "the command's own; null when it failed", maybe=True),
    },
)


def document(command: str) -> Schema:
    """The schema of all a command prints."""
    result = {"anyOf": [RESULTS[command], {"type": "null"}]}
    return ENVELOPE | {"properties": ENVELOPE["properties"] | {"result": result}}
