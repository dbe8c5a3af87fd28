"""Which of somebody's columns mean what: the plain names people give them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from fieldmap.errors import Fault
from fieldmap.words import plain_words

#: What we call a column -> how people write it (case and signs between words do not matter;
#: a Shapefile cuts a name after ten characters).
ALIASES = {
    "hazard_id": ("hazard id",),
    "kind": ("kind", "type", "what", "category", "hazard", "hazard kind", "hazard type"),
    "name": ("name", "title"),
    "note": ("note", "notes", "desc", "description", "descriptio", "comment", "comments", "remark",
             "remarks"),
    "who": ("who", "by", "observer", "reported by", "reported b", "found by", "finder"),
    "time": ("time", "when", "datetime", "date time", "timestamp", "time stamp"),
    "date": ("date", "day"),
    "radius_m": ("radius m",),
    "accuracy_m": ("accuracy", "accuracy m", "horizontal accuracy", "horizontal accuracy m"),
    "height_m": ("height", "height m"),
    "heading_deg": ("heading deg", "heading de"),
}  # fmt: skip
#: The same for a position; each line is a way of giving one, the first that is there counts.
PLACES = {
    "wkt": ("wkt", "geometry", "geom"),
    "lon": ("lon", "lng", "long", "longitude", "lon deg", "longitude deg"),
    "lat": ("lat", "latitude", "lat deg", "latitude deg"),
    "x": ("x",),
    "y": ("y",),
    "position": ("position", "coordinates", "coordinate", "coords", "coord", "gps"),
    "lat_lon": ("lat lon", "latlon", "lat long", "lat lng", "latlng", "latitude longitude"),
    "lon_lat": ("lon lat", "lonlat", "long lat", "lng lat", "lnglat", "longitude latitude"),
}
#: Metres in a system that the header does not name.
METRES = (
    "easting", "northing", "eastings", "northings", "east", "north", "utm e", "utm n", "utm x",
    "utm y", "utm easting", "utm northing", "e", "n",
)  # fmt: skip
#: Columns that an export of the log adds for its readers; nothing is lost with them.
CAPTIONS = (
    "label", "level", "do", "call", "last seen", "hits", "not found", "photo id", "file", "guard",
)  # fmt: skip
_ROW_NUMBERS = ("id",)  # another program's number of the row, where a hazard_id stands beside it


class Columns(NamedTuple):
    """Our name -> the file's name; what nothing was taken from; what is wrong with them."""

    named: dict[str, str]
    unused: list[str]
    faults: list[Fault]


def columns_of(names: Iterable[str], *, where: str, places: bool) -> Columns:
    """What each column means.

    Parameters
    ----------
    names : iterable of str
        The columns that hold anything, as written.
    where : str
        The file, for the words of an error.
    places : bool
        The file gives positions in columns.

    Examples
    --------
    >>> found = columns_of(["Lng", "LAT", "What", "Remarks", "plot"], where="a.csv", places=True)
    >>> found.named
    {'lon': 'Lng', 'lat': 'LAT', 'kind': 'What', 'note': 'Remarks'}
    >>> found.unused
    ['plot']
    >>> str(columns_of(["note", "Remarks"], where="a.csv", places=False).faults[0].value)
    'note, Remarks'
    """
    meant = _meanings(places=places)
    by_role: dict[str, list[str]] = {}
    unused, numbers = [], []
    for name in names:
        plain = plain_words(str(name))
        if plain in _ROW_NUMBERS:
            numbers.append(name)
        elif plain in meant:
            by_role.setdefault(meant[plain], []).append(name)
        elif plain not in CAPTIONS:
            unused.append(name)
    if numbers and "hazard_id" not in by_role:
        by_role["hazard_id"] = numbers
    faults = [_twice(held, role, where) for role, held in by_role.items() if len(held) > 1]
    return Columns({role: held[0] for role, held in by_role.items()}, unused, faults)


def _meanings(*, places: bool) -> dict[str, str]:
    tables = (ALIASES, PLACES) if places else (ALIASES,)
    return {plain: role for table in tables for role, held in table.items() for plain in held}


def _twice(names: list[str], role: str, where: str) -> Fault:
    return Fault(
        "two columns that mean the same",
        ", ".join(names),
        f"both say {role}, and one would hide the other",
        "keep one of them, or give the other a name of its own",
        where=where,
    )


def unused_note(unused: list[str], where: str) -> list[str]:
    """What to tell of columns that nothing was taken from."""
    return [f"{where}: columns not used: {', '.join(unused)}"] if unused else []
