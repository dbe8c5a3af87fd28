"""Roads out of an OpenStreetMap file: legs, nodes and turn restrictions."""

from __future__ import annotations

from pathlib import Path

from pyproj import CRS

from fieldmap.errors import Fault, InputError
from fieldmap.network import RoadData
from fieldmap.read.osm_guard import guarded
from fieldmap.read.osm_legs import cut
from fieldmap.read.osm_over import crossings_above
from fieldmap.read.osm_scan import scan
from fieldmap.read.osm_turns import turn_table


def read_roads(path: str | Path, *, crs: CRS) -> RoadData:
    """Read the roads of a district.

    Every way that a road vehicle may use by its class is kept, motorways too (the checks
    refuse them), cut into legs at junctions and at nodes that say something about passing.
    Ways that leave the file are cut where they do, and the count is in ``warnings``.

    Parameters
    ----------
    path : str or Path
        ``.osm.pbf``, ``.osm`` or ``.osm.gz``.
    crs : pyproj.CRS
        Projected, in metres. ``length_m`` is geodesic (WGS 84), whatever the system.

    Returns
    -------
    RoadData

    Raises
    ------
    InputError
        The file may not or cannot be read, or holds no roads.
    """
    file = guarded(path)
    found = scan(file)
    if not found.roads.ids:
        raise InputError(
            Fault(
                "no roads in the file",
                "0 ways",
                "there is nothing to drive on",
                "export the district with its highway ways",
                where=file.name,
            )
        )
    legs = cut(found, crs=crs)
    legs.edges["under"] = crossings_above(legs, found.above, crs=crs)
    turns, lost = turn_table(found.rules, legs.nodes)
    return RoadData(legs.edges, legs.nodes, turns, crs, file.name, (*legs.warnings, *lost))
