"""JSON Schemas of the road checks, and of how wide a machine gets where."""

from __future__ import annotations

from json_words import BASES, Schema, each, level, number, parts, text, whole

_DAY = {"pattern": r"^\d{4}-\d\d-\d\d$"}
_LIMITED = ["by width", "no machine", "by nothing known", "no way"]


def road_checks_result() -> Schema:
    """The result of ``fieldmap road-checks``."""
    words = {
        "place": text("`way/12`, `node/12`, `leg/12-0` or `turn/12-0/13-0`", minLength=1),
        "kind": text("kind of measure", minLength=1),
        "value": text("as it was said: a figure, or yes or no", minLength=1),
        "unit": text("its unit; may be empty"),
        "who": text("who measured it", minLength=1),
        "when": text("on which day", **_DAY),
        "machine": text("machine it holds for alone; empty for all"),
        "note": text("in the writer's own words; may be empty"),
    }
    standing = {
        "place": text("which place", minLength=1),
        "road": text("name of the road; may be empty"),
        "kind": text("kind of measure"),
        "value": number("the figure, in `unit`; 1 is yes, 0 is no"),
        "unit": text("`m`, `kg` or empty"),
        "who": text("who measured it"),
        "when": text("on which day", **_DAY),
        "machine": text("machine it holds for alone; empty for all"),
        "counts": text(
            "`newest`, `older` or `not on the roads`", enum=["newest", "older", "not on the roads"]
        ),
    }
    return parts(
        "",
        {
            "file": text("the file of road checks; null while there is none", maybe=True),
            "written": each("rows that were written now", parts("", words)),
            "road_checks": each("what stands, in the order of the file", parts("", standing)),
        },
    )


def widest_result(files: Schema) -> Schema:
    """The result of ``fieldmap widest``."""
    deciding = parts(
        "",
        {
            "place": text("which place"),
            "name": text("what it is called"),
            "check": text("what limits it there"),
            "low_m": number("least width that is there", maybe=True),
            "high_m": number("largest width that may be there", maybe=True),
            "basis": text("`measured`, `mapped` or `assumed`", enum=BASES),
            "why": text("one sentence", minLength=1),
            "kind": text("road check that would settle it; empty when none does"),
            "measure": text("what to measure there"),
            "lon": number("degrees east"),
            "lat": number("degrees north"),
        },
    )
    bound = {
        "limited": text("`by width`, `no machine`, `by nothing known` or `no way`", enum=_LIMITED),
        "width_m": number("transport width of the widest machine", maybe=True),
        "length_km": number("length of its way", maybe=True),
        "decides": each("places on the way that are as narrow as that", deciding),
    }
    why = {
        "place": text("which place"),
        "name": text("what it is called"),
        "check": text("the check that does not pass there"),
        "level": level("its answer"),
    }
    cell = {
        "machine": text("id of the machine", minLength=1),
        "name": text("its name"),
        "state": text("transport state"),
        "level": level("what a move would say"),
        "unknown_places": whole("places to settle on the way with the fewest"),
        "length_km": number("length of the way", maybe=True),
        "why": each("what does not pass, in driving order", parts("", why)),
    }
    place = {
        "name": text("what was asked for"),
        "lon": number("degrees east"),
        "lat": number("degrees north"),
        "far": text("why it is on no road; else empty"),
        "surely": parts("by the low ends of what is known", bound),
        "possibly": parts("by the high ends", bound),
        "machines": each("one a machine and transport state", parts("", cell)),
    }
    return parts(
        "",
        {
            "schema": {"const": "fieldmap/1", "description": "as in `moves/widest-<start>.json`"},
            "farm": text("name of the farm"),
            "note": text("its note; may be empty"),
            "day": text("day asked on", **_DAY),
            "from": text("start"),
            "machine": text("machine whose other figures count; null by width alone", maybe=True),
            "state": text("its transport state", maybe=True),
            "places": each("one a place", parts("", place)),
            "cautions": each("cautions that go with it", text("")),
            "notes": each("road checks that were left out", text("")),
            "files": files,
        },
    )
