"""JSON Schemas of the ledger and of the checks when the cut is poor."""

from __future__ import annotations

from json_words import Schema, each, level, number, parts, text

_DAY = {"pattern": r"^\d{4}-\d\d-\d\d$"}


def ledger_results(finding: Schema) -> dict[str, Schema]:
    """The results of the two commands; both tell findings."""
    row = parts(
        "",
        {
            "date": text("when it was done", **_DAY),
            "machine": text("id of the machine", minLength=1),
            "did": text("`mown`, `knives changed`, `knives turned` or `knives looked at`"),
            "field_id": text("the field; empty for knives"),
            "area_ha": number("hectares of it, when not the whole field", maybe=True),
            "note": text("in the writer's own words; may be empty"),
            "who": text("who says so; may be empty"),
        },
    )
    machine = parts(
        "",
        {
            "machine": text("id of the machine", minLength=1),
            "level": level("worst of its findings"),
            "findings": each("about its knives", finding),
            "to_change": each("what would change the answer", text("")),
        },
    )
    symptom = parts("", {"key": text("as `--saw` takes it"), "words": text("what it is")})
    return {
        "ledger": parts(
            "",
            {
                "ledger": text("the ledger's file; null while there is none", maybe=True),
                "day": text("day asked about", **_DAY),
                "written": each("rows that were written now", row),
                "machines": each("one a machine", machine),
            },
        ),
        "poor-cut": parts(
            "",
            {
                "machine": text("id of the machine; null with `--list`", maybe=True),
                "symptoms": each("what was seen; with `--list` all that may be", symptom),
                "checks": each(
                    "what to look at, in order; what to do then stands in `choice`", finding
                ),
            },
        ),
    }
