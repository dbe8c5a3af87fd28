"""Zones: they cover what is bad, and joining slivers never makes ground look better."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from small_ground import SOUTH, TABLES, UTM, WEST, box, heights, layers_of, marks, mower, plane

from fieldmap.finding import LEVELS, rank
from fieldmap.risk.causes import FIRST_HAZARD, all_causes, hazard_codes, level_ranks, severities
from fieldmap.risk.layers import Layers
from fieldmap.risk.zones import COLUMNS, merged_slivers, zones

FIELD = shapely.Polygon(
    [(WEST + x, SOUTH + y) for x, y in ((13, 17), (104, 22), (97, 101), (41, 93), (22, 60))],
    [[(WEST + x, SOUTH + y) for x, y in ((50, 50), (63, 51), (55, 67))]],
)
CAUSES = all_causes(TABLES)
ORDER = severities(CAUSES)
RANKS = level_ranks(CAUSES)
DRAWN = TABLES.with_overrides({"looking.sliver_m2": 0.0})


def cells_of(layers: Layers, where: np.ndarray) -> shapely.Geometry:
    """The ground of some cells, corner by corner."""
    rows, columns = np.nonzero(where)
    west, north = layers.cause.transform @ (columns, rows)
    east, south = layers.cause.transform @ (columns + 1, rows + 1)
    return shapely.union_all(shapely.box(west, south, east, north))


def random_layers(seed: int, steep: float, flat: float) -> Layers:
    rng = np.random.default_rng(seed)
    rough = np.cumsum(rng.normal(0, steep, (24, 24)), axis=0)
    rough[rng.random((24, 24)) < flat] = np.nan
    spots = [
        (kind, shapely.Point(WEST + x, SOUTH + y).buffer(radius))
        for kind, x, y, radius in zip(
            rng.choice(["stone", "drum", "silt", "unknown"], 5),
            rng.uniform(10, 110, 5),
            rng.uniform(10, 110, 5),
            rng.uniform(0.1, 12, 5),
            strict=True,
        )
    ]
    return layers_of(FIELD, heights(rough), lying=marks(*spots), machine=mower())


seeds = st.integers(0, 100_000)


@given(seed=seeds, steep=st.floats(0.0, 1.5), flat=st.floats(0.0, 0.05))
@settings(max_examples=30, deadline=None)
def test_zones_are_the_cells_property(seed: int, steep: float, flat: float) -> None:
    """Property: of each level the zones hold just the cells inside the boundary, to 1e-6."""
    layers = random_layers(seed, steep, flat)
    drawn = zones("F", FIELD, layers, crs=UTM, tables=DRAWN)
    for level in LEVELS[1:]:
        bad = cells_of(
            layers, layers.inside & (RANKS[layers.acts.values.astype(int)] == rank(level))
        )
        held = drawn[drawn["level"] == level]
        assert held["area_ha"].sum() * 1e4 == pytest.approx(
            shapely.intersection(bad, FIELD).area, abs=1e-6
        )
        assert held.geometry.area.sum() == pytest.approx(held["area_ha"].sum() * 1e4, abs=1e-6)


@given(seed=seeds, steep=st.floats(0.0, 1.5), flat=st.floats(0.0, 0.05))
@settings(max_examples=30, deadline=None)
def test_no_worse_cell_is_hidden_property(seed: int, steep: float, flat: float) -> None:
    """Property: with slivers joined, each bad cell still lies in zones at least as bad."""
    layers = random_layers(seed, steep, flat)
    drawn = zones("F", FIELD, layers, crs=UTM, tables=TABLES)
    code_of = {cause.key: code for code, cause in CAUSES.items()}
    order = drawn["cause"].map(lambda key: int(ORDER[code_of[key]]))
    held = ORDER[layers.acts.values.astype(int)]
    for least in np.unique(held[layers.inside & (held > 0)]):
        bad = cells_of(layers, layers.inside & (held >= least))
        covered = shapely.union_all(drawn.geometry[order >= least].to_numpy())
        left = shapely.difference(shapely.intersection(bad, FIELD), covered)
        assert left.area < 1e-6


codes = st.sampled_from([0, 1, 2, 3, 4, 5, 8, FIRST_HAZARD, FIRST_HAZARD + 6, FIRST_HAZARD + 13])


@given(
    held=arrays.arrays(np.int16, st.tuples(st.integers(1, 9), st.integers(1, 9)), elements=codes),
    cells=st.integers(0, 12),
)
def test_slivers_never_improve_property(held: np.ndarray, cells: int) -> None:
    """Property: no cell gets better, no mark moves, and no ground becomes a mark."""
    joined = merged_slivers(held, ORDER, cells=cells)
    assert (ORDER[joined] >= ORDER[held]).all()
    marked = held >= FIRST_HAZARD
    assert (joined[marked] == held[marked]).all()
    assert (joined[~marked] < FIRST_HAZARD).all()


def test_keep_out_does_not_become_up_and_down_regression() -> None:
    """Regression: a small piece too steep to drive at all joined the side slope round it."""
    held = np.full((7, 7), 3, np.int16)
    held[3, 3] = 1
    assert merged_slivers(held, ORDER, cells=4)[3, 3] == 1


def test_a_care_sliver_joins_by_hand() -> None:
    """By hand: one cell of care inside unknown ground is called unknown with it."""
    held = np.full((5, 5), 5, np.int16)
    held[2, 2] = 4
    assert (merged_slivers(held, ORDER, cells=4) == 5).all()
    assert merged_slivers(held, ORDER, cells=1)[2, 2] == 4


def test_zones_of_a_steep_half_by_hand() -> None:
    """By hand: level ground beside 40 %: one zone to keep out of, in words, cut to the field."""
    values = plane(0.4, 0.0)
    values[:, :13] = values[0, 12]
    field = box(20, 20, 100, 100)
    drawn = zones("F", field, layers_of(field, heights(values)), crs=UTM, tables=TABLES)
    assert list(drawn.columns) == [*COLUMNS, "geometry"]
    worst = drawn.iloc[0]
    assert (worst["action"], worst["level"], worst["cause"]) == ("keep out", "stop", "steep")
    assert worst["area_ha"] == pytest.approx((100 - 65) * 80 / 1e4, abs=5 * 80 / 1e4)
    assert shapely.covers(field.buffer(1e-6), worst.geometry)
    assert drawn["level"].map(rank).is_monotonic_decreasing


def test_good_ground_has_no_zones_by_hand() -> None:
    """By hand: nothing against it, nothing drawn; the columns are there all the same."""
    field = box(20, 20, 100, 100)
    drawn = zones("F", field, layers_of(field, heights(plane(0, 0))), crs=UTM, tables=TABLES)
    assert isinstance(drawn, gpd.GeoDataFrame)
    assert len(drawn) == 0
    assert list(drawn.columns) == [*COLUMNS, "geometry"]
    assert drawn.crs == UTM


def test_a_tiny_mark_has_its_zone_by_hand() -> None:
    """By hand: a mark of a hand's width on cells of 30 m has a zone that holds it."""
    field = box(40, 40, 160, 160)
    spot = shapely.Point(WEST + 71.3, SOUTH + 88.8).buffer(0.1)
    layers = layers_of(field, heights(np.zeros((7, 7)), cell_m=30.0), lying=marks(("drum", spot)))
    drawn = zones("F", field, layers, crs=UTM, tables=TABLES)
    assert drawn["cause"].tolist() == ["drum"]
    assert shapely.covers(drawn.geometry.iloc[0], spot)


def test_every_kind_has_a_code_of_its_own_by_hand() -> None:
    """By hand: as many codes as kinds, none among the ground's own, all in the table of causes."""
    held = hazard_codes(TABLES)
    assert len(set(held.values())) == len(held) == len(list(TABLES.rows("hazard_kinds")))
    assert min(held.values()) == FIRST_HAZARD
    assert all(CAUSES[code].key == kind for kind, code in held.items())
    assert math.log2(max(held.values())) < 15
