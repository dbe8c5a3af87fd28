"""The height of a cab sheet on paper, part by part, as ``sheet.css`` lays it out."""

from __future__ import annotations

from typing import Any

from fieldmap.write.sheet_fit import BOLD, COLUMN_MM, LINE_MM, WIDTH_MM, flowed, lines

Item = dict[str, Any]

#: What every sheet ends with.
FOOT = (
    "It gives no permission: the people on the ground and the machine's manual decide. Marks and "
    "ground are from the farm's own files."
)
_NAME_MM, _ANSWER_MM = 84.0, 104.0
_ROW_MM = 0.5  # over and under an entry, a line of a list or a caution
_HEAD_MM = 5.3  # the title of a part with what is over and under it
_NUMBER_MM, _INSET_MM = 7.0, 4.0
_SCALE_MM = 6.5  # the bar and the north under the map


def height_mm(view: Item, map_mm: float) -> float:
    """Height of the whole page's content when the map is at most so tall."""
    groups = {group["key"]: group for group in view["groups"]}
    parts = [
        _top(view),
        _HEAD_MM + flowed(_flow(groups["yard"])),
        _HEAD_MM + flowed([*_firsts(view), *_flow(groups["before"])]),
        _HEAD_MM + _driving(view, groups["mowing"], map_mm),
        1.2 + flowed([LINE_MM] * len(view["sources"]), view["source_columns"]),
        _foot(view),
    ]
    return sum(parts)


def _top(view: Item) -> float:
    """The field's name and facts beside its answer."""
    name = lines(view["name"], _NAME_MM, scale=BOLD * 15.0 / 9.0) * 6.1
    name += lines(" . ".join(view["facts"]), _NAME_MM) * LINE_MM
    answer = 5.5 + lines(view["reason"], _ANSWER_MM - 8.0) * LINE_MM + 2.4
    return max(name, answer)


def entry_words(entry: Item) -> list[tuple[str, float]]:
    """An entry as it reads, with how wide each piece is, for its length."""
    level = "" if entry["level"] == "ok" else f"W {entry['word']}:"
    limit = f"against {entry['limit']}" if entry["limit"] and not entry["is_setting"] else ""
    notes = "[" + ", ".join(str(number) for number in entry["notes"]) + "]"
    spread = f"({entry['range']})" if entry["range"] else ""
    after = (spread, limit, notes if entry["notes"] else "no source given", entry["why"])
    return [
        (f"{entry['what']}: {level}", 1.0),
        (entry["answer"] or "no figure", BOLD),
        (" ".join(part for part in after if part), 1.0),
    ]


def _flow(group: Item) -> list[float]:
    """Heights of the entries and cautions of a group in its two columns."""
    return [
        *(_entry(entry) for entry in group["entries"]),
        *(_caution(caution) for caution in group["cautions"]),
    ]


def _entry(entry: Item) -> float:
    count = lines(entry_words(entry), COLUMN_MM - _NUMBER_MM)
    return count * LINE_MM + _ROW_MM


def _caution(caution: Item) -> float:
    words = [(caution["word"], 1.1 * BOLD), (f"{', '.join(caution['of'])}: {caution['text']}", 1.0)]
    return lines(words, COLUMN_MM - _INSET_MM) * LINE_MM + _ROW_MM + 0.2


def _firsts(view: Item) -> list[float]:
    """Steps, marks and other findings before the first swath."""
    width = COLUMN_MM - _NUMBER_MM
    heights = [lines(step, width) * LINE_MM + _ROW_MM for step in view["steps"]]
    heights += [_mark(one) for one in view["marks"]]
    heights += [LINE_MM + _ROW_MM for key in ("more_steps", "more_marks") if view[key]]
    if not view["marks"]:
        heights.append(2 * LINE_MM + _ROW_MM)
    if view["others"] or view["more_others"]:
        named = " ".join(f"W {one['what']} ({one['word']})," for one in view["others"])
        told = f"Not fine, on the field's page: {named} and 99 more"
        heights.append(lines(told, COLUMN_MM) * LINE_MM + _ROW_MM)
    return heights


def _mark(mark: Item) -> float:
    words = [
        (f"W {mark['numbers']}", BOLD),
        (f"{mark['words']} {mark['note']}", 1.0),
        (mark["caution"]["word"], 1.1 * BOLD),
        (mark["caution"]["text"], 1.0),
    ]
    return lines(words, COLUMN_MM) * LINE_MM + _ROW_MM


def _driving(view: Item, group: Item, map_mm: float) -> float:
    """The map, then what a driver keeps to, in two columns."""
    heights = [map_mm + _SCALE_MM + 1.5] if view["has_map"] else []
    heights += [_entry(entry) for entry in group["entries"]]
    heights += [_zone(zone) for zone in view["zones"]]
    if view["round_marks"] or not view["zones"]:
        heights.append((1 if view["round_marks"] else 2) * LINE_MM + _ROW_MM)
    return flowed([*heights, *(_caution(caution) for caution in group["cautions"])])


def _zone(zone: Item) -> float:
    words = [(f"W {zone['action']}", BOLD), (f"({zone['word']}):", 1.0)]
    for piece in zone["pieces"]:
        words += [(f"W{piece['letter']}", BOLD), (f"{piece['words']}, {piece['area']};", 1.0)]
    return lines(words, COLUMN_MM) * LINE_MM + _ROW_MM


def _foot(view: Item) -> float:
    left = f"More on the field's page: {', '.join(view['left_out'])}." if view["left_out"] else ""
    words = f"{view['note']} {FOOT} For 2026-06-09; made by fieldmap 0.1.0. {left}"
    return lines(words, WIDTH_MM) * LINE_MM + 1.6
