"""Roads out of a map file or a road graph: legs, nodes and turn restrictions."""

from __future__ import annotations

from pathlib import Path

from pyproj import CRS

from fieldmap.errors import Fault, InputError
from fieldmap.network import RoadData
from fieldmap.read.graph_roads import scan_graph
from fieldmap.read.graphml import SUFFIX as GRAPH
from fieldmap.read.osm_guard import guarded
from fieldmap.read.osm_legs import cut
from fieldmap.read.osm_over import crossings_above
from fieldmap.read.osm_scan import scan
from fieldmap.read.osm_turns import turn_table
from fieldmap.read.road_cache import through_cache


def read_roads(path: str | Path, *, crs: CRS, cache: Path | None = None) -> RoadData:
    """Read the roads of a district.

    Every way that a road vehicle may use by its class is kept, motorways too (the checks
    refuse them), cut into legs at junctions and at nodes that say something about passing.
    Ways that leave the file are cut where they do, and the count is in ``warnings``.

    A road graph (GraphML, as OSMnx saves it unsimplified) gives the same tables; what it cannot
    hold stands in ``lacks``. Its legs may be numbered otherwise than those of a map file.

    Parameters
    ----------
    path : str or Path
        ``.osm.pbf``, ``.osm``, ``.osm.gz`` or ``.graphml``.
    crs : pyproj.CRS
        Projected, in metres. ``length_m`` is geodesic (WGS 84), whatever the system.
    cache : Path, optional
        A folder in which the tables of a large file are kept for the next time, by the file's
        content. It never changes what is read; where it cannot be written it is done without.

    Returns
    -------
    RoadData

    Raises
    ------
    InputError
        The file may not or cannot be read, or holds no roads.
    """
    file = guarded(path)
    if cache is None:
        return _read(file, crs)
    return through_cache(file, crs, cache, read=_read)


def _read(file: Path, crs: CRS) -> RoadData:
    found, lacks = scan_graph(file) if file.name.lower().endswith(GRAPH) else (scan(file), ())
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
    turns, lost = turn_table(found.rules, legs.nodes, frozenset(found.roads.ids))
    unknown = (f"not in {file.name}, and so unknown: {', '.join(lacks)}",) if lacks else ()
    warnings = (*legs.warnings, *lost, *unknown)
    return RoadData(legs.edges, legs.nodes, turns, crs, file.name, warnings, lacks)
