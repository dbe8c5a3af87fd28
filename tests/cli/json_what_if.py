"""JSON Schema of `what-if`: two answers of the same fields, and what differs."""

from __future__ import annotations

from json_words import Schema, each, level, number, parts, text, whole

_WAYS = ["worse", "better", "figures", "none"]
_MAYBE_LEVELS = ["ok", "care", "unknown", "stop", ""]
_FIGURE = parts(
    "",
    {
        "figure": text("column of `fields.csv`, with its unit", minLength=1),
        "words": text("what people call it", minLength=1),
        "before": number("as it is", maybe=True),
        "after": number("as it would be", maybe=True),
        "difference": number("after less before; of lines of travel the turn", maybe=True),
    },
)
_CHOICE = parts(
    "",
    {
        "choice": text("column of `fields.csv`", minLength=1),
        "words": text("what people call it", minLength=1),
        "before": text("as it is; empty when unknown"),
        "after": text("as it would be; empty when unknown"),
    },
)
_FINDING = parts(
    "",
    {
        "about": text("`ground` or `setting`", enum=["ground", "setting"]),
        "what": text("what was looked at", minLength=1),
        "way": text("`worse`, `better`, or `figures` when its level stays", enum=_WAYS[:3]),
        "level_before": text("as it is; empty when it is not there", enum=_MAYBE_LEVELS),
        "level_after": text("as it would be; empty when it is not there", enum=_MAYBE_LEVELS),
        "value_before": number("the figure as it is, in `unit_before`", maybe=True),
        "value_after": number("the figure as it would be, in `unit_after`", maybe=True),
        "unit_before": text("unit (SI); may be empty"),
        "unit_after": text("unit (SI); may be empty"),
        "choice_before": text("the answer where it is a word"),
        "choice_after": text("the same as it would be"),
        "sources": each("keys of the sources of both", text("")),
    },
)
WHAT_IF: Schema = parts(
    "",
    {
        "schema": {"const": "fieldmap/1", "description": "as in `what_if.json`"},
        "farm": text("name of the farm"),
        "note": text("its note; may be empty"),
        "day": text("day asked about", pattern=r"^\d{4}-\d\d-\d\d$"),
        "machine": text("id of the machine as it is", maybe=True),
        "machine_then": text("id of the machine that is put in its place", maybe=True),
        "assumed": each("what was changed on paper", text("", minLength=1)),
        "cautions": each("what the comparison does not say", text("", minLength=1)),
        "notes": each("what to know of the marks that were named", text("")),
        "cleared": each(
            "the marks taken as cleared",
            parts(
                "",
                {
                    "hazard_id": text("what people call it", minLength=1),
                    "label": text("its kind", minLength=1),
                    "fields": each("the fields it reaches", text("")),
                },
            ),
        ),
        "counts": parts(
            "fields by what becomes of them",
            {
                "worse": whole("their level gets worse"),
                "better": whole("their level gets better"),
                "figures": whole("same level, other findings or figures"),
                "none": whole("nothing changes"),
            },
        ),
        "fields": each(
            "one a field, what gets worse first",
            parts(
                "",
                {
                    "field_id": text("the field", minLength=1),
                    "name": text("its name", maybe=True),
                    "change": text("`worse`, `better`, `figures` or `none`", enum=_WAYS),
                    "level_before": level("its answer as it is"),
                    "level_after": level("its answer as it would be"),
                    "reason_before": text("the sentence behind it", minLength=1),
                    "reason_after": text("the sentence as it would be", minLength=1),
                    "findings_worse": whole("findings whose level gets worse"),
                    "findings_better": whole("findings whose level gets better"),
                    "figures": each("figures of both answers", _FIGURE),
                    "choices": each("settings that are words", _CHOICE),
                    "gone": each("what is no longer asked for", text("", minLength=1)),
                    "new": each("what is asked for anew", text("", minLength=1)),
                    "findings": each("findings that change, what gets worse first", _FINDING),
                },
            ),
        ),
        "files": each("files written with `--out`, the page first", text("")),
    },
)
