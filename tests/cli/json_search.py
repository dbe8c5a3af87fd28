"""JSON Schema of a planned search."""

from __future__ import annotations

from json_words import each, level, number, of, parts, text, whole

_AVOIDED = parts(
    "",
    {
        "hazard_id": text("which mark"),
        "kind": text("its kind"),
        "label": text("the same in words"),
        "call": text("who to call"),
        "caution": text("why to keep away"),
        "note": text("the finder's words"),
        "keep_m": number("how far to keep from it"),
    },
)
_PART = parts(
    "",
    {
        "area_ha": number("area"),
        "chance_now": number("mean chance before"),
        "chance_after": number("mean chance once its lines are walked"),
        "spacing_m": number("distance between lines"),
        "bearing_deg": number("bearing of the lines, clockwise from north"),
        "passes": whole("times the ground is covered"),
        "lines_m": number("length of the lines"),
    },
)
_WISH = parts(
    "",
    {
        "kind": text("what to look for"),
        "label": text("the same in words"),
        "sweep_width_m": number("its sweep width in this sward"),
        "chance": number("chance wished"),
        "hours": number("hours of walking its lines alone would take one person"),
    },
)
_FIELD = parts(
    "",
    {
        "field_id": text("the field"),
        "name": text("its name"),
        "level": level("`unknown` while ground is left to look at"),
        "why": text("one sentence"),
        "kind": text("what is looked for"),
        "sweep_width_m": number("width seen to both sides together, in this sward"),
        "chance_wished": number("chance wished of seeing such a thing"),
        "looked_share": number("share that counts as looked at"),
        "done_share": number("share that has the chance wished"),
        "chance_now": number("mean chance over the field now"),
        "chance_after": number("mean chance over the ground once walked", maybe=True),
        "left_ha": number("ground to look at"),
        "slivers_ha": number("left out: too small for lines"),
        "kept_off_ha": number("left out: by a mark to keep away from"),
        "spacing_m": number("distance between lines, of the largest part", maybe=True),
        "bearing_deg": number("bearing of the lines, of the largest part", maybe=True),
        "passes": whole("times the ground is covered"),
        "line_count": whole("lines"),
        "lines_m": number("length of the lines"),
        "joins_m": number("length of the ways between them"),
        "walk_m": number("the whole walk"),
        "walkers": whole("people who share it"),
        "minutes": number("time of each of them"),
        "crossings": whole("ways that leave the field or cross what is kept off"),
        "gate": text("gate it starts at; may be empty"),
        "start_off_m": number("from there to the first place that may be walked on"),
        "avoided": each("marks to keep away from", _AVOIDED),
        "crosses_outside": of("boolean", "some way leaves the field"),
        "other_wishes": each("what other wishes would take", _WISH),
        "parts": each("the ground by how far it was looked at", _PART),
        "walks_m": each("length of each person's walk", number("")),
    },
)
SEARCH = parts(
    "",
    {
        "schema": {"const": "fieldmap/1", "description": "as in `search.json`"},
        "farm": text("name of the farm"),
        "note": text("its note; may be empty"),
        "day": text("day asked about", pattern=r"^\d{4}-\d\d-\d\d$"),
        "walkers": whole("people who share each walk"),
        "fields": each("one a field", _FIELD),
        "files": each("files written, the page first", text("")),
    },
)
