"""Road tables kept beside a farm, so that a large map is cut into legs once: by its content.

An entry holds arrays and JSON, never code. It is named after the digest of the map, of the
reader's own source and of the libraries behind it; the entry itself begins with the digest of
what follows. Whatever does not fit is passed over and the map is read again.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import zipfile
from collections.abc import Callable
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray
from pyproj import CRS
from shapely.errors import ShapelyError

from fieldmap.network import RoadData

FOLDER = ".fieldmap-cache"
#: Smaller networks are read in less time than it takes to look for them.
WORTH_LEGS = 2000
_HEAD = b"fieldmap roads 1\n"
_SOURCES = ("graph*.py", "osm_*.py", "road*.py")
_TEXT, _WHOLE, _FLAGS = ("leg_id", "highway", "name"), ("way_id", "u", "v"), ("forward", "backward")
_NOT_OURS = (
    AttributeError,
    EOFError,
    IndexError,
    KeyError,
    OSError,
    ShapelyError,
    TypeError,
    ValueError,
    zipfile.BadZipFile,
)

Arrays = dict[str, NDArray[Any]]


def through_cache(
    file: Path, crs: CRS, folder: Path, *, read: Callable[[Path, CRS], RoadData]
) -> RoadData:
    """The roads of a file, out of the folder where they are kept, else read and kept there.

    Parameters
    ----------
    file : Path
    crs : pyproj.CRS
    folder : Path
        Made when there is something to keep. Nothing happens to what else is in it.
    read : callable
        Reads the file; whatever it raises is raised.
    """
    digest = _digest_of(file)
    entry = folder / _name(file, digest, crs)
    held = load_entry(entry, source=file.name, crs=crs)
    if held is not None:
        return held
    data = read(file, crs)
    if len(data.edges) >= WORTH_LEGS and digest == _digest_of(file):
        save_entry(entry, data)
    return data


def load_entry(entry: Path, *, source: str, crs: CRS) -> RoadData | None:
    """What is kept, or None when it is not there, not whole or not ours."""
    try:
        packed = entry.read_bytes()
        body = packed[len(_HEAD) + 65 :]
        if packed[: len(_HEAD) + 65] != _head(body):
            return None
        with np.load(io.BytesIO(body), allow_pickle=False) as held:
            arrays = {name: held[name] for name in held.files}
        return _unpacked(arrays, source=source, crs=crs)
    except _NOT_OURS:
        return None


def save_entry(entry: Path, data: RoadData) -> None:
    """Keep the tables, whole or not at all; older entries of the same file go."""
    body = io.BytesIO()
    np.savez(body, allow_pickle=False, **_packed(data))
    packed = body.getvalue()
    partial = entry.with_name(f".{entry.name}.{os.getpid()}")
    with contextlib.suppress(OSError):
        entry.parent.mkdir(exist_ok=True)
        try:
            with partial.open("wb") as stream:
                stream.write(_head(packed))
                stream.write(packed)
                stream.flush()
                os.fsync(stream.fileno())
            partial.replace(entry)
        finally:
            partial.unlink(missing_ok=True)
        _take_away_old(entry)


def _take_away_old(entry: Path) -> None:
    """Entries of the same file with other content, or by another reader."""
    of_file, of_content = entry.name.split("-")[1:3]
    for other in entry.parent.glob(f"roads-{of_file}-*.npz"):
        if other.name.split("-")[2] != of_content:
            other.unlink(missing_ok=True)


def _head(body: bytes) -> bytes:
    return _HEAD + hashlib.sha256(body).hexdigest().encode() + b"\n"


def _digest_of(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _name(file: Path, digest: str, crs: CRS) -> str:
    parts = (file.name, f"{digest} {_reader()}", crs.to_wkt())
    short = [
        hashlib.sha256(part.encode()).hexdigest()[:size]
        for part, size in zip(parts, (12, 32, 12), strict=True)
    ]
    return f"roads-{'-'.join(short)}.npz"


@lru_cache(maxsize=1)
def _reader() -> str:
    """The reader's own source and the libraries it stands on: either may change an answer."""
    room = Path(__file__).parent
    sources = sorted(path for pattern in _SOURCES for path in room.glob(pattern))
    digest = hashlib.sha256()
    for path in (room.parent / "crs.py", *sources):
        digest.update(path.read_bytes())
    libraries = [f"{name} {version(name)}" for name in ("osmium", "numpy", "pandas", "shapely")]
    told = " ".join((*libraries, pyproj.proj_version_str, shapely.geos_version_string))
    return f"{digest.hexdigest()} {told}"


def _packed(data: RoadData) -> Arrays:
    edges, nodes, turns = data.edges, data.nodes, data.turns
    _, coords, (offsets,) = shapely.to_ragged_array(edges.geometry.to_numpy())
    tags, tag_row = _distinct(edges["tags"].tolist())
    said, said_row = _distinct(nodes["tags"].tolist())
    under, under_row = _distinct(edges["under"].tolist())
    words = {
        "legs": {name: edges[name].tolist() for name in _TEXT},
        "tags": tags,
        "said": said,
        "under": under,
        "turns": {name: turns[name].tolist() for name in turns.columns},
        "kinds": {name: str(turns[name].dtype) for name in turns.columns},
        "warnings": data.warnings,
        "lacks": data.lacks,
    }
    return {
        **{name: edges[name].to_numpy() for name in (*_WHOLE, *_FLAGS, "length_m")},
        "coords": coords,
        "offsets": offsets,
        "node_id": nodes["node_id"].to_numpy(),
        "xy": nodes[["x", "y"]].to_numpy(),
        "tag_row": tag_row,
        "said_row": said_row,
        "under_row": under_row,
        "words": np.frombuffer(json.dumps(words).encode(), dtype=np.uint8),
    }


def _distinct(things: list[Any]) -> tuple[list[Any], NDArray[np.int64]]:
    """Things once each (one object is one thing), and each place's row among them."""
    rows: dict[int, int] = {}
    row = [rows.setdefault(id(one), len(rows)) for one in things]
    once: list[Any] = [None] * len(rows)
    for one, at in zip(things, row, strict=True):
        once[at] = one
    return once, np.array(row, dtype=np.int64)


def _unpacked(held: Arrays, *, source: str, crs: CRS) -> RoadData:
    words = json.loads(held["words"].tobytes())
    lines = shapely.from_ragged_array(
        shapely.GeometryType.LINESTRING, held["coords"], (held["offsets"],)
    )
    edges = pd.DataFrame({name: held[name] for name in _WHOLE})
    edges.insert(0, "leg_id", words["legs"]["leg_id"])
    edges["length_m"] = held["length_m"]
    for name in ("highway", "name"):
        edges[name] = words["legs"][name]
    for name in _FLAGS:
        edges[name] = held[name]
    edges = edges.astype(dict.fromkeys(_TEXT, "str"))
    edges["tags"] = _spread(words["tags"], held["tag_row"])
    table = gpd.GeoDataFrame(edges, geometry=lines, crs=crs)
    table["under"] = _spread([tuple(one) for one in words["under"]], held["under_row"])
    nodes = pd.DataFrame({"node_id": held["node_id"], "x": held["xy"][:, 0], "y": held["xy"][:, 1]})
    nodes["tags"] = _spread(words["said"], held["said_row"])
    turns = pd.DataFrame(words["turns"]).astype(words["kinds"])
    turns["via_ways"] = _spread(
        [tuple(one) for one in words["turns"]["via_ways"]], np.arange(len(turns))
    )
    return RoadData(
        table[_ORDER], nodes, turns, crs, source, tuple(words["warnings"]), tuple(words["lacks"])
    )


_ORDER = [
    "leg_id", "way_id", "length_m", "highway", "name", "forward", "backward", "tags",
    "u", "v", "geometry", "under",
]  # fmt: skip


def _spread(once: list[Any], row: NDArray[np.int64]) -> pd.Series:
    held = np.fromiter(once, dtype=object, count=len(once))
    return pd.Series(held[row], dtype=object)
