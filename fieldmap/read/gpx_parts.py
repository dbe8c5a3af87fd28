"""Finds that an export of the log wrote to GPX piece by piece, put together again."""

from __future__ import annotations

from typing import Any

import shapely

from fieldmap.errors import Fault
from fieldmap.read.shapes import joined

_OF_A_PIECE = ("geometry", "place", "shape", "part", "parts")


def gathered(rows: list[dict[str, Any]], faults: list[Fault]) -> list[dict[str, Any]]:
    """One row a find: pieces that count their ``parts`` are joined, holes cut out of areas.

    Parameters
    ----------
    rows : list of dict
        With ``hazard_id``, ``geometry``, ``place``, and the words ``shape`` (point, line, area,
        hole or ""), ``part`` and ``parts`` ("" where a find is in one piece).
    faults : list of Fault
        What is wrong is added here: pieces that are missing, stand twice or say different things.
    """
    groups: dict[object, list[dict[str, Any]]] = {}
    for number, row in enumerate(rows):
        whole = not (row["parts"] and row["hazard_id"])
        groups.setdefault(number if whole else row["hazard_id"], []).append(row)
    return [_one(pieces, faults) for pieces in groups.values()]


def _one(pieces: list[dict[str, Any]], faults: list[Fault]) -> dict[str, Any]:
    first = pieces[0]
    row = {key: held for key, held in first.items() if key not in ("shape", "part", "parts")}
    if any(piece["geometry"] is None for piece in pieces):
        return row | {"geometry": None, "told": True}
    wrong = _wrong(pieces)
    if wrong is not None:
        faults.append(wrong)
        return row
    return row | {"geometry": _joined(sorted(pieces, key=_number))}


def _number(piece: dict[str, Any]) -> int:
    return int(piece["part"]) if piece["part"].isdecimal() else 1


def _wrong(pieces: list[dict[str, Any]]) -> Fault | None:
    """What is wrong with the pieces of one find, if anything is."""
    first = pieces[0]
    numbers = sorted(map(_number, pieces))
    count = int(first["parts"]) if first["parts"].isdecimal() else 1
    told = [
        {key: held for key, held in piece.items() if key not in _OF_A_PIECE} for piece in pieces
    ]
    if any(one != told[0] for one in told):
        return _fault("pieces of one find that say different things", f"{len(pieces)} pieces",
                      "write the same to each of them", first)  # fmt: skip
    if numbers != list(range(1, count + 1)):
        return _fault("a find of which pieces are missing or stand twice",
                      f"{numbers} of {count}", "export it again, whole", first)  # fmt: skip
    if min(pieces, key=_number)["shape"] == "hole":
        return _fault("a hole without the area it lies in", "shape hole",
                      "export it again, whole", first)  # fmt: skip
    return None


def _joined(pieces: list[dict[str, Any]]) -> shapely.Geometry:
    parts: list[shapely.Geometry] = []
    for piece in pieces:
        shape = piece["geometry"]
        if piece["shape"] == "hole" and parts[-1].geom_type == "Polygon":
            outer = parts[-1]
            shape = shapely.Polygon(outer.exterior, [*outer.interiors, shape.exterior])
            parts[-1] = shape
        else:
            parts.append(shape)
    return joined(parts)


def _fault(what: str, seen: str, mend: str, piece: dict[str, Any]) -> Fault:
    return Fault(
        what,
        f"{piece['hazard_id']}: {seen}"[:80],
        "part of the ground it takes up would be lost",
        mend,
        where=piece["place"],
    )
