"""The height of a cab sheet on paper, part by part, as ``sheet.css`` lays it out."""

from __future__ import annotations

from typing import Any

from fieldmap.write.sheet_fit import BOLD, GAP_MM, HEIGHT_MM, LINE_MM, PAPERS, flowed, lines

Item = dict[str, Any]

#: What every sheet ends with.
FOOT = (
    "It gives no permission: the people on the ground and the machine's manual decide. Marks and "
    "ground are from the farm's own files."
)
_NAME_MM, _BESIDE_MM = 84.0, 100.0  # the field's name, and all beside its answer's words
_ROW_MM, _BAR_MM = 0.5, 0.35  # over and under an entry or a line of a list, and a caution
_HEAD_MM = 6.1  # the title of a part with what is over and under it
_NUMBER_MM, _INSET_MM = 7.0, 3.4
_SCALE_MM = 5.8  # the bar and the north under the map


def height_mm(view: Item, map_mm: float) -> float:
    """Height of the page's content on the paper where it is tightest, when the map is so tall.

    It is told as if that paper were the shortest one.
    """
    return max(_on_paper(view, map_mm, wide) - tall for wide, tall in PAPERS) + HEIGHT_MM


def _on_paper(view: Item, map_mm: float, wide_mm: float) -> float:
    groups = {group["key"]: group for group in view["groups"]}
    column = (wide_mm - GAP_MM) / 2.0
    parts = [
        _top(view, wide_mm),
        _HEAD_MM + flowed(_flow(groups["yard"], column)),
        _HEAD_MM + flowed([*_firsts(view, column), *_flow(groups["before"], column)]),
        _HEAD_MM + _driving(view, groups["mowing"], map_mm, column),
        1.2 + _sources(view, wide_mm),
        _foot(view, wide_mm),
    ]
    return sum(parts)


def _top(view: Item, wide_mm: float) -> float:
    """The field's name and facts beside its answer."""
    name = lines(view["name"], _NAME_MM, scale=BOLD * 15.0 / 9.0) * 6.1
    name += lines(" . ".join(view["facts"]), _NAME_MM) * LINE_MM
    answer = 5.5 + lines(view["reason"], wide_mm - _BESIDE_MM) * LINE_MM + 1.7
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


def _flow(group: Item, column: float) -> list[float]:
    """Heights of the entries and cautions of a group in its two columns."""
    return [
        *(_entry(entry, column) for entry in group["entries"]),
        *(_caution(caution, column) for caution in group["cautions"]),
    ]


def _entry(entry: Item, column: float) -> float:
    count = lines(entry_words(entry), column - _NUMBER_MM)
    return count * LINE_MM + _ROW_MM


def _caution(held: Item, column: float) -> float:
    told = " ".join(f"{', '.join(one['of'])}: {one['text']}" for one in held["told"])
    words = [(held["word"], 1.1 * BOLD), (told, 1.0)]
    return lines(words, column - _INSET_MM) * LINE_MM + _BAR_MM


def _firsts(view: Item, column: float) -> list[float]:
    """Steps, marks and other findings before the first swath."""
    width = column - _NUMBER_MM
    heights = [lines(step, width) * LINE_MM + _ROW_MM for step in view["steps"]]
    heights += [LINE_MM + _ROW_MM] * bool(view["more_steps"])
    heights += [_mark(one, column) for one in view["marks"]]
    heights += [2 * LINE_MM + _ROW_MM] * (not view["marks"])
    heights += [LINE_MM + _ROW_MM] * bool(view["more_marks"])
    if view["others"] or view["more_others"]:
        named = " ".join(f"W {one['what']} ({one['word']})," for one in view["others"])
        told = f"Not fine, on the field's page: {named} and 99 more"
        heights.append(lines(told, column) * LINE_MM + _ROW_MM)
    return heights


def _mark(mark: Item, column: float) -> float:
    words = [
        (f"W {mark['numbers']}", BOLD),
        (f"{mark['words']} {mark['note']}", 1.0),
        (mark["caution"]["word"], 1.1 * BOLD),
        (mark["caution"]["text"], 1.0),
    ]
    return lines(words, column) * LINE_MM + _ROW_MM


def _driving(view: Item, group: Item, map_mm: float, column: float) -> float:
    """The map, then what a driver keeps to, in two columns."""
    heights = [map_mm + _SCALE_MM] if view["has_map"] else []
    heights += [_entry(entry, column) for entry in group["entries"]]
    heights += [_zone(zone, column) for zone in view["zones"]]
    if view["round_marks"] or not view["zones"]:
        heights.append((1 if view["round_marks"] else 2) * LINE_MM + _ROW_MM)
    return flowed([*heights, *(_caution(caution, column) for caution in group["cautions"])])


def _zone(zone: Item, column: float) -> float:
    words = [(f"W {zone['action']}", BOLD), (f"({zone['word']}):", 1.0)]
    for piece in zone["pieces"]:
        words += [(f"W{piece['letter']}", BOLD), (f"{piece['words']}, {piece['area']};", 1.0)]
    return lines(words, column) * LINE_MM + _ROW_MM


def _sources(view: Item, wide_mm: float) -> float:
    """The sources in columns, or one after another."""
    held = view["sources"]
    if view["source_columns"]:
        return flowed([LINE_MM] * len(held), view["source_columns"])
    words = [
        part
        for one in held
        for part in ((f"[{one['number']}]", BOLD), (f"{one['words']} mm", 1.0))  # mm: the gap
    ]
    return lines(words, wide_mm) * LINE_MM


def _foot(view: Item, wide_mm: float) -> float:
    left = f"More on the field's page: {', '.join(view['left_out'])}." if view["left_out"] else ""
    words = [
        (view["note"], BOLD),
        (f"{FOOT} For 2026-06-09; made by fieldmap 0.1.0. {left}", 1.0),
    ]
    return lines(words, wide_mm) * LINE_MM + 1.2
