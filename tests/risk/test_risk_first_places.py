"""First places to look after a flood: the water's edge, the lows, what stood across the flow."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS
from small_ground import AFTER, AGAIN, FLOOD, SOUTH, TABLES, UTM, WEST, box, seen_in

from fieldmap.grid import Grid
from fieldmap.hazards.walks import Flood
from fieldmap.risk.first_places import COLUMNS, LINE, LOW, WRACK, FirstPlaces, first_places
from fieldmap.terrain.drainage import Drainage, drainage
from fieldmap.terrain.hollows import hollows

FIELD = box(0, 0, 100, 100)
WHOLE = box(-50, -50, 150, 150)


def flowing(bearing_deg: float, *, crs: CRS = UTM) -> Drainage:
    """Ground all of which drains to channels that run one way; nothing else is asked of it."""
    x, y, cell = (WEST - 50, SOUTH + 150, 10.0) if crs == UTM else (-93.0006, 40.652, 1e-4)
    values = np.full((20, 20) if crs == UTM else (40, 40), bearing_deg, np.float32)
    grid = Grid(values, Affine(cell, 0, x, 0, -cell, y), crs, "deg", "channel_deg")
    return Drainage(grid, grid, grid, grid, grid, grid)


def lows(*held: tuple[shapely.Geometry, float, bool]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"depth_m": [depth for _, depth, _ in held], "open": [opened for _, _, opened in held]},
        geometry=gpd.GeoSeries([shape for shape, _, _ in held], crs=UTM),
        crs=UTM,
    )


def places(
    *floods: tuple[np.datetime64, shapely.Geometry],
    field: shapely.Geometry = FIELD,
    dips: gpd.GeoDataFrame | None = None,
    water: Drainage | None = None,
    across_deg: float = 45.0,
) -> FirstPlaces:
    return first_places(
        field,
        [Flood(when, ground) for when, ground in floods],
        lows() if dips is None else dips,
        water,
        crs=UTM,
        wrack_m=TABLES.number("drainage.wrack_m"),
        across_deg=across_deg,
    )


def of_kind(found: FirstPlaces, kind: str) -> gpd.GeoDataFrame:
    return found.table[found.table["kind"] == kind]


@pytest.mark.parametrize("west", [-40.0, 0.0])
def test_half_a_field_by_hand(west: float) -> None:
    """By hand: 5 m each side of the edge inside; where the outline ends with the field is none."""
    found = places((FLOOD, box(west, -0.0, 50, 100)))
    (band,) = found.table.itertuples()
    assert band.kind == WRACK
    assert band.geometry.symmetric_difference(box(45, 0, 55, 100)).area < 0.01
    assert band.area_m2 == pytest.approx(1000, abs=0.01)
    assert math.isnan(band.length_m)
    assert band.flood_day == FLOOD


def test_what_the_looking_holds_by_hand() -> None:
    """By hand: the field's own floods, cut to its outline, give the same band."""
    seen = seen_in(FIELD, floods=((FLOOD, box(-40, -40, 50, 160)),))
    found = places(*((one.date, one.ground) for one in seen.floods))
    assert found.table["area_m2"].tolist() == pytest.approx([1000], abs=0.01)


def test_all_under_water_by_hand() -> None:
    """By hand: no edge of the water lies inside; nothing is said that nobody can know."""
    assert len(places((FLOOD, WHOLE)).table) == 0


def test_round_dry_ground_by_hand() -> None:
    """By hand: along a knoll that stayed dry the band lies on both sides of its edge."""
    found = places((FLOOD, WHOLE.difference(box(40, 40, 60, 60))))
    (band,) = found.table.itertuples()
    outer = 20 * 20 + 4 * 20 * 5 + math.pi * 5**2
    assert band.area_m2 == pytest.approx(outer - 10 * 10, rel=1e-3)


def test_lows_by_hand() -> None:
    """By hand: a hollow of which some was wet, as far as it is in the field; deepest first."""
    dips = lows(
        (box(20, 20, 30, 30), 0.5, False),
        (box(45, 60, 60, 70), 1.25, True),
        (box(70, 70, 80, 80), 2.0, False),  # dry
        (box(-10, 40, 10, 50), 0.4, False),  # half of it another field's
        (box(50, 10, 55, 20), 3.0, False),  # touches the water only
    )
    found = of_kind(places((FLOOD, box(-40, -40, 50, 140)), dips=dips), LOW)
    assert found["area_m2"].tolist() == pytest.approx([150, 100, 100])
    assert ["may be deeper" in words for words in found["reason"]] == [True, False, False]


def test_lines_across_the_flow_by_hand() -> None:
    """By hand: water runs east: the east side first, where it left the field, then the west."""
    found = places((FLOOD, WHOLE), water=flowing(90.0))
    lines = of_kind(found, LINE)
    east = shapely.LineString([(WEST + 100, SOUTH), (WEST + 100, SOUTH + 100)])
    west = shapely.LineString([(WEST, SOUTH), (WEST, SOUTH + 100)])
    for line, side, words in zip(lines.itertuples(), (east, west), ("left", "came"), strict=True):
        assert line.geometry.hausdorff_distance(side) < 0.02
        assert line.length_m == pytest.approx(100, abs=0.05)
        assert math.isnan(line.area_m2)
        assert f"water {words}" in line.reason.lower()
        assert "assumption" in line.reason
    assert found.left_out == ()


@pytest.mark.parametrize(
    ("bearing", "across", "sides"),
    [
        (60.0, 45.0, "EW"),
        (60.0, 60.0, "NESW"),
        (0.0, 0.0, "NS"),
        (350.0, 9.9, ""),
        (190.0, 10.0, "SN"),
    ],
)
def test_how_far_off_is_still_across_by_hand(bearing: float, across: float, sides: str) -> None:
    """By hand: a side lies so many degrees off the flow; on the limit counts; 350 is 10 off 0."""
    lines = of_kind(places((FLOOD, WHOLE), water=flowing(bearing), across_deg=across), LINE)
    outer = shapely.get_parts(shapely.union_all(lines.geometry.to_numpy())) if len(lines) else []
    faces = {face for part in outer for face in facing(part)}
    assert faces == set(sides)


def facing(line: shapely.Geometry) -> set[str]:
    """The sides of the field that a line runs along for more than a metre."""
    west, south, east, north = FIELD.bounds
    sides = {
        "N": [(west, north), (east, north)],
        "E": [(east, south), (east, north)],
        "S": [(west, south), (east, south)],
        "W": [(west, south), (west, north)],
    }
    return {
        name
        for name, ends in sides.items()
        if line.intersection(shapely.LineString(ends).buffer(0.01)).length > 1
    }


@pytest.mark.parametrize("turn", [shapely.orient_polygons, shapely.reverse], ids=["left", "right"])
def test_a_pond_in_the_field_by_hand(turn: object) -> None:
    """By hand: a fence round a pond faces the other way; how the rings were drawn is all one."""
    field = turn(FIELD.difference(box(40, 40, 60, 60)))
    found = of_kind(places((FLOOD, WHOLE), field=field, water=flowing(90.0)), LINE)
    left = found[found["reason"].str.contains("left the field")]
    assert left["length_m"].tolist() == pytest.approx([100, 20], abs=0.1)
    assert left.geometry.iloc[1].centroid.x == pytest.approx(WEST + 40, abs=0.01)


def test_only_what_was_under_water_by_hand() -> None:
    """By hand: of the east side the part that the flood reached."""
    found = of_kind(places((FLOOD, box(-10, 60, 140, 140)), water=flowing(90.0)), LINE)
    assert found["length_m"].tolist() == pytest.approx([40, 40], abs=0.05)


def test_unknown_flow_is_said_by_hand() -> None:
    """By hand: where nobody knows which way it ran no line is told, and the caller hears of it."""
    found = places((FLOOD, WHOLE), water=flowing(math.nan))
    assert len(of_kind(found, LINE)) == 0
    (words,) = found.left_out
    assert "400 m" in words
    assert "not known" in words


def test_without_heights_is_said_by_hand() -> None:
    """By hand: without hollows and drainage the band is there and two things are left out."""
    found = first_places(
        FIELD, [Flood(FLOOD, box(0, 0, 50, 100))], None, None, crs=UTM, wrack_m=5, across_deg=45
    )
    assert found.table["kind"].tolist() == [WRACK]
    assert [words.split()[0] for words in found.left_out] == ["Lows", "Lines"]


def test_no_flood_by_hand() -> None:
    """By hand: nothing to look at first, and nothing left out; a flood elsewhere is none."""
    for floods in ((), ((FLOOD, box(200, 200, 300, 300)),), ((FLOOD, box(100, 0, 200, 100)),)):
        found = places(*floods)
        assert tuple(found.table.columns) == COLUMNS
        assert len(found.table) == 0
        assert found.table.crs == UTM
        assert found.left_out == ()


def test_the_order_to_look_in_by_hand() -> None:
    """By hand: the last flood first; of each the band, the lows, the lines; larger first."""
    dips = lows((box(10, 10, 20, 20), 0.5, False), (box(10, 30, 20, 45), 0.9, False))
    deepest_first = [150.0, 100.0]
    found = places(
        (FLOOD, box(-10, -10, 30, 110)),
        (AGAIN, shapely.union(box(-10, -10, 60, 20), box(-10, 60, 30, 110))),
        (AFTER, box(500, 500, 600, 600)),
        dips=dips,
        water=flowing(270.0),
    ).table
    assert found["flood_day"].is_monotonic_decreasing
    assert set(found["flood_day"]) == {np.datetime64(FLOOD), np.datetime64(AGAIN)}
    for _, rows in found.groupby("flood_day"):
        kinds = rows["kind"].tolist()
        assert kinds == sorted(kinds, key=[WRACK, LOW, LINE].index)
        assert rows.loc[rows["kind"] == WRACK, "area_m2"].is_monotonic_decreasing
    last = found[found["flood_day"] == FLOOD]
    assert last.loc[last["kind"] == LOW, "area_m2"].tolist() == pytest.approx(deepest_first)


def test_flow_in_degrees_by_hand() -> None:
    """By hand: the channel's bearings lie on cells in degrees; the same two sides."""
    found = of_kind(places((FLOOD, WHOLE), water=flowing(90.0, crs=CRS(4326))), LINE)
    assert found["length_m"].tolist() == pytest.approx([100, 100], abs=0.05)


def test_on_real_drainage_by_hand() -> None:
    """By hand: a valley that falls to the south, its field under water: south side, then north."""
    across = np.abs(np.arange(40) - 20) * 0.5
    z = np.minimum(across, 16 - across) - 0.1 * np.arange(40)[:, None] + 50  # ridges inside
    place = Affine(5, 0, WEST - 50, 0, -5, SOUTH + 150)
    grid = Grid(z.astype(np.float32), place, UTM, "m", "elevation")
    water = drainage(grid, crs=UTM, stream_ha=0.1, least_tan=0.001)
    dips = hollows(grid, crs=UTM, least_depth_m=0.3, least_area_m2=25).table
    found = places((FLOOD, box(20, -50, 80, 150)), dips=dips, water=water)
    lines = of_kind(found, LINE)
    assert [facing(line) for line in lines.geometry] == [{"S"}, {"N"}]
    assert lines["length_m"].tolist() == pytest.approx([60, 60], abs=0.5)


corners = st.lists(st.tuples(st.floats(-20, 120), st.floats(-20, 120)), min_size=3, max_size=7)


@given(wet=corners, outline=corners, bearing=st.floats(0, 359))
@settings(max_examples=60)
def test_all_lies_in_the_field_property(
    wet: list[tuple[float, float]], outline: list[tuple[float, float]], bearing: float
) -> None:
    """Property: whatever the shapes, every place is sound, in the field and near the water."""
    field, ground = (
        shapely.convex_hull(shapely.MultiPoint([(WEST + x, SOUTH + y) for x, y in held]))
        for held in (outline, wet)
    )
    if min(field.area, ground.area) < 1:
        return
    dips = lows((box(30, 30, 50, 50), 0.5, False))
    found = places((FLOOD, ground), field=field, dips=dips, water=flowing(bearing))
    shapes = found.table.geometry
    assert shapes.is_valid.all()
    assert not shapes.is_empty.any()
    assert shapes.within(field.buffer(1e-6)).all()
    edge = ground.boundary.buffer(5.01, quad_segs=64)
    assert of_kind(found, WRACK).geometry.within(edge).all()
    assert of_kind(found, LINE).geometry.within(ground.buffer(0.011)).all()
