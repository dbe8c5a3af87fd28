"""What people tell becomes events: append-only rows that say what was seen, done and known.

An event never changes. It names the hazard it speaks of, and in ``seen`` the events of that
hazard that its writer had before them; who saw what decides what a later word closes or
replaces, never a clock.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

ADD = "add"
SEEN_AGAIN = "seen again"
NOT_FOUND = "not found"
MOVED = "moved"
CLEARED = "cleared"
HIT = "hit"
NOTE = "note"
MERGED = "merged"
UNMERGED = "unmerged"
VERBS = (ADD, SEEN_AGAIN, NOT_FOUND, MOVED, CLEARED, HIT, NOTE, MERGED, UNMERGED)
#: Words that say that a thing is there. It stands as long as one of them is open.
ASSERTIONS = (ADD, SEEN_AGAIN, MOVED, HIT)

#: What makes two tellings the same telling.
_SAME = ("kind", "note", "who", "time", "radius_m", "height_m", "wkt")
EVENT_COLUMNS = (
    "event_id",
    "hazard_id",
    "name",
    "verb",
    "kind",
    "note",
    "who",
    "device",
    "sequence",
    "time",
    "radius_m",
    "height_m",
    "heading_deg",
    "lon",
    "lat",
    "wkt",
    "others",
    "seen",
    "photo",
    "file",
)
_WORDS = ("note", "who")
_NUMBERS = ("radius_m", "height_m", "heading_deg", "lon", "lat")
_KEY_DIGITS = 16


def no_events() -> pd.DataFrame:
    """A log nobody has written in."""
    table = pd.DataFrame({name: pd.Series(dtype=object) for name in EVENT_COLUMNS})
    return table.astype({**dict.fromkeys(_NUMBERS, float), "sequence": int})


def add_events(finds: gpd.GeoDataFrame, *, file: str) -> pd.DataFrame:
    """One ``add`` event for each find; finds that say the same are one.

    An event's id is a digest of what was found, where, when, by whom and under what name, so
    the same find told twice is the same event. The hazard's own id is the start of it.

    Parameters
    ----------
    finds : GeoDataFrame
        Columns ``hazard_id`` (the finder's name for it, may be ""), ``kind, note, who, time,
        radius_m, height_m, heading_deg, photo`` (JPEG bytes, may be empty); WGS 84.
    file : str
        Name of the file they came from.

    Returns
    -------
    DataFrame
        Columns :data:`EVENT_COLUMNS`; ``photo`` holds ids, see :func:`photo_id`.
    """
    table = placed(finds).assign(verb=ADD, file=file)
    wkt = shapely.to_wkt(finds.geometry.to_numpy(), rounding_precision=8)
    same = table.assign(wkt=wkt)[list(_SAME)].itertuples(index=False, name=None)
    extra = zip(table["name"], table["photo"], strict=True)
    table["event_id"] = [
        digest((*row, *filter(None, more))) for row, more in zip(same, extra, strict=True)
    ]
    table["hazard_id"] = table["event_id"].str[:_KEY_DIGITS]
    return filled(table.drop_duplicates("event_id"))


def told_event(verb: str, hazard_id: str, **said: Any) -> pd.DataFrame:
    """One event of any other verb.

    Parameters
    ----------
    verb : str
        One of :data:`VERBS`.
    hazard_id : str
        The hazard's own id (``key`` of the fold).
    **said
        Any of :data:`EVENT_COLUMNS`; ``time`` as ISO text, ``seen`` and ``others`` as ids with
        spaces between.
    """
    row = {"verb": verb, "hazard_id": hazard_id, **said}
    row["event_id"] = digest([row.get(name, "") for name in EVENT_COLUMNS if name != "event_id"])
    return filled(pd.DataFrame([row]))


def placed(finds: gpd.GeoDataFrame) -> pd.DataFrame:
    """Finds as events hold them: points in ``lon`` and ``lat`` alone, other shapes in ``wkt``.

    Blanks alone are no note and no name.
    """
    shapes = finds.geometry.to_numpy()
    middle = shapely.point_on_surface(shapes)
    pointed = shapely.get_type_id(shapes) == shapely.GeometryType.POINT
    wkt = np.where(pointed, "", shapely.to_wkt(shapes, rounding_precision=8))
    plain = pd.DataFrame(finds.drop(columns=finds.geometry.name))
    photos = plain.get("photo", [b""] * len(plain))
    return plain.rename(columns={"hazard_id": "name"}).assign(
        lon=shapely.get_x(middle),
        lat=shapely.get_y(middle),
        wkt=wkt.astype(object),
        photo=[photo_id(held) for held in photos],
        time=[iso(moment) for moment in plain["time"]],
        **{name: ["" if str(held).isspace() else held for held in plain[name]] for name in _WORDS},
    )


def filled(table: pd.DataFrame) -> pd.DataFrame:
    """The event columns in their order; what was not said is empty text, NaN or 0."""
    whole = table.reindex(columns=list(EVENT_COLUMNS)).reset_index(drop=True)
    words = [name for name in EVENT_COLUMNS if name not in (*_NUMBERS, "sequence")]
    whole[words] = whole[words].astype(object).where(whole[words].notna(), "")
    whole["sequence"] = whole["sequence"].astype(float).fillna(0).astype(int)
    return whole.astype(dict.fromkeys(_NUMBERS, float))


def photos_of(finds: gpd.GeoDataFrame) -> dict[str, bytes]:
    """The pictures that came with finds, by id."""
    return {photo_id(jpeg): jpeg for jpeg in finds.get("photo", ()) if jpeg}


def photo_id(jpeg: bytes) -> str:
    """Id of a picture: a digest of its bytes, "" for none.

    Examples
    --------
    >>> photo_id(b""), len(photo_id(b"picture"))
    ('', 24)
    """
    return hashlib.sha256(jpeg).hexdigest()[:24] if jpeg else ""


def iso(moment: Any) -> str:
    """A moment as the log writes it, "" when it is not known."""
    return "" if pd.isna(moment) else pd.Timestamp(moment).isoformat()


def digest(row: Iterable[Any]) -> str:
    """24 hex digits that stand for these values and no others."""
    text = "\x1f".join("" if pd.isna(held) else str(held) for held in row)
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def ids(text: str) -> list[str]:
    """Ids out of a column that holds several, with spaces between."""
    return text.split()


def joined(held: Iterable[str]) -> str:
    """Ids as one column holds them: sorted, with spaces between.

    Examples
    --------
    >>> joined({"b", "a"}), ids("a b"), ids("")
    ('a b', ['a', 'b'], [])
    """
    return " ".join(sorted(set(held)))


def said_of(row: Mapping[str, Any]) -> dict[str, Any]:
    """Kind, place and radius of a folded mark, for an event that only says more about it."""
    shape = row["geometry"]
    middle = shapely.point_on_surface(shape)
    return {
        "kind": row["kind"],
        "name": row["name"],
        "radius_m": row["radius_m"],
        "lon": middle.x,
        "lat": middle.y,
        "wkt": "" if shape.geom_type == "Point" else shapely.to_wkt(shape, rounding_precision=8),
    }
