"""What crosses above a leg: bridges and power lines that share no node with it there."""

from __future__ import annotations

import contextlib

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import CRS

from fieldmap.crs import WGS84, transformer
from fieldmap.read.osm_legs import Legs
from fieldmap.read.osm_scan import Ways
from fieldmap.read.osm_words import above_as, has_wire
from fieldmap.read.road_tags import Tags

#: Two lines that meet only this near a node they share do not cross (m).
_TOUCH_M = 0.05

Ints = NDArray[np.int64]


def layer(tags: Tags) -> float:
    """The layer of a way; a bridge without one lies at 1, a tunnel at -1, the rest at 0.

    Examples
    --------
    >>> layer({"bridge": "yes"}), layer({"bridge": "yes", "layer": "2"}), layer({})
    (1.0, 2.0, 0.0)
    """
    with contextlib.suppress(ValueError):
        return float(tags["layer"]) if "layer" in tags else _usual_layer(tags)
    return _usual_layer(tags)


def _usual_layer(tags: Tags) -> float:
    if tags.get("bridge", "no") != "no":
        return 1.0
    return -1.0 if tags.get("tunnel", "no") != "no" else 0.0


def crossings_above(legs: Legs, above: Ways, *, crs: CRS) -> pd.Series:
    """For each leg a tuple such as ``("bridge way/12", "power line way/7")``.

    A leg that is itself a bridge, on the other's layer or higher, is not under it. A power
    line, or another one overhead (``"overhead line way/8"``: a telephone's, a lift's), counts
    wherever it crosses, whatever the layers. The contact wire of rails counts as a
    power line where the leg crosses the rails on their own layer: a level crossing.
    """
    under = np.empty(len(legs.edges), dtype=object)
    under[:] = [()] * len(under)
    lines, rows = _lines(above, crs=crs)
    if len(lines) and len(under):
        kinds = [above_as(tags) for tags in above.tags]
        hung = np.array(["line" in kind for kind in kinds], dtype=bool)
        own, over = _crossing(legs, lines, rows, above, hung)
        for leg, way in zip(own.tolist(), over.tolist(), strict=True):
            under[leg] = (*under[leg], f"{kinds[way]} way/{above.ids[way]}")
    return pd.Series(under, index=legs.edges.index, dtype=object)


def _only_wire(tags: Tags) -> bool:
    """Whether rails carry a contact wire and are no bridge: what is above is the wire alone."""
    return "power" not in tags and has_wire(tags) and tags.get("bridge", "no") == "no"


def _lines(above: Ways, *, crs: CRS) -> tuple[NDArray[np.object_], Ints]:
    """Lines of what may be above, one an unbroken run of points, and the way of each."""
    lon, lat = above.lon_lat()
    way = np.repeat(np.arange(len(above.ids)), np.diff(above.start))
    here = np.isfinite(lon)
    run = np.cumsum(~here) + way  # never the same for two ways or across a gap
    run, way, lon, lat = run[here], way[here], lon[here], lat[here]
    _, line, size = np.unique(run, return_inverse=True, return_counts=True)
    enough = size[line] > 1
    if not enough.any():
        return np.zeros(0, dtype=object), np.zeros(0, np.int64)
    x, y = transformer(WGS84, crs).transform(lon[enough], lat[enough])
    _, first, line = np.unique(line[enough], return_index=True, return_inverse=True)
    return shapely.linestrings(np.column_stack([x, y]), indices=line), way[enough][first]


def _crossing(
    legs: Legs, lines: NDArray[np.object_], rows: Ints, above: Ways, hung: NDArray[np.bool_]
) -> tuple[Ints, Ints]:
    """Pairs of leg and way above, once each."""
    shapes = legs.edges.geometry.to_numpy()
    line, leg = shapely.STRtree(shapes).query(lines, predicate="intersects")
    over = rows[line]
    tags = legs.edges["tags"].to_numpy()
    level = np.array([layer(one) for one in above.tags])
    is_bridge = np.array([tags[one].get("bridge", "no") != "no" for one in leg], dtype=bool)
    own_level = np.array([layer(tags[one]) for one in leg])
    same_way = legs.edges["way_id"].to_numpy()[leg] == np.array(above.ids, np.int64)[over]
    wire = np.array([_only_wire(one) for one in above.tags], dtype=bool)[over]
    same_level = own_level == level[over]
    beneath = hung[over] | ~(is_bridge & (own_level >= level[over]))
    real = np.where(wire, same_level, beneath) & ~same_way
    line, leg, over = line[real], leg[real], over[real]
    anywhere = hung[over]
    apart = anywhere | _cross_off_nodes(legs, lines[line], shapes[leg], leg, over, above)
    pairs = np.unique(np.column_stack([leg[apart], over[apart]]), axis=0)
    return pairs[:, 0], pairs[:, 1]


def _cross_off_nodes(
    legs: Legs,
    other: NDArray[np.object_],
    own: NDArray[np.object_],
    leg: Ints,
    over: Ints,
    above: Ways,
) -> NDArray[np.bool_]:
    """Whether two lines meet anywhere but at nodes they share."""
    met = shapely.intersection(own, other)
    refs = np.array(above.refs, dtype=np.int64)
    way = np.repeat(np.arange(len(above.ids)), np.diff(above.start))
    stride = len(legs.nodes) + 1
    node_ids = legs.nodes["node_id"].to_numpy()
    row = np.searchsorted(node_ids, refs).clip(max=len(node_ids) - 1)
    known = node_ids[row] == refs
    held = np.unique(way[known] * stride + row[known])
    left = met
    for end in ("u", "v"):
        node = legs.edges[end].to_numpy()[leg]
        shared = np.isin(over * stride + node, held)
        spot = shapely.points(legs.nodes[["x", "y"]].to_numpy()[node])
        hole = shapely.buffer(np.where(shared, spot, shapely.Point()), _TOUCH_M)
        left = shapely.difference(left, hole)
    return ~shapely.is_empty(left)
