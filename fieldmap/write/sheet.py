"""The cab sheet: one printed page a field, the settings in the order in which they are made."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldmap.write import sheet_items as items
from fieldmap.write.cautions import brief, statement
from fieldmap.write.frame import render_still
from fieldmap.write.page_findings import MARK_WORDS, footnotes, said
from fieldmap.write.sheet_cautions import cautions_of, in_bars, shortened, with_cautions
from fieldmap.write.sheet_entries import entries
from fieldmap.write.sheet_fit import (
    EM_MM,
    GAP_MM,
    HEIGHT_MM,
    MAP_WIDTH_MM,
    SPARE_MM,
    WIDTH_MM,
    Room,
    cut,
    em,
    fullest,
    one_line,
)
from fieldmap.write.sheet_height import FOOT, height_mm
from fieldmap.write.sheet_map import WIDTH, sheet_map

Item = dict[str, Any]
Payload = Mapping[str, Any]

_NUMBER_MM = 10.0
_RUN_ON_MM, _TITLE_MM = 42.0, 30.0  # of a source that runs on after another, of its title
_NAME = 60
_SAID_REASON = 220


def sheet_page(payload: Payload) -> str:
    """The cab sheet of a field as one page without any script.

    Text that one page does not hold is left for the field's page, and counted. No caution is
    ever left out or cut inside a sentence: where room is scarce it is its first statement, and
    one sentence stands for the marks that have no line, with their names and their count.

    Parameters
    ----------
    payload : mapping
        As for :func:`fieldmap.write.pages.field_page`; ``links.field`` leads to that page.
        ``currency`` is said where a setting speaks of money.

    Returns
    -------
    str
        HTML; the same payload gives the same bytes.
    """
    held = _held(payload)
    view = _fitted(payload, held)
    return render_still("sheet.html.j2", view, ("sheet.css",))


def _held(payload: Payload) -> Item:
    """What every attempt to fit the page shares."""
    chosen = items.chosen(payload)
    notes = footnotes([one for group in chosen.values() for one in group])
    marks = items.marks(payload)
    return {
        "chosen": chosen,
        "notes": notes,
        "marks": marks,
        "zones": items.zones(payload, marks),
        "steps": items.steps(payload, marks),
        "others": items.unprinted(payload, chosen),
        "sources": {columns: _sources(notes, payload["sources"], columns) for columns in (0, 2, 3)},
    }


def _fitted(payload: Payload, held: Item) -> Item:
    """The fullest view that goes on one page, and the map as tall as what is left."""
    most = HEIGHT_MM - SPARE_MM
    room, high = fullest(lambda room: height_mm(_view(payload, held, room), room.map_mm), most)
    view, map_mm = _view(payload, held, room), room.map_mm
    while high < most and height_mm(view, map_mm + 1.0) <= most and map_mm < MAP_WIDTH_MM:
        map_mm += 1.0
    tall = map_mm / MAP_WIDTH_MM * WIDTH
    drawing = sheet_map(payload, held["zones"], held["marks"], most_height=tall)
    return view | {"drawing": drawing}


def _view(payload: Payload, held: Item, room: Room) -> Item:
    """What the template shows when each part has so much room."""
    field, others = payload["field"], held["others"]
    marks = items.mark_lines(held["marks"], single=room.single)
    lines = with_cautions(marks[: room.marks], others, room)
    named = {one["title"] for one in lines}
    told = {one["title"] for one in lines if one["caution"]["text"]}
    unnamed = [one for one in others if one["what"] not in named]
    groups = _groups(payload, held, room, [one for one in others if one["what"] not in told])
    zones = items.zone_lines(held["zones"])
    return {
        "title": f"{field['name'] or field['field_id']}: sheet for the cab",
        "name": cut(str(field["name"] or field["field_id"]), _NAME),
        "facts": items.facts(payload),
        **{key: payload[key] for key in ("farm", "note", "made")},
        "links": {"field": "", **payload["links"]},
        **said(field["level"]),
        "reason": cut(field["reason"], _SAID_REASON),
        "groups": groups,
        "steps": held["steps"][: room.steps],
        "more_steps": len(held["steps"][room.steps :]),
        "marks": lines,
        "more_marks": sum(one["count"] for one in marks[room.marks :]),
        "zones": [{**one, "pieces": _pieces(one["pieces"], room.zone_words)} for one in zones],
        "round_marks": any(zone["cause"] and not zone["letter"] for zone in held["zones"]),
        "others": [{**said(one["level"]), "what": one["what"]} for one in unnamed[: room.others]],
        "more_others": len(unnamed[room.others :]),
        "sources": held["sources"][room.source_columns],
        "source_columns": room.source_columns,
        "left_out": _left_out(payload, held, room, (groups, lines)),
        "foot": FOOT,
        "has_map": bool(payload["boundary"]["features"]),
    }


def _groups(payload: Payload, held: Item, room: Room, others: list[Payload]) -> list[Item]:
    groups, number, told = [], 1, set[str]()
    carried = {one["caution"] for group in held["chosen"].values() for one in group}
    others = [one for one in others if one["caution"] not in carried]
    kinds = {one["title"] for one in held["marks"]}
    for key, title in items.GROUPS.items():
        made = entries(held["chosen"][key], payload, held["notes"], number, apart=room.apart)
        number += len(made)
        more = others if key == items.BEFORE else []
        found = cautions_of(made, more, room, kinds)
        cautions = in_bars([one for one in found if one["text"] not in told])
        told |= {one["text"] for one in found}
        shown = [{**one, "why": _reason(one, room.reasons)} for one in made]
        groups.append({"key": key, "title": title, "entries": shown, "cautions": cautions})
    return groups


def _reason(entry: Item, reasons: int) -> str:
    """The sentence behind an entry, as far as there is room; a check always says how."""
    bare = not entry["answer"] or entry["answer"] == "unknown"
    if reasons >= 3 or (reasons == 2 and (bare or entry["level"] != "ok")):
        return str(entry["why"])
    if reasons >= 1 and (bare or entry["level"] in ("unknown", "stop")):
        return brief(entry["why"])
    needed = not entry["answer"] or entry["what"].endswith("check")
    return statement(entry["why"]) if needed else ""


def _pieces(pieces: list[Item], most: int) -> list[Item]:
    return [{**one, "words": cut(one["words"], most)} for one in pieces]


def _left_out(
    payload: Payload, held: Item, room: Room, made: tuple[list[Item], list[Item]]
) -> list[str]:
    """What stands only on the field's page, counted."""
    groups, seen = made
    chosen = [one for group in held["chosen"].values() for one in group]
    printed = [one for group in groups for one in group["entries"]]
    whys = {one["why"] for one in printed}
    reasons = sum(bool(one["why"]) and one["why"] not in whys for one in chosen)
    told = {one["caution"] for one in (*held["others"], *chosen)}
    here = [one for group in groups for bar in group["cautions"] for one in bar["told"]]
    ends = shortened(told, [*here, *(one["caution"] for one in seen)])
    notes = sum(one["noted"] + one["note"].endswith(" ...") for one in seen)
    zones = [zone for zone in held["zones"] if zone["letter"]]
    words = sum(len(zone["reason"]) > room.zone_words for zone in zones)
    counts = (
        (reasons + (len(payload["field"]["reason"]) > _SAID_REASON), "reason", "reasons"),
        (ends, "end of a caution", "ends of cautions"),
        (sum(one["unsaid"] for one in printed), "range", "ranges"),
        (notes, "note of a mark", "notes of marks"),
        (words, "reason for ground", "reasons for ground"),
    )
    return [f"{count} {one if count == 1 else many}" for count, one, many in counts if count]


def _sources(notes: Mapping[str, int], sources: Mapping[str, Payload], columns: int) -> list[Item]:
    """A line for each source, or less; what kind of source it is always stays."""
    wide = _RUN_ON_MM
    named: tuple[str, ...] = ("title",)
    if columns:
        wide = (WIDTH_MM - (columns - 1) * GAP_MM) / columns - _NUMBER_MM
        named = ("title", "publisher")
    return [
        {"number": number, "words": _source(key, sources.get(key), wide, named)}
        for key, number in notes.items()
    ]


def _source(key: str, source: Payload | None, wide_mm: float, named: tuple[str, ...]) -> str:
    if source is None:
        return one_line(f"{key}: not described", wide_mm)
    mark = str(MARK_WORDS.get(source["mark"], source["mark"]) or "")
    if str(source["title"]).lower().startswith(mark.split(",", maxsplit=1)[0].lower() or "?"):
        return mark[0].upper() + mark[1:]
    year = f", {source['year']}" if source["year"] else ""
    tail = year + (f"; {mark}" if mark else "")
    words = ", ".join(str(source[part]) for part in named if source[part])
    return one_line(words, max(wide_mm - em(tail) * EM_MM, _TITLE_MM)) + tail
