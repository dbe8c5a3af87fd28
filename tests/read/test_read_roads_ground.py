"""Roads of a real district; skipped where its file is absent. Counts are its README's."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pyproj import CRS

from fieldmap.read.osm_scan import scan
from fieldmap.read.roads import read_roads
from fieldmap.schemas import EDGES, NODES, TURNS, checked

FILE = Path(__file__).parents[2] / ".." / "shared" / "data" / "bayreuth" / "bayreuth.osm.pbf"
pytestmark = [
    pytest.mark.real_ground,
    pytest.mark.skipif(not FILE.is_file(), reason="the district is not here"),
]


@pytest.fixture(scope="module")
def data():
    return read_roads(FILE, crs=CRS.from_epsg(32632))


def test_referee_turns_limits_and_bridges_are_all_there(data):
    """Referee: the README beside the file, not by this reader."""
    ways = data.edges.drop_duplicates("way_id")["tags"]
    assert data.turns["relation_id"].nunique() == 40
    assert sum("maxweight" in tags for tags in ways) == 6
    assert sum("maxheight" in tags for tags in ways) == 1


def test_referee_widths_seen_are_on_roads_or_on_paths_left_out(data):
    """Referee: README, 33 widths on all highway ways; paths and foot ways take the rest."""
    import osmium

    ways = osmium.FileProcessor(str(FILE), osmium.osm.WAY).with_filter(
        osmium.filter.KeyFilter("highway")
    )
    wide = {way.id: way.tags["highway"] for way in ways if "width" in way.tags}
    assert len(wide) == 33
    left = {kind for key, kind in wide.items() if key not in set(data.edges["way_id"])}
    assert left == {"path", "cycleway", "footway"}


def test_property_tables_keep_their_contracts(data):
    for table, schema in ((data.edges, EDGES), (data.nodes, NODES), (data.turns, TURNS)):
        assert len(checked(table, schema, where="district")) == len(table)
    xy = data.nodes[["x", "y"]].to_numpy()
    first = np.array([line.coords[0] for line in data.edges.geometry])
    last = np.array([line.coords[-1] for line in data.edges.geometry])
    assert np.allclose(xy[data.edges["u"]], first, atol=1e-6)
    assert np.allclose(xy[data.edges["v"]], last, atol=1e-6)
    assert np.abs(data.edges.length / data.edges["length_m"] - 1).max() < 1e-3


def test_property_every_road_of_the_scan_becomes_legs(data):
    found = scan(FILE)
    assert set(data.edges["way_id"]) == set(found.roads.ids)
