"""Walks and water on the cells of a field, and what is told of them."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Transformer
from small_ground import (
    AFTER,
    AGAIN,
    BEFORE,
    FLOOD,
    LAST,
    SOUTH,
    TABLES,
    UTM,
    WEST,
    box,
    heights,
    layers_of,
    marks,
    mower,
    plane,
    seen_in,
    there_and_back,
)

from fieldmap.finding import Finding, rank
from fieldmap.grid import Grid
from fieldmap.hazards.chance import hardest_kind, looked_for_kinds, sweep_width_m
from fieldmap.hazards.looked import FieldLooking
from fieldmap.risk import causes
from fieldmap.risk.layers import Layers, field_layers
from fieldmap.risk.marks import looked_findings
from fieldmap.risk.seen import chance_cells
from fieldmap.risk.told import Told

FIELD = box(20, 20, 100, 100)
FLAT = heights(plane(0.0, 0.0))
ALL_OVER = there_and_back(10, 10, 110, 110)


def told_of(layers: Layers, seen: FieldLooking, what: str) -> Told:
    (held,) = (
        one for one in looked_findings("F", layers, seen, tables=TABLES) if one.finding.what == what
    )
    return held


def found(layers: Layers, seen: FieldLooking) -> dict[str, Finding]:
    told = looked_findings("F", layers, seen, tables=TABLES)
    return {one.finding.what: one.finding for one in told}


def test_ground_nobody_walked_is_unknown_and_keeps_its_zones_by_hand() -> None:
    """By hand: half the field walked; the other half is unknown in the bands, steep or gentle."""
    seen = seen_in(FIELD, (AFTER, there_and_back(10, 10, 110, 60)))
    gentle = layers_of(FIELD, heights(plane(0.02, 0.01)), seen=seen)
    walked = gentle.enough
    assert walked[gentle.inside].mean() == pytest.approx(0.5, abs=0.05)
    assert (gentle.level.values[gentle.inside & walked] == rank("ok")).all()
    assert (gentle.level.values[gentle.inside & ~walked] == rank("unknown")).all()
    assert (gentle.cause.values[gentle.inside & ~walked] == causes.UNLOOKED.code).all()
    assert (gentle.acts.values == causes.NONE.code).all()
    steep = layers_of(FIELD, heights(plane(0.5, 0.0)), seen=seen)
    assert (steep.level.values[steep.inside] == rank("stop")).all()


def test_the_layer_is_the_mean_chance_of_the_cells_in_it_by_hand() -> None:
    """By hand: a lone line through the middle; each 5 m cell holds 25 middles."""
    seen = seen_in(FIELD, (AFTER, [(0, 52.5), (120, 52.5)]))
    layers = layers_of(FIELD, FLAT, seen=seen)
    sweep_m = sweep_width_m(hardest_kind(None, TABLES), None, TABLES)
    cells, chance = seen.cells, seen.chance(sweep_m)
    in_it = (np.abs(cells.x - WEST - 62.5) < 2.5) & (np.abs(cells.y - SOUTH - 52.5) < 2.5)
    column, row = ~layers.looked.transform @ (WEST + 62.5, SOUTH + 52.5)
    value = layers.looked.values[math.floor(row), math.floor(column)]
    assert in_it.sum() == 25
    assert value == pytest.approx(chance[in_it].mean(), rel=1e-6)
    # the whole sweep width lies in the 5 m but for little: 3 of 5
    assert value == pytest.approx(sweep_m / 5.0, abs=0.02)
    assert (layers.looked.name, layers.looked.unit) == ("looked_at", "")


@pytest.mark.parametrize("cell_m", [0.4, 5.0, 8.0])
def test_a_turned_grid_in_degrees_says_the_same_referee(cell_m: float) -> None:
    """Referee: the mean chance over the field by its own cells, on cells small and large."""
    degrees = CRS.from_epsg(4326)
    field = box(20, 20, 50, 45)
    seen = seen_in(field, (AFTER, there_and_back(10, 10, 60, 60, apart_m=4.0)))
    lon, lat = Transformer.from_crs(UTM, degrees, always_xy=True).transform(WEST, SOUTH)
    size, side = math.ceil(120 / cell_m), cell_m / 111_000
    transform = (
        Affine.translation(lon, lat + 1e-4)
        @ Affine.rotation(20)
        @ Affine.scale(side, -side)
        @ Affine.translation(-size / 3, -size / 2)
    )
    grid = Grid(np.zeros((size, size), np.float32), transform, degrees, "", "any")
    water = np.zeros(grid.shape, np.int16)
    chance = chance_cells(grid, np.ones(grid.shape, bool), water, seen, crs=UTM, sweep_m=3.0)
    rows, columns = np.indices(grid.shape) + 0.5
    x, y = Transformer.from_crs(degrees, UTM, always_xy=True).transform(
        *(transform @ (columns, rows))
    )
    inside = shapely.contains_xy(shapely.buffer(field, -cell_m), x, y)
    assert inside.any()
    assert chance[inside].mean() == pytest.approx(seen.mean_chance(3.0), abs=0.02)
    assert ((chance >= 0) & (chance <= 1)).all()
    assert chance.max() > 0.5


def test_flooded_and_unwalked_is_unknown_by_hand() -> None:
    """By hand: the wet half is unknown although all of it was walked before the water."""
    seen = seen_in(FIELD, (BEFORE, ALL_OVER), floods=((FLOOD, box(20, 20, 60, 100)),))
    layers = layers_of(FIELD, FLAT, seen=seen)
    under = layers.inside & (layers.flooded.values > 0)
    assert under[layers.inside].mean() == pytest.approx(0.5, abs=0.1)
    assert (layers.level.values[under] == rank("unknown")).all()
    assert layers.looked.values[under].max() == 0
    assert layers.enough[layers.inside & ~under].all()
    held = found(layers, seen)
    assert held["flooded ground looked at since"].value == 0.0
    assert {one.level for one in held.values()} == {"unknown"}


@pytest.mark.parametrize(
    "wet",
    [FIELD, box(20, 20, 60, 100), box(58.6, 20, 59.1, 100), box(0, 0, 20.2, 120),
     box(52.1, 52.1, 52.2, 52.2)],
    ids=["all", "half", "narrow", "rim", "puddle"],
)  # fmt: skip
@pytest.mark.parametrize("cell_m", [1.0, 5.0, 30.0])
def test_a_field_never_walked_after_a_flood_is_unknown_by_hand(
    wet: shapely.Geometry, cell_m: float
) -> None:
    """By hand: however little stood under water and however well the rest is known."""
    cells = math.ceil(130 / cell_m)
    ground = heights(np.zeros((cells, cells)), cell_m=cell_m)
    again = there_and_back(10, 10, 110, 110, apart_m=1.0)
    seen = seen_in(
        FIELD, (BEFORE, again), (AFTER, again), floods=((FLOOD, FIELD), (AGAIN, wet)), sward_m=0.05
    )
    layers = layers_of(FIELD, ground, seen=seen)
    since = told_of(layers, seen, "flooded ground looked at since")
    assert (since.finding.level, since.finding.value) == ("unknown", 0.0)
    assert since.change
    walked = seen_in(FIELD, (LAST, again), floods=((FLOOD, FIELD), (AGAIN, wet)), sward_m=0.05)
    held = found(layers_of(FIELD, ground, seen=walked), walked)
    assert {one.level for one in held.values()} == {"ok"}


def test_a_field_walked_all_over_is_looked_at_regression() -> None:
    """Regression: cells on the rim have their middle outside, and never counted as looked at.

    On a small field they are many: walked to a stride beyond its edge it is looked at whole.
    """
    small = box(21, 21, 43, 43)
    seen = seen_in(small, (AFTER, there_and_back(15, 15, 49, 49)), floods=((FLOOD, small),))
    layers = layers_of(small, FLAT, seen=seen)
    assert layers.enough[layers.inside].all()
    assert (layers.level.values[layers.inside] == rank("ok")).all()


def test_what_is_told_of_a_look_by_hand() -> None:
    """By hand: tall by lack of a figure is not enough at 5 m; at 0.25 m it is; both say why."""
    path = there_and_back(10, 10, 110, 110, apart_m=6.0)
    tall, given_ = seen_in(FIELD, (AFTER, path)), seen_in(FIELD, (AFTER, path), sward_m=0.25)
    unsaid = told_of(layers_of(FIELD, FLAT, seen=tall), tall, "ground looked at")
    assert unsaid.finding.level == "unknown"
    assert "reckoned as tall" in unsaid.finding.why
    assert "sward_m" in unsaid.change
    layers = layers_of(FIELD, FLAT, seen=given_)
    said = told_of(layers, given_, "ground looked at")
    assert (said.finding.level, said.change) == ("ok", "")
    assert "0.25 m" in said.finding.why
    kind = hardest_kind(0.25, TABLES)
    mean = given_.mean_chance(sweep_width_m(kind, 0.25, TABLES))
    assert f"{mean:.2f}" in said.finding.why
    assert said.finding.limit == 100 * TABLES.number("looking.enough_share")


def test_a_field_nobody_walked_is_not_asked_for_its_sward_by_hand() -> None:
    """By hand: nothing walked is nought per cent; the sward would change nothing."""
    seen = seen_in(FIELD)
    (told,) = looked_findings("F", layers_of(FIELD, FLAT, seen=seen), seen, tables=TABLES)
    assert (told.finding.level, told.finding.value) == ("unknown", 0.0)
    assert "No walk came near" in told.finding.why
    assert "sward_m" not in told.change
    assert "cells" not in vars(seen)


def test_what_the_walks_may_have_missed_by_hand() -> None:
    """By hand: the kinds nobody is expected to see, hardest first, none that is looked for."""
    seen = seen_in(FIELD, (AFTER, there_and_back(10, 10, 110, 110, apart_m=6.0)), sward_m=0.25)
    missed = found(layers_of(FIELD, FLAT, seen=seen), seen)["what the walks may have missed"]
    hidden = looked_for_kinds(TABLES, looked_for=False)
    least = min(seen.mean_chance(sweep_width_m(kind, 0.25, TABLES)) for kind in hidden)
    assert missed.value == pytest.approx(100 * least)
    assert missed.level == "ok"
    assert f"{TABLES['hazard_kinds.loose_wire'].words['label']} {least:.2f}" in missed.why
    for kind in looked_for_kinds(TABLES):
        assert TABLES[f"hazard_kinds.{kind}"].words["label"] not in missed.why
    assert missed.sources


def test_the_farms_own_sweep_width_is_used_and_cited_by_hand() -> None:
    """By hand: who writes down that stones show from afar is answered with that."""
    seen = seen_in(FIELD, (AFTER, there_and_back(10, 10, 110, 110, apart_m=6.0)))
    keys = [f"hazard_kinds.{kind}.sweep_tall_m" for kind in looked_for_kinds(TABLES)]
    own = TABLES.with_overrides(dict.fromkeys(keys, 9.0))
    layers = layers_of(FIELD, FLAT, seen=seen, tables=own)
    (told, *_) = looked_findings("F", layers, seen, tables=own)
    assert told.finding.level == "ok"
    assert "farm" in told.finding.sources
    assert not layers_of(FIELD, FLAT, seen=seen).enough.all()


paths = st.lists(st.tuples(st.floats(10, 110), st.floats(10, 110)), min_size=2, max_size=6)
dates = st.sampled_from([BEFORE, FLOOD, AFTER, AGAIN, LAST])
wets = st.lists(
    st.tuples(
        st.sampled_from([FLOOD, AGAIN]),
        st.sampled_from([box(20, 20, 100, 60), box(57, 0, 58, 120), FIELD]),
    ),
    max_size=2,
    unique_by=lambda pair: pair[0],
).map(lambda held: tuple(sorted(held, key=lambda pair: pair[0])))


@given(first=paths, more=paths, when=dates, then=dates, floods=wets, dense=st.booleans())
@settings(max_examples=50, deadline=None)
def test_more_walking_never_lowers_property(
    first: list[tuple[float, float]],
    more: list[tuple[float, float]],
    when: np.datetime64,
    then: np.datetime64,
    floods: tuple[tuple[np.datetime64, shapely.Geometry], ...],
    dense: bool,
) -> None:
    """Property: another walk lowers no chance, no cell, no share and not the field's answer."""
    start = (when, ALL_OVER if dense else first)
    once = seen_in(FIELD, start, floods=floods)
    twice = seen_in(FIELD, start, (then, more), floods=floods)
    before, after = (layers_of(FIELD, FLAT, seen=seen) for seen in (once, twice))
    assert (after.looked.values >= before.looked.values - 1e-6).all()
    assert (after.level.values <= before.level.values).all()
    was, now = found(before, once), found(after, twice)
    assert set(was) == set(now)
    for what in was:
        assert now[what].value >= was[what].value - 1e-9  # type: ignore[operator]
        assert rank(now[what].level) <= rank(was[what].level)


def test_marks_and_water_together_by_hand() -> None:
    """By hand: a mark of silt asks for care, the water on it for a look first."""
    lying = marks(("silt", box(30, 30, 90, 90)))
    for walked, cause in ((BEFORE, "flooded, not looked at"), (AFTER, "silt")):
        seen = seen_in(FIELD, (walked, ALL_OVER), floods=((FLOOD, FIELD),))
        layers = field_layers(
            FIELD,
            FLAT,
            lying,
            seen,
            crs=UTM,
            machine=mower(),
            tables=TABLES,
        )
        column, row = ~layers.cause.transform @ (WEST + 60, SOUTH + 60)
        code = int(layers.cause.values[math.floor(row), math.floor(column)])
        assert causes.all_causes(TABLES)[code].key == cause
