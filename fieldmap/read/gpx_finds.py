"""GPX as finds: waypoints are points, routes are lines; what this tool wrote comes back whole."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

import shapely

from fieldmap.errors import Fault, InputError
from fieldmap.read.cells import CellError, figure
from fieldmap.read.found import Found, from_rows
from fieldmap.read.gpx_parts import gathered
from fieldmap.read.gpx_plan import all_planned, planned
from fieldmap.read.paths import local_name, plain_file, xml_root

#: The namespace of the elements that an export of the log adds.
OWN = "urn:fieldmap:log:1"
_OWN_FIELDS = ("radius_m", "height_m", "heading_deg", "who", "kind", "hazard_id")
_OWN_PIECES = ("shape", "part", "parts")
_SHAPES = ("", "line", "area", "hole")
_RINGS = ("area", "hole")


def read_gpx_finds(name: str | Path, *, kinds: frozenset[str]) -> Found:
    """Waypoints and routes of a GPX file as finds; tracks are walks, and are not looked at.

    A waypoint's ``type`` names its kind, else its name does. A route of two or more points is a
    line; where this tool's own extension calls it an area it is one. Where the extension names
    the kind and the id, name and comment are captions, only ``desc`` is the note, and pieces of
    one find are joined. Places that this tool planned are left out and counted.

    Raises
    ------
    InputError
        Not GPX, a declared document type, neither waypoints nor routes, or none but planned ones;
        every point that is not on earth and every time that cannot be read comes with the finds.
    """
    path = plain_file(name, suffixes=(".gpx",), what="hazards")
    root = xml_root(path, path=path)
    if local_name(root) != "gpx":
        raise InputError(_no_gpx(root, path))
    faults: list[Fault] = []
    notes = _without_plan(root, path)
    rows = list(_waypoints(root, path, kinds, faults))
    rows += _routes(root, path, kinds, faults, notes)
    if not rows and not faults:
        raise InputError(_nothing(path, notes))
    return from_rows(gathered(rows, faults), path, faults=faults, notes=notes)


def _without_plan(root: Element, path: Path) -> list[str]:
    """Take out what this tool planned, and say how much that was.

    Raises
    ------
    InputError
        Nothing else is in the file.
    """
    places = [child for child in root if local_name(child) in ("wpt", "rte")]
    whole = all_planned(root)
    ours = [place for place in places if whole or planned(place)]
    if ours and len(ours) == len(places):
        raise InputError(_only_planned(len(ours), path))
    for place in ours:
        root.remove(place)
    if not ours:
        return []
    note = (
        f"{path.name}: {len(ours)} places that this tool planned left out: they are no finds; what "
        "became of marks is said with 'hazards clear' and 'hazards say'"
    )
    return [note]


def _waypoints(
    root: Element, path: Path, kinds: frozenset[str], faults: list[Fault]
) -> Iterator[dict[str, Any]]:
    for number, element in enumerate(_children(root, "wpt"), start=1):
        place = _named(f"{path.name} waypoint {number}", element)
        row = _row(element, element, place, kinds)
        try:
            yield row | {"geometry": shapely.Point(_corner(element))}
        except CellError as error:
            faults.append(_off_earth(error, element, place))
            yield row | {"geometry": None, "told": True}


def _routes(
    root: Element, path: Path, kinds: frozenset[str], faults: list[Fault], notes: list[str]
) -> Iterator[dict[str, Any]]:
    for number, element in enumerate(_children(root, "rte"), start=1):
        place = _named(f"{path.name} route {number}", element)
        points = list(_children(element, "rtept"))
        if len(points) < 2:
            notes.append(f"{place} left out: fewer than two points")
            continue
        timed = next((point for point in points if _text(point, "time")), element)
        row = _row(element, timed, place, kinds)
        corners = []
        for at, point in enumerate(points, start=1):
            try:
                corners.append(_corner(point))
            except CellError as error:
                faults.append(_off_earth(error, point, f"{place} point {at}"))
        if len(corners) < len(points):
            yield row | {"geometry": None, "told": True}
            continue
        yield row | {"geometry": _line_or_area(corners, element, place, faults)}


def _row(element: Element, timed: Element, place: str, kinds: frozenset[str]) -> dict[str, Any]:
    name, note, aside, kind = (_text(element, key) for key in ("name", "desc", "cmt", "type"))
    own = _own(element)
    if own.get("kind") in kinds and own.get("hazard_id"):
        name, aside = "", ""
    held: dict[str, Any] = {key: own.get(key, "") for key in (*_OWN_FIELDS, *_OWN_PIECES)}
    return held | {
        "name": name,
        "note": " - ".join(filter(None, (note, aside))),
        "time": _text(timed, "time") or own.get("time", ""),
        "kind": own.get("kind") or kind,
        "place": place,
    }


def _line_or_area(
    corners: list[tuple[float, float]], element: Element, place: str, faults: list[Fault]
) -> shapely.Geometry:
    """The route as its shape; only this tool's own word makes an area of it."""
    said = _own(element).get("shape", "")
    if said not in _SHAPES or (said in _RINGS and len(set(corners)) < 3):
        faults.append(
            Fault(
                "a route whose shape cannot be told",
                f"{said[:40]}, {len(corners)} points",
                "a line and an area are kept clear of in different ways",
                "write line or area; an area has three corners or more",
                where=place,
            )
        )
    elif said in _RINGS:
        return shapely.Polygon(corners)
    return shapely.LineString(corners)


def _children(element: Element, name: str) -> Iterator[Element]:
    return (child for child in element if local_name(child) == name)


def _text(element: Element, name: str) -> str:
    child = next(_children(element, name), None)
    return "" if child is None else "".join(child.itertext()).strip()


def _own(element: Element) -> dict[str, str]:
    """The elements of this tool's own namespace that stand in the extensions."""
    start = f"{{{OWN}}}"
    return {
        str(one.tag).removeprefix(start): (one.text or "").strip()
        for held in _children(element, "extensions")
        for one in held.iter()
        if str(one.tag).startswith(start)
    }


def _corner(element: Element) -> tuple[float, float]:
    lon, lat = (figure(element.get(key), degrees=True) for key in ("lon", "lat"))
    if not (abs(lon) <= 180 and abs(lat) <= 90):  # NaN is on no side of a limit
        raise CellError("is not on earth", "export it again from the device")
    return lon, lat


def _named(place: str, element: Element) -> str:
    name = _text(element, "name")
    return f"{place} ({name[:60]})" if name else place


def _off_earth(error: CellError, element: Element, place: str) -> Fault:
    return Fault(
        f"a position that {error.what}",
        f"lat {element.get('lat')}, lon {element.get('lon')}"[:60],
        "a find without a place cannot be mapped",
        "export it again from the device, or take the point out",
        where=place,
    )


def _no_gpx(root: Element, path: Path) -> Fault:
    return Fault(
        "not a GPX file that can be read",
        f"begins with <{local_name(root)[:40]}>",
        "nothing of it was taken",
        "export it again from the device",
        where=str(path),
    )


def _only_planned(count: int, path: Path) -> Fault:
    return Fault(
        "a plan of this tool, not finds",
        f"{count} planned places",
        "every mark would stand in the log twice, and places to start from as marks",
        "say what became of marks with 'fieldmap hazards clear' or 'say'; a track that was "
        "recorded on the walk goes among the tracks of farm.toml",
        where=str(path),
    )


def _nothing(path: Path, notes: list[str]) -> Fault:
    return Fault(
        "no waypoints and no routes in the file",
        "; ".join(["0", *notes]),
        "there is nothing to log",
        "export waypoints, not only tracks",
        where=str(path),
    )
