"""Roads fetched from the map's public service, through OSMnx: only when somebody says so.

Nothing else in fieldmap goes online.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import geopandas as gpd
import osmnx
import shapely
from osmnx import settings

from fieldmap.crs import WGS84
from fieldmap.errors import Fault, InputError
from fieldmap.read.graphml import ASKED_OF_NODES, ASKED_OF_WAYS
from fieldmap.read.map_service import failed, out_of_reach, own_settings, reach
from fieldmap.read.osm_words import ABOVE_KEYS, is_road
from fieldmap.read.road_tags import NODE, WAY

CREDIT = "(c) OpenStreetMap contributors, ODbL 1.0 (https://www.openstreetmap.org/copyright)"
#: More ground than this is not asked of a service that others pay for; an extract holds it.
MOST_KM2 = 2500.0
_FILTERS = [
    '["highway"]',
    f'[~"^({"|".join(ABOVE_KEYS)})$"~"."]["highway"!~"."]',  # what may cross above a road
]


@dataclass(frozen=True, eq=False)
class Fetched:
    """A road graph as OSMnx hands it out, and what is in it."""

    graph: Any
    service: str
    ways: int
    points: int
    area_km2: float


def area_around(shapes: gpd.GeoSeries, *, km: float) -> tuple[shapely.Polygon, float]:
    """The ground to fetch: what lies between the shapes and round them.

    Parameters
    ----------
    shapes : GeoSeries
        In a projected system, in metres: fields, gates and places.
    km : float
        How far beyond them.

    Returns
    -------
    Polygon, float
        In WGS 84 degrees; and its area in square kilometres.

    Raises
    ------
    InputError
        There is nothing to fetch round, or more than a public service is to be asked for.
    """
    held = shapes[~(shapes.is_empty | shapes.isna())]
    if len(held) == 0:
        raise InputError(
            Fault("nothing to fetch roads round", "no fields", "no area", "give fields or places")
        )
    hull = held.union_all().convex_hull.buffer(km * 1000.0)
    area_km2 = hull.area / 1e6
    if area_km2 > MOST_KM2:
        raise InputError(
            Fault(
                "more ground than is asked of a public service",
                f"{area_km2:,.0f} km2, at most {MOST_KM2:,.0f}",
                "others use it too, and so large an answer often breaks off",
                "take a smaller --around, or download an extract (.osm.pbf) of the district",
            )
        )
    ground = gpd.GeoSeries([hull.simplify(10.0)], crs=shapes.crs).to_crs(WGS84)
    return ground.iloc[0], area_km2


def fetch_roads(area: shapely.Polygon, *, area_km2: float) -> Fetched:
    """Ask the service for the roads of an area, and what may cross above them.

    Parameters
    ----------
    area : Polygon
        In WGS 84 degrees.
    area_km2 : float
        Its size, for the record.

    Raises
    ------
    StoreError
        The service cannot be reached, is busy, or its answer broke off. Nothing is tried again.
    InputError
        The map holds no roads there.
    """
    host = urlsplit(settings.overpass_url).hostname or ""
    reach(settings.overpass_url)
    with own_settings(host):
        try:
            graph = osmnx.graph_from_polygon(
                area,
                network_type="all",
                simplify=False,
                retain_all=True,
                truncate_by_edge=True,
                custom_filter=_FILTERS,
            )
        except ValueError:  # what OSMnx makes of an answer without elements
            raise _nothing_there(host) from None
        except (KeyError, TypeError) as error:  # a way or point without what makes it one
            said, mend = str(error), "try again later, or download an extract (.osm.pbf)"
            raise failed("the map service's answer is no map", host, said, mend) from None
        except OSError as error:  # everything the line and the service can do wrong
            raise out_of_reach(host, error) from None
    ways = {data["osmid"] for _, _, data in graph.edges(data=True) if is_road(data)}
    if not ways:
        raise _nothing_there(host)
    graph.graph[ASKED_OF_WAYS] = " ".join(WAY)
    graph.graph[ASKED_OF_NODES] = " ".join(NODE)
    graph.graph["credit"] = CREDIT
    return Fetched(graph, host, len(ways), graph.number_of_nodes(), area_km2)


def save_roads(fetched: Fetched, path: Path) -> None:
    """Write the graph as GraphML, for :func:`fieldmap.read.roads.read_roads`."""
    osmnx.save_graphml(fetched.graph, path)


def _nothing_there(host: str) -> InputError:
    return InputError(
        Fault(
            "no roads in the answer",
            "0 ways",
            "the map shows no roads there, or the fields are in the wrong place",
            "look at the fields on a map, or take a larger --around",
            where=host,
        )
    )
