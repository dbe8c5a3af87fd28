"""Strikes, wraps and forage on cells: sums, unknown ground, the raised cut."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from small_ground import (
    AFTER,
    FLOOD,
    SOUTH,
    TABLES,
    UTM,
    WEST,
    box,
    heights,
    layers_of,
    marks,
    plane,
    seen_in,
    there_and_back,
)

from fieldmap.finding import rank
from fieldmap.hazards.density import estimate
from fieldmap.hazards.looked import FieldLooking
from fieldmap.risk import causes
from fieldmap.risk.layers import Layers, with_strikes
from fieldmap.risk.left import Left
from fieldmap.risk.strike_cells import Struck
from fieldmap.risk.strikes import expected, joined, no_things
from fieldmap.risk.things import left_things, logged_things
from fieldmap.tables import Tables

FIELD = box(20, 20, 100, 100)  # 16 x 16 cells of 5 m
GROUND = heights(plane(0.02, 0.0))
ALL = causes.all_causes(TABLES)


class Case(NamedTuple):
    """A field, what was left in it, what is marked, and the setting of the mower."""

    seen: FieldLooking
    left: Left
    lying: gpd.GeoDataFrame
    cut_m: float = 0.08
    tables: Tables = TABLES

    def layers(self) -> Layers:
        """The layers with what one cut meets."""
        bare = layers_of(FIELD, GROUND, lying=self.lying, seen=self.seen, tables=self.tables)
        things = logged_things(self.lying, tables=self.tables)
        struck = Struck(self.left, things, self.cut_m, 0.01)
        return with_strikes(bare, struck, self.lying, self.seen, crs=UTM, tables=self.tables)

    def sums(self) -> list[float]:
        """Strikes, wraps and things in the forage, summed over the cells of the field."""
        cells = self.layers().struck
        return [float(np.nansum(one)) * 25e-4 for one in cells[:3]]

    def whole(self) -> list[float]:
        """The same of the field as a whole."""
        things = joined(
            left_things(self.left.estimates, tables=self.tables),
            logged_things(self.lying, tables=self.tables),
        )
        cut, lift = np.array([self.cut_m]), np.array([0.01])
        return [float(one[0, 1]) for one in expected(things, cut, lift, tables=self.tables)]


def left_in(
    seen: FieldLooking,
    *sources: str,
    road: shapely.Geometry | None = None,
    found: int = 0,
    missing: tuple[str, ...] = (),
) -> Left:
    """What is left of some sources, each on its own ground, reckoned on the walker's cells."""
    estimates = []
    cells = seen.cells
    wet = cells.flood > 0
    at_road = shapely.contains_xy(road or shapely.Polygon(), cells.x, cells.y)
    where = {"flood_debris": wet, "elsewhere": ~wet, "road_litter": at_road}
    for source in sources:
        here = where.get(source, np.ones(len(cells.x), bool))
        chance = seen.chance(4.0)[here]
        area = np.full(here.sum(), cells.area_m2)
        estimates.append(estimate(source, "z", area, chance, found=found, hits=0, tables=TABLES))
    return Left([], tuple(estimates), missing, (4.0,) * len(sources), road)


def lying(*held: tuple[str, float, float, float]) -> gpd.GeoDataFrame:
    """Marks as kind, height and place, each with a reach of 3 m."""
    table = marks(*((kind, box(x, y, x, y).centroid.buffer(3.0)) for kind, _, x, y in held))
    return table.assign(height_m=np.array([height for _, height, _, _ in held], float))


NOBODY = seen_in(FIELD)
WALKED = seen_in(FIELD, (AFTER, there_and_back(20, 20, 60, 100, apart_m=4.0)), sward_m=0.1)
WET = seen_in(
    FIELD,
    (AFTER, there_and_back(20, 20, 60, 100, apart_m=4.0)),
    floods=((FLOOD, box(0, 0, 120, 60)),),
    sward_m=0.1,
)
NONE = lying()


def inner(field: shapely.Geometry = FIELD) -> np.ndarray:
    """Cells whose middle is in the field, on the grid of the layers."""
    grid = layers_of(FIELD, GROUND).lie.ground.percent
    row, column = np.indices(grid.shape)
    x, y = grid.transform @ (column + 0.5, row + 0.5)
    return shapely.contains_xy(field, x, y)


def test_stones_on_ground_that_nobody_looked_at_by_hand() -> None:
    """By hand: the density times the share struck, the same on every cell; no wraps."""
    case = Case(NOBODY, left_in(NOBODY, "stones_1"), NONE)
    cells = case.layers().struck
    inside = inner()
    rate = case.whole()[0] / 0.64  # the field is 0.64 ha
    assert cells.strikes[inside] == pytest.approx(np.full(256, rate))
    assert (cells.wraps[inside] == 0).all()
    assert (cells.consequence[inside] == 1).all()
    outside = ~case.layers().inside
    assert np.isnan(cells.strikes[outside]).all()
    assert np.isnan(cells.consequence[outside]).all()


@pytest.mark.parametrize("seen", [NOBODY, WALKED, WET], ids=["nobody", "walked", "wet"])
@pytest.mark.parametrize("found", [0, 7])
def test_cells_times_area_are_the_field_by_hand(seen: FieldLooking, found: int) -> None:
    """By hand: water and walks end on cell borders; a tenth is left for cells that they touch."""
    left = left_in(seen, "stones_1", "flood_debris", "elsewhere", found=found)
    case = Case(seen, left, lying(("stone", 0.1, 42, 42), ("twine", 0.1, 71, 77)))
    held = case.layers().struck
    inside = inner()
    sums = [float(one[inside].sum()) * 25e-4 for one in held[:3]]
    assert sums == pytest.approx(case.whole(), rel=0.1)
    assert min(sums) > 0


def test_cells_are_the_field_exactly_where_nothing_is_cut_by_hand() -> None:
    """By hand: nobody looked, no water: to rounding."""
    left = left_in(NOBODY, "stones_2", "elsewhere")
    case = Case(NOBODY, left, lying(("post", math.nan, 42, 42), ("twine", 0.1, 71, 77)))
    held = case.layers().struck
    sums = [float(one[inner()].sum()) * 25e-4 for one in held[:3]]
    assert sums == pytest.approx(case.whole(), rel=1e-9)


def test_each_source_lies_on_its_own_ground_by_hand() -> None:
    """By hand: debris where water stood, loose things where not, litter on the road's strip."""
    strip = box(20, 20, 30, 100)
    seen = seen_in(FIELD, floods=((FLOOD, box(0, 0, 120, 57)),))
    for source, there in (
        ("flood_debris", box(20, 20, 100, 60)),
        ("elsewhere", box(20, 60, 100, 100)),
        ("road_litter", strip),
    ):
        left = left_in(seen, source, road=strip)
        rate = Case(seen, left, NONE).layers().struck.strikes
        inside = inner()
        assert (rate[inner(there)] > 0).all(), source
        beyond = inside & ~inner(shapely.buffer(there, 5.1, cap_style="square"))
        assert (rate[beyond] == 0).all(), source


def test_a_mark_lies_on_the_cell_of_its_middle_by_hand() -> None:
    """By hand: a post of 90 cm is struck once on its 25 m2: 400 a hectare, and nowhere else."""
    case = Case(NOBODY, left_in(NOBODY), lying(("post", 0.9, 42.0, 57.0)))
    rate = case.layers().struck.strikes
    row, column = np.unravel_index(np.nanargmax(rate), rate.shape)
    x, y = case.layers().lie.ground.percent.transform @ (column + 0.5, row + 0.5)
    assert (x - WEST, y - SOUTH) == (42.5, 57.5)
    assert np.nanmax(rate) == pytest.approx(400.0)
    assert np.count_nonzero(np.nan_to_num(rate)) == 1


def test_a_mark_beside_the_field_counts_on_the_nearest_cell_by_hand() -> None:
    """By hand: its reach comes in, its middle lies 2 m out; far beyond the grid it is kept too."""
    for x in (18.0, -500.0):
        case = Case(NOBODY, left_in(NOBODY), lying(("post", 0.9, x, 57.0)))
        assert case.sums()[0] == pytest.approx(1.0)


def test_two_marks_on_one_cell_add_up_by_hand() -> None:
    """By hand: twice 400 a hectare."""
    held = lying(("post", 0.9, 42.0, 57.0), ("stone", 0.9, 43.0, 58.0))
    assert np.nanmax(Case(NOBODY, left_in(NOBODY), held).layers().struck.strikes) == 800.0


def test_what_is_mown_round_is_grave_but_not_met_by_hand() -> None:
    """By hand: a drum is a 1 where it stands, no strike; a marked tyre is a 3."""
    held = lying(("drum", 0.9, 42.0, 57.0), ("tyre", 0.2, 77.0, 57.0))
    cells = Case(NOBODY, left_in(NOBODY), held, cut_m=0.5).layers().struck
    grave = cells.consequence[np.isfinite(cells.consequence)]
    assert sorted(grave) == [1.0, 3.0]
    assert np.nansum(cells.strikes) == pytest.approx(0.0, abs=1e-9)


def test_what_is_missing_is_unknown_everywhere_by_hand() -> None:
    """By hand: no rate at all, and no grade better than the gravest."""
    held = lying(("tyre", 0.2, 77.0, 57.0), ("stone", 0.2, 42.0, 57.0))
    layers = Case(NOBODY, left_in(NOBODY, missing=("loose things",)), held).layers()
    for one in layers.struck[:4]:
        assert np.isnan(one).all()
    known = layers.struck.consequence[np.isfinite(layers.struck.consequence)]
    assert known.tolist() == [1.0]
    ranks = layers.level.values[layers.inside]
    assert (ranks >= rank("unknown")).all()


def test_unknown_settings_by_hand() -> None:
    """By hand: no cut height, no rate; no knife, no wraps and no forage."""
    case = Case(NOBODY, left_in(NOBODY, "elsewhere"), NONE)
    assert np.isnan(case._replace(cut_m=math.nan).layers().struck.strikes).all()
    bare = layers_of(FIELD, GROUND)
    struck = Struck(case.left, no_things(), 0.08, math.nan)
    cells = with_strikes(bare, struck, NONE, NOBODY, crs=UTM, tables=TABLES).struck
    assert np.isfinite(cells.strikes[inner()]).all()
    assert np.isnan(cells.wraps).all()
    assert np.isnan(cells.forage).all()


def test_bands_are_named_and_unknown_until_asked_for_by_hand() -> None:
    """By hand: four bands, things a hectare, NaN where nobody reckoned."""
    names = ("strike_rate", "wrap_rate", "forage_risk", "consequence")
    bare = layers_of(FIELD, GROUND)
    bands = {band.name: band for band in bare.bands()}
    assert [bands[name].unit for name in names] == ["/ha", "/ha", "/ha", ""]
    assert all(np.isnan(bands[name].values).all() for name in names)
    case = Case(NOBODY, left_in(NOBODY, "stones_1"), NONE).layers()
    held = {band.name: band.values for band in case.bands()}
    assert np.nanmax(held["strike_rate"]) > 0
    assert np.isnan(held["strike_rate"][~case.inside]).all()


def governing(layers: Layers, *, acts: bool = False) -> set[str]:
    """Keys of the causes that govern the field's cells."""
    codes = (layers.acts if acts else layers.cause).values[layers.inside]
    return {ALL[int(code)].key for code in np.unique(codes)}


SEEN = seen_in(FIELD, (AFTER, there_and_back(10, 10, 110, 110, apart_m=0.5)), sward_m=0.05)


def test_many_strikes_ask_for_a_raised_cut_by_hand() -> None:
    """By hand: class 2 leaves more than one strike a hectare however well it was looked at."""
    few, many = (
        Case(SEEN, left_in(NOBODY, source)._replace(sweeps_m=(0.01,)), NONE).layers()
        for source in ("elsewhere", "stones_2")
    )
    assert governing(many, acts=True) == {"strikes"}
    assert ALL[causes.RAISE_CUT.code].action == "raise the cut"
    assert governing(few, acts=True) == {"none"}
    assert "strikes" in governing(many)


def test_the_raised_cut_begins_at_its_figure_by_hand() -> None:
    """By hand: at as many strikes as the table says, not under it; marks do not count."""
    case = Case(SEEN, left_in(NOBODY, "stones_1")._replace(sweeps_m=(0.01,)), NONE)
    rate = float(np.nanmax(case.layers().struck.unseen))
    for figure, key in ((rate * 0.999, "strikes"), (rate * 1.001, "none")):
        own = TABLES.with_overrides({"strikes.raise_per_ha": figure})
        assert key in governing(case._replace(tables=own).layers(), acts=True)
    held = lying(("silt", 0.9, 57, 57))
    marked = Case(SEEN, left_in(NOBODY), held).layers()
    assert governing(marked, acts=True) == {"none", "silt"}
    assert np.nanmax(marked.struck.strikes) == pytest.approx(400.0)
    assert np.nanmax(marked.struck.unseen) == 0.0


def test_things_not_known_govern_what_is_less_bad_by_hand() -> None:
    """By hand: a looked-at field without a stoniness class is unknown and makes no zone of it."""
    layers = Case(SEEN, left_in(SEEN, missing=("stones",)), NONE).layers()
    assert governing(layers) == {"things left not known"}
    assert governing(layers, acts=True) == {"none"}
    assert ALL[causes.LEFT_UNKNOWN.code].action == ""
    assert causes.LEFT_UNKNOWN in causes.OVERLAID


cases = st.builds(
    lambda seen, sources, held, cut_m: Case(seen, left_in(seen, *sources), lying(*held), cut_m),
    st.sampled_from([NOBODY, WALKED, WET, SEEN]),
    st.lists(st.sampled_from(["stones_0", "stones_2", "elsewhere"]), unique=True, max_size=3),
    st.lists(
        st.tuples(
            st.sampled_from(["stone", "drum", "twine", "silt", "unknown"]),
            st.just(math.nan) | st.floats(0, 1),
            st.floats(15, 105),
            st.floats(15, 105),
        ),
        max_size=4,
    ),
    st.floats(0.03, 0.3),
)


@settings(max_examples=25, deadline=None)
@given(case=cases)
def test_no_bad_cell_is_hidden_property(case: Case) -> None:
    """Property: what one cut meets never makes a cell's level, or what is done there, better."""
    bare = layers_of(FIELD, GROUND, lying=case.lying, seen=case.seen)
    with_it = case.layers()
    assert (with_it.level.values >= bare.level.values).all()
    order = causes.severities(ALL)
    assert (order[with_it.acts.values.astype(int)] >= order[bare.acts.values.astype(int)]).all()


@settings(max_examples=25, deadline=None)
@given(case=cases, taller=st.floats(0, 0.3))
def test_knowing_less_and_cutting_taller_property(case: Case, taller: float) -> None:
    """Property: a source not reckoned, or no cut height, betters no cell; taller meets no more."""
    before = case.layers()
    for less in (
        case._replace(left=case.left._replace(missing=("stones",))),
        case._replace(cut_m=math.nan),
    ):
        assert (less.layers().level.values >= before.level.values).all()
    high = case._replace(cut_m=case.cut_m + taller).layers().struck
    for one, other in zip(before.struck[:3], high[:3], strict=True):
        assert (other[before.inside] <= one[before.inside] * (1 + 1e-9) + 1e-6).all()


def test_layers_are_left_as_they_were_by_hand() -> None:
    """By hand: asking for strikes changes a copy."""
    bare = layers_of(FIELD, GROUND)
    kept = replace(bare, level=bare.level)
    before = bare.level.values.copy(), bare.cause.values.copy()
    struck = Struck(left_in(NOBODY, missing=("all",)), no_things(), 0.08, 0.01)
    with_strikes(bare, struck, NONE, NOBODY, crs=UTM, tables=TABLES)
    assert np.array_equal(kept.level.values, before[0])
    assert np.array_equal(bare.cause.values, before[1])
