"""JSON Schemas of the commands that read and write the hazard log."""

from __future__ import annotations

from json_words import LEVELS, SHAPES, Schema, collection, each, number, of, parts, text, whole

_FOUND = {
    "hazard_id": text("its name in the log; empty when the finder gave none"),
    "kind": text("its kind"),
    "note": text("the finder's words"),
    "time": text("when it was found (ISO 8601, UTC)", maybe=True),
}
_WRITTEN = parts(
    "",
    {
        "log": text("the log"),
        "new": whole("events written"),
        "marks": each("ids of the marks they speak of", text("", minLength=1)),
    },
)
PICK_UP = parts(
    "",
    {
        "group": text("who must deal with it"),
        "order": whole("place in the walk of its group"),
        "hazard_id": text("which mark"),
        "kind": text("its kind"),
        "action": text("what to do"),
        "touch": of("boolean", "false: leave it alone"),
        "step_m": number("straight way from the one before, or from the way in"),
        "lon": number("degrees east"),
        "lat": number("degrees north"),
    },
)
HAZARD_RESULTS: dict[str, Schema] = {
    "hazards import": parts(
        "",
        {
            "files": each(
                "one a file",
                parts(
                    "",
                    {
                        "file": text("its name"),
                        "read": whole("finds it holds, or events of another log"),
                        "new": whole("events of these that are new to the log"),
                        "edits": whole("of these, more of marks that were in it"),
                    },
                ),
            ),
            "left_out": each("photos left out for want of a place", text("", minLength=1)),
            "log": text("the log"),
            "written": of("boolean", "false with `--look`"),
            "finds": collection("the finds as they were understood", _FOUND, SHAPES),
        },
    ),
    "hazards list": parts(
        "",
        {
            "hazards": collection(
                "what stands in the log",
                {
                    "hazard_id": text("its id", minLength=1),
                    "kind": text("its kind"),
                    "level": text("`stop`, `care` or `unknown`", enum=LEVELS),
                    "field_ids": each("fields that it reaches", text("", minLength=1)),
                    "time": text("when it was found (ISO 8601, UTC)", maybe=True),
                    "who": text("who found it; may be empty"),
                    "action": text("what to do"),
                    "note": text("the finders' words, unchanged, ` / ` between"),
                    "radius_m": number("95 % radius of the position", maybe=True),
                    "height_m": number("height seen", maybe=True),
                    "heading_deg": number("direction of its photo, from true north", maybe=True),
                    "last_seen": text("when somebody last said it is there", maybe=True),
                    "hits": whole("how often a machine struck it"),
                    "not_found": whole("looked for and not found since it was last seen"),
                    "stands": of("boolean", "false: cleared (only with `--cleared`)"),
                    "closed": text("when it was cleared", maybe=True),
                    "closed_by": text("who cleared it; may be empty"),
                },
                SHAPES,
            )
        },
    ),
    **dict.fromkeys(
        ("hazards add", "hazards say", "hazards clear", "hazards merge", "hazards unmerge"),
        _WRITTEN,
    ),
    "hazards twins": parts(
        "",
        {
            "twins": each(
                "pairs that may be one thing, the nearest first",
                parts(
                    "",
                    {
                        "one": text("id of a mark", minLength=1),
                        "other": text("id of the other", minLength=1),
                        "kind": text("their kind"),
                        "distance_m": number("how far apart they are"),
                        "within_m": number("proposed when nearer than this"),
                        "same_teller": of("boolean", "one person told both, in one file"),
                    },
                ),
            )
        },
    ),
    "hazards export": parts(
        "",
        {"file": text("the file written"), "marks": whole("marks in it")},
    ),
}
