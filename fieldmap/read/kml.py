"""KML 2.2 and KMZ: placemarks as rows. Links are never followed, styles and altitudes ignored.

Reference: OGC 07-147r2, OGC KML.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple
from xml.etree.ElementTree import Element

import numpy as np
import shapely
from shapely.errors import ShapelyError

from fieldmap.errors import Fault, InputError
from fieldmap.read.kmz import kml_in
from fieldmap.read.paths import local_name, xml_root
from fieldmap.read.shapes import joined

SUFFIXES = (".kml", ".kmz")
_ROOTS = ("kml", "Document", "Folder", "Placemark")
_SHAPES = ("Point", "LineString", "LinearRing", "Polygon")
_UNREAD = ("Model", "Track", "MultiTrack")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_TAG = re.compile(r"<(/?)([a-zA-Z][a-zA-Z0-9]*)\b[^<>]*>|<!--[^<>]*-->", re.ASCII)
_MARKUP = frozenset(
    re.findall(
        r"\w+",
        "a abbr b big blockquote body br button caption center cite code col dd div dl dt em font "
        "footer form h1 h2 h3 h4 h5 h6 head header hr html i iframe img input label li link main "
        "meta object ol option p pre q s script section select small span strike strong style sub "
        "sup table tbody td tfoot th thead title tr tt u ul video ",
    )
)
_SILENT = ("script", "style")


class Placemark(NamedTuple):
    """One placemark: ``data`` holds its extended data by name; ``shape`` is ``None`` without one.

    ``place`` names file and placemark; ``time`` is the text of its time stamp, or of the
    beginning of its time span.
    """

    name: str
    description: str
    time: str
    data: dict[str, str]
    shape: shapely.Geometry | None
    place: str


class Placemarks(NamedTuple):
    """What stands in a file: its placemarks, how many links to other files, what is wrong."""

    rows: list[Placemark]
    links: int
    faults: list[Fault]


def read_placemarks(path: Path) -> Placemarks:
    """Every placemark of a KML or KMZ file, in the order of the file.

    Raises
    ------
    InputError
        Not KML, a declared document type, or an archive that is refused.
    """
    source = kml_in(path) if path.suffix.lower() == ".kmz" else path
    root = xml_root(source, path=path)
    if local_name(root) not in _ROOTS:
        raise InputError(
            Fault(
                "not a KML file",
                f"begins with <{local_name(root)[:40]}>",
                "nothing of it was taken",
                "export it again as KML",
                where=str(path),
            )
        )
    rows: list[Placemark] = []
    faults: list[Fault] = []
    links = 0
    for element in root.iter():
        kind = local_name(element)
        links += kind == "NetworkLink"
        if kind == "Placemark":
            rows.append(_placemark(element, f"{path.name} placemark {len(rows) + 1}", faults))
    return Placemarks(rows, links, faults)


def _placemark(element: Element, where: str, faults: list[Fault]) -> Placemark:
    name = _text(element, "name")
    place = f"{where} ({name[:60]})" if name else where
    shape = None
    try:
        parts = [_shape(part) for part in _parts(element)]
        shape = joined(parts) if parts else None
    except (ValueError, ShapelyError) as error:
        faults.append(_no_shape(str(error), place))
    return Placemark(
        name,
        plain_text(_text(element, "description")),
        _time(element),
        _data(element, place, faults),
        shape,
        place,
    )


def _no_shape(seen: str, place: str) -> Fault:
    return Fault(
        "a placemark whose shape cannot be read",
        seen[:80],
        "nobody could tell where it lies",
        "write each corner as longitude,latitude without blanks, or draw it again",
        where=place,
    )


def _children(element: Element, *names: str) -> Iterator[Element]:
    return (child for child in element if local_name(child) in names)


def _text(element: Element, name: str) -> str:
    child = next(_children(element, name), None)
    return "" if child is None else "".join(child.itertext()).strip()


def _time(element: Element) -> str:
    for stamp in _children(element, "TimeStamp", "TimeSpan"):
        told = _text(stamp, "when") or _text(stamp, "begin")
        if told:
            return told
    return ""


def _data(element: Element, place: str, faults: list[Fault]) -> dict[str, str]:
    """The extended data by column name; blank cells and cells without a name are left out."""
    out: dict[str, str] = {}
    for name, held in _cells(element):
        if not name or not held:
            continue
        if out.get(name, held) != held:
            faults.append(
                Fault(
                    "a column that stands twice",
                    f"{name}: {out[name]}; {held}"[:80],
                    "one would hide the other",
                    "keep one of them",
                    where=place,
                )
            )
        out[name] = held
    return out


def _cells(element: Element) -> Iterator[tuple[str, str]]:
    for extended in _children(element, "ExtendedData"):
        for child in extended:
            kind = local_name(child)
            if kind == "Data":
                yield child.get("name", "").strip(), _text(child, "value")
            elif kind == "SchemaData":
                for cell in _children(child, "SimpleData"):
                    yield cell.get("name", "").strip(), "".join(cell.itertext()).strip()
            elif len(child) == 0:  # any other vocabulary: a column by the element's name
                yield kind, (child.text or "").strip()


def _parts(element: Element) -> Iterator[Element]:
    """The single shapes of a placemark, however deep its collections lie in each other."""
    stack = list(reversed(list(element)))
    while stack:
        child = stack.pop()
        kind = local_name(child)
        if kind == "MultiGeometry":
            stack.extend(reversed(list(child)))
        elif kind in _UNREAD:
            raise ValueError(f"{kind}: only points, lines and areas are read")
        elif kind in _SHAPES:
            yield child


def _shape(element: Element) -> shapely.Geometry:
    kind = local_name(element)
    if kind == "Polygon":
        rings = [
            [_corners(ring, least=3) for ring in _rings(element, boundary)]
            for boundary in ("outerBoundaryIs", "innerBoundaryIs")
        ]
        if len(rings[0]) != 1:
            raise ValueError(f"an area with {len(rings[0])} outer outlines")
        return shapely.Polygon(rings[0][0], rings[1])
    if kind == "Point":
        corners = _corners(element, least=1)
        if len(corners) > 1:
            raise ValueError(f"a point with {len(corners)} places")
        return shapely.Point(corners[0])
    return shapely.LineString(_corners(element, least=2))


def _rings(element: Element, boundary: str) -> Iterator[Element]:
    for side in _children(element, boundary):
        yield from _children(side, "LinearRing")


def _corners(element: Element, *, least: int) -> np.ndarray:
    """Longitudes and latitudes, shape (n, 2); altitudes are dropped.

    Raises
    ------
    ValueError
        Too few corners, or one that is not two or three numbers between commas.
    """
    corners = []
    for word in _text(element, "coordinates").split():
        figures = word.split(",")
        if not 2 <= len(figures) <= 3 or not all(map(_NUMBER.fullmatch, figures)):
            raise ValueError(f"'{word[:40]}' is not longitude,latitude")
        corners.append((float(figures[0]), float(figures[1])))
    if len(corners) < least:
        words = {1: "no coordinates", 2: "a line with fewer than two corners"}
        raise ValueError(words.get(least, "an outline with fewer than three corners"))
    return np.asarray(corners)


def plain_text(text: str) -> str:
    """The words of a text that may hold HTML: tags off, entities decoded, nothing else.

    Examples
    --------
    >>> plain_text("<b>Wire</b> by the gate<br>stones &lt; 5 cm &amp; glass")
    'Wire by the gate stones < 5 cm & glass'
    >>> plain_text("height <2 m, <unsure>")
    'height <2 m, <unsure>'
    """
    words: list[str] = []
    silent, at, marked = "", 0, False
    last = {name: text.lower().rfind(f"</{name}") for name in _SILENT}
    for tag in _TAG.finditer(text):
        name = (tag[2] or "").lower()
        if tag[2] and name not in _MARKUP:
            continue
        marked = True
        if not silent:
            words.append(text[at : tag.start()])
        at = tag.end()
        if silent:
            silent = "" if tag[1] and name == silent else silent
        elif name in _SILENT and not tag[1] and last[name] > at - 1:
            silent = name
    if not marked:
        return html.unescape(text)
    words.append("" if silent else text[at:])
    return " ".join(html.unescape(" ".join(words)).split())
