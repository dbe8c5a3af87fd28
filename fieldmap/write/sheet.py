"""The cab sheet: one printed page a field, the settings in the order in which they are made."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldmap.write import sheet_items as items
from fieldmap.write.cautions import brief, gathered, pieces
from fieldmap.write.frame import render_still
from fieldmap.write.page_findings import MARK_WORDS, footnotes, said, signal
from fieldmap.write.sheet_fit import (
    COLUMN_MM,
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

_NOTE = 70  # letters of a mark's note
_REASON = 110  # letters of a reason where room is scarce
_NUMBER_MM = 10.0
_SIGNAL_MM, _LEAST_CAUTION_MM = 24.0, 40.0
_NAME = 60
_SAID_REASON = 220


def sheet_page(payload: Payload) -> str:
    """The cab sheet of a field as one page without any script.

    Text that one page does not hold is left for the field's page, and counted. No caution is
    ever left out: where room is scarce it is its first sentence, or as much as a line takes.

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
        "sources": {columns: _sources(notes, payload["sources"], columns) for columns in (2, 3)},
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
    lines = _with_cautions(marks[: room.marks], others, room.cautions)
    told = {one["title"] for one in lines}
    untold = [one for one in others if one["what"] not in told]
    groups = _groups(payload, held, room, untold)
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
        "others": [{**said(one["level"]), "what": one["what"]} for one in untold[: room.others]],
        "more_others": len(untold[room.others :]),
        "sources": held["sources"][room.source_columns],
        "source_columns": room.source_columns,
        "left_out": _left_out(payload, held, room, (groups, lines)),
        "foot": FOOT,
        "has_map": bool(payload["boundary"]["features"]),
    }


def _with_cautions(lines: list[Item], others: list[Payload], much: int) -> list[Item]:
    """Lines of the marks, each kind with its caution once."""
    by_what = {one["what"]: one["caution"] for one in others}
    out = []
    for line in lines:
        caution = by_what.pop(line["title"], "")
        told = signal(caution if much == 2 else brief(caution))
        if much == 0:
            told = {**told, "text": one_line(told["text"], COLUMN_MM - _SIGNAL_MM)}
        out.append({**line, "note": cut(line["note"], _NOTE), "caution": told})
    return out


def _groups(payload: Payload, held: Item, room: Room, others: list[Payload]) -> list[Item]:
    groups, number, told = [], 1, set[str]()
    carried = {one["caution"] for group in held["chosen"].values() for one in group}
    others = [one for one in others if one["caution"] not in carried]
    for key, title in items.GROUPS.items():
        made = items.entries(held["chosen"][key], payload, held["notes"], number)
        number += len(made)
        more = others if key == items.BEFORE else []
        cautions = [one for one in _cautions(made, more, room) if one["text"] not in told]
        told |= {one["text"] for one in cautions}
        entries = [{**one, "why": _reason(one, room.reasons)} for one in made]
        groups.append({"key": key, "title": title, "entries": entries, "cautions": cautions})
    return groups


def _cautions(made: list[Item], others: list[Payload], room: Room) -> list[Item]:
    """Cautions once each; where room is scarce the first sentence, of a finding one line."""
    settings = {str(one["number"]) for one in made if one["is_setting"]}
    pairs = [(one["caution"], str(one["number"])) for one in made]
    held = gathered([*pairs, *((one["caution"], one["what"]) for one in others)])
    return [_shortened(one, room, is_setting=bool(settings & set(one["of"]))) for one in held]


def _shortened(caution: Item, room: Room, *, is_setting: bool) -> Item:
    """A caution as long as there is room for; one that tells of machines alone gives way first."""
    much = room.of_settings - (caution["word"] == "NOTICE") if is_setting else room.cautions
    if much >= 2:
        return caution
    first = {**caution, "text": brief(caution["text"])}
    return first if much == 1 else _in_a_line(first)


def _in_a_line(caution: Item) -> Item:
    """A caution with as much of its owners and its text as one line takes."""
    of = caution["of"]
    named = of if len(of) < 3 or of[0].isdigit() else [of[0], f"{len(of) - 1} more"]
    taken = em(f"{', '.join(named)}: ") * EM_MM + _SIGNAL_MM
    text = one_line(caution["text"], max(COLUMN_MM - taken, _LEAST_CAUTION_MM))
    return {**caution, "of": named, "text": text}


def _reason(entry: Item, reasons: int) -> str:
    """The sentence behind an entry, as far as there is room; a check always says how."""
    bare = not entry["answer"] or entry["answer"] == "unknown"
    if reasons >= 3 or (reasons == 2 and (bare or entry["level"] != "ok")):
        return str(entry["why"])
    if reasons >= 1 and (bare or entry["level"] in ("unknown", "stop")):
        return brief(entry["why"])
    needed = not entry["answer"] or entry["what"].endswith("check")
    return cut(brief(entry["why"]), _REASON) if needed else ""


def _pieces(pieces: list[Item], most: int) -> list[Item]:
    return [{**one, "words": cut(one["words"], most)} for one in pieces]


def _left_out(
    payload: Payload, held: Item, room: Room, made: tuple[list[Item], list[Item]]
) -> list[str]:
    """What stands only on the field's page, counted."""
    groups, seen = made
    chosen = [one for group in held["chosen"].values() for one in group]
    entries = [one for group in groups for one in group["entries"]]
    whys = {one["why"] for one in entries}
    reasons = sum(bool(one["why"]) and one["why"] not in whys for one in chosen)
    told = {one["caution"] for one in (*held["others"], *chosen)}
    here = {one["text"] for group in groups for one in group["cautions"]}
    here |= {one["caution"]["text"] for one in seen}
    shortened = sum(not _is_said(text, told, here) for text in told if text)
    notes = sum(one["noted"] + (len(one["note"]) > _NOTE) for one in seen)
    zones = [zone for zone in held["zones"] if zone["letter"]]
    words = sum(len(zone["reason"]) > room.zone_words for zone in zones)
    counts = (
        (reasons + (len(payload["field"]["reason"]) > _SAID_REASON), "reason", "reasons"),
        (shortened, "end of a caution", "ends of cautions"),
        (notes, "note of a mark", "notes of marks"),
        (words, "reason for ground", "reasons for ground"),
    )
    return [f"{count} {one if count == 1 else many}" for count, one, many in counts if count]


def _is_said(caution: str, told: set[str], here: set[str]) -> bool:
    """Whether all of a caution stands on the sheet, in one piece or in several."""
    return all(signal(piece)["text"] in here for piece in pieces(caution, told))


def _sources(notes: Mapping[str, int], sources: Mapping[str, Payload], columns: int) -> list[Item]:
    """A line for each source; what kind of source it is always stays."""
    wide = (WIDTH_MM - (columns - 1) * GAP_MM) / columns - _NUMBER_MM
    return [
        {"number": number, "words": _source(key, sources.get(key), wide)}
        for key, number in notes.items()
    ]


def _source(key: str, source: Payload | None, wide_mm: float) -> str:
    if source is None:
        return one_line(f"{key}: not described", wide_mm)
    mark = str(MARK_WORDS.get(source["mark"], source["mark"]) or "")
    if str(source["title"]).lower().startswith(mark.split(",", maxsplit=1)[0].lower() or "?"):
        return mark[0].upper() + mark[1:]
    year = f", {source['year']}" if source["year"] else ""
    tail = year + (f"; {mark}" if mark else "")
    words = ", ".join(str(part) for part in (source["title"], source["publisher"]) if part)
    return one_line(words, wide_mm - em(tail) * EM_MM) + tail
