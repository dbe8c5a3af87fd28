"""The figures held against the published ones, in the units they were published in."""

from __future__ import annotations

import math
import re

import pytest

from fieldmap.tables import load_tables
from fieldmap.units import (
    KG_PER_POUND,
    KG_PER_SHORT_TON,
    KG_PER_TONNE,
    M2_PER_ACRE,
    M2_PER_HECTARE,
    METRE_PER_FOOT,
    METRE_PER_INCH,
    degrees_from_percent,
)

TABLES = load_tables()


def _inches(metres):
    return None if metres is None else round(metres / METRE_PER_INCH, 3)


@pytest.mark.parametrize(
    ("crop", "low_in", "high_in"),
    [
        # University of Wisconsin: practical goal (hayandforage.com, 0219 lower ash content forage)
        ("alfalfa", 2.5, 3.0),
        # University of Nebraska-Lincoln, CropWatch 2016; University of Missouri (farmprogress.com)
        ("orchardgrass", 3.0, 4.0),
        ("tall_fescue", 3.0, 4.0),
        ("timothy", 3.0, 4.0),
        ("bromegrass", 3.0, 4.0),
        ("grass_alfalfa", 3.0, 4.0),
        # University of Missouri: 8 in; no upper end published
        ("native_warm_season", 8.0, None),
        # University of Arkansas (mafg.net): at least 6 in
        ("pearl_millet", 6.0, None),
        ("sorghum_sudan", 6.0, 8.0),
        # Kansas State University (farms.com, 182929)
        ("drought_sorghum", 6.0, 12.0),
        # from memory only
        ("bermudagrass", 2.0, 3.0),
        ("clover", 2.0, 3.0),
        ("cereal_rye", 3.0, 4.0),
    ],
)
def test_stubble_as_published_in_inches(crop, low_in, high_in):
    """Referee: extension pages, named beside each figure."""
    row = TABLES[f"cut_heights.{crop}"]
    assert (_inches(row.low), _inches(row.high)) == (low_in, high_in)


def test_four_inches_is_the_optimum_for_cool_season_grass():
    """Referee: University of Nebraska-Lincoln, CropWatch 2016: 4 in stated as optimum."""
    for crop in ("timothy", "bromegrass", "mixed_grass", "grass_alfalfa"):
        assert _inches(TABLES.number(f"cut_heights.{crop}")) == 4.0


def test_the_height_to_start_with_and_what_shoes_add():
    """By hand: common practice with no source, 3 in and 1 to 3 in more."""
    shoe = TABLES["knives.shoe_adds"]
    assert _inches(TABLES.number("knives.start_stubble")) == 3.0
    assert (_inches(shoe.low), _inches(shoe.high)) == (1.0, 3.0)


def test_ash_floor_in_inches():
    """Referee: 2 in, University of Minnesota (node 19286); 3 in, Nebraska (agproud.com, 33756)."""
    row = TABLES["knives.ash_floor"]
    assert (_inches(row.low), _inches(row.high)) == (2.0, 3.0)


def test_cutterbar_tilt_and_float():
    """Referee: Penn State (lancasteragcouncil.com): 4/7/10 deg; 35-50 lb rocky, 50-70 normal."""
    tilts = [TABLES.number(f"knives.cutterbar_tilt_{g}_deg") for g in ("rough", "normal", "lodged")]
    assert tilts == [4.0, 7.0, 10.0]
    newton_per_pound = KG_PER_POUND * 9.80665
    for key, low_lb, high_lb in (("float_rough_n", 35, 50), ("float_normal_n", 50, 70)):
        row = TABLES[f"knives.{key}"]
        assert row.low == pytest.approx(low_lb * newton_per_pound, abs=0.5)
        assert row.high == pytest.approx(high_lb * newton_per_pound, abs=0.5)


@pytest.mark.parametrize(
    ("key", "short_tons_per_acre_inch"),
    [("yield_loss_season", 0.5), ("yield_loss_first_cut", 0.13)],
)
def test_yield_given_up(key, short_tons_per_acre_inch):
    """Referee: University of Wisconsin (hayandforage.com, 4394): 0.5 and 0.13 ton/ac an inch."""
    tonnes = short_tons_per_acre_inch * KG_PER_SHORT_TON / KG_PER_TONNE
    per_ha_cm = tonnes / (M2_PER_ACRE / M2_PER_HECTARE) / (100 * METRE_PER_INCH)
    assert TABLES.number(f"knives.{key}") == pytest.approx(per_ha_cm, abs=5e-4)


def test_conditioning_figures():
    """Referee: Penn State: 1/16 in, nine stems in ten every 3-4 in; Wisconsin: 2-4 % more lost."""
    gap = TABLES["conditioning.roll_gap_m"]
    assert gap.number() == pytest.approx(METRE_PER_INCH / 16, abs=5e-5)
    assert gap.high == pytest.approx(METRE_PER_INCH * 3 / 32, abs=5e-5)
    assert TABLES.number("conditioning.crack_share_pct") == 90.0
    crack = TABLES["conditioning.crack_every_m"]
    assert (round(_inches(crack.low)), round(_inches(crack.high))) == (3, 4)
    loss = TABLES["conditioning.flail_loss_pct"]
    assert (loss.low, loss.high) == (2.0, 4.0)


def test_legumes_take_rolls_and_grasses_tines():
    """Referee: University of Wisconsin (hayandforage.com, 0219 differences hay conditioners)."""
    assert TABLES["conditioning.legume"].words["choice"] == "rubber_rolls"
    assert "tine" in TABLES["conditioning.legume"].words["against"]
    assert TABLES["conditioning.grass"].words["choice"] == "tine"


def test_openings():
    """Referee: FAO farm structures (s1250e): 3.0 m wide takes 3.6 m, 4.0 m tall takes 4.5 m."""
    assert 3.0 + TABLES.number("clearances.gate_width_m") == pytest.approx(3.6)
    assert 4.0 + TABLES.number("clearances.gate_height_m") == pytest.approx(4.5)


def test_distance_from_a_line():
    """Referee: 29 CFR 1926.1408 Table A, up to 50 kV: 10 ft, never rounded below it."""
    kept = TABLES.number("clearances.line_clear_m")
    assert kept >= 10 * METRE_PER_FOOT
    assert kept == pytest.approx(10 * METRE_PER_FOOT, abs=0.005)


def test_heights_of_lines_over_land():
    """Referee: southeasternelectric.com: phase wire 18.5 ft, communication wire 15.5 ft."""
    row = TABLES["hazard_kinds.overhead_line"]
    assert row.number() == pytest.approx(18.5 * METRE_PER_FOOT, abs=0.005)
    assert row.low == pytest.approx(15.5 * METRE_PER_FOOT, abs=0.005)


def test_weight_caps():
    """Referee: 23 CFR 658.17: 80 000 lb gross and 20 000 lb on a single axle."""
    gross, axle = (
        TABLES.number(f"clearances.{k}") for k in ("statutory_mass_kg", "single_axle_kg")
    )
    assert gross == pytest.approx(80_000 * KG_PER_POUND, abs=0.5)
    assert axle == pytest.approx(20_000 * KG_PER_POUND, abs=0.5)


def test_statutory_height():
    """By hand, from memory: 13 ft 6 in the lowest US limit; 4.0 m the European, the value."""
    row = TABLES["clearances.statutory_height_m"]
    assert row.high == pytest.approx(13.5 * METRE_PER_FOOT)
    assert row.number() == row.low == 4.0


@pytest.mark.parametrize(
    ("road", "feet"),
    [("unclassified", 18), ("tertiary", 20), ("secondary", 22), ("primary", 24), ("trunk", 24)],
)
def test_travelled_way_of_rural_roads(road, feet):
    """Referee, from memory: AASHTO local roads table, feet of travelled way."""
    assert TABLES.number(f"road_widths.{road}") == pytest.approx(feet * METRE_PER_FOOT, abs=5e-4)


def test_lane_widths():
    """Referee: 9 to 12 ft, printed as 2.7 to 3.6 m (study cards after the Green Book)."""
    lane = TABLES["road_widths.lane"]
    assert lane.low == pytest.approx(9 * METRE_PER_FOOT, abs=0.06)
    assert lane.high == pytest.approx(12 * METRE_PER_FOOT, abs=0.06)


def test_what_one_must_reckon_with_falls_with_the_class_of_road():
    """By hand: a lesser road is never taken to be wider at its narrowest."""
    order = ("motorway", "trunk", "primary", "secondary", "tertiary", "residential",
             "unclassified", "service", "track")  # fmt: skip
    lows = [TABLES[f"road_widths.{road}"].low for road in order]
    assert lows == sorted(lows, reverse=True)


def test_a_road_of_unknown_class_has_the_range_of_all_classes():
    """By hand: not knowing the class may never narrow what is possible."""
    lines = [r for r in TABLES.rows("road_widths") if r.unit == "m" and not r.key.endswith(".lane")]
    unknown = TABLES["road_widths.road"]
    assert unknown.low == min(row.low for row in lines)
    assert unknown.high == max(row.high for row in lines)


def test_every_drivable_class_and_its_slip_road_has_a_row():
    """By hand: the classes that the map's legend gives to motor roads."""
    main = ("motorway", "trunk", "primary", "secondary", "tertiary")
    small = ("unclassified", "residential", "living_street", "service", "track", "road")
    for road in (*main, *(f"{m}_link" for m in main), *small):
        row = TABLES[f"road_widths.{road}"]
        assert row.low is not None
        assert row.high is not None


def test_side_slope_defaults_in_degrees():
    """Referee: 15 % is 8.531 deg and 25 % is 14.036 deg (arctangent table); care before stop."""
    care, stop = (TABLES.number(f"side_slopes.{k}") for k in ("care_pct", "stop_pct"))
    assert round(degrees_from_percent(care), 3) == 8.531
    assert round(degrees_from_percent(stop), 3) == 14.036
    assert TABLES.number("side_slopes.up_down_care_pct") < TABLES.number(
        "side_slopes.up_down_stop_pct"
    )
    assert 0 < TABLES.number("side_slopes.care_share") < 1


def test_bump_roll():
    """By hand: asin(0.15 / 1.6) is 5.4 deg."""
    rise_m = TABLES.number("side_slopes.bump_rise_m")
    assert math.degrees(math.asin(rise_m / 1.6)) == pytest.approx(5.4, abs=0.05)


def test_slope_breaks():
    """Referee, from memory: USDA-NRCS Soil Survey Manual, chapter 2, upper limits of classes."""
    breaks = [TABLES.number(f"terrain.break_{n}") for n in range(1, 6)]
    assert breaks == [3.0, 8.0, 16.0, 30.0, 60.0]


def test_height_error_to_slope_error():
    """By hand: the 3x3 weights 1, 2, 1 twice over, squared and summed, over 8: sqrt(12) / 8."""
    weights = (1, 2, 1, -1, -2, -1)
    factor = math.sqrt(sum(weight**2 for weight in weights)) / 8
    assert TABLES.number("terrain.dem_slope_error_factor") == pytest.approx(factor, abs=1e-6)
    cells = [TABLES.number(f"terrain.{k}_cell_m") for k in ("analysis", "coarse", "blind")]
    assert cells == sorted(cells)


def test_phone_position():
    """Referee: 95 % over 50 % radius of a circular normal is 2.0789 (2.08 at gnss.design)."""
    ratio = math.sqrt(math.log(0.05) / math.log(0.5))
    row = TABLES["looking.position_radius_m"]
    assert row.low == 4.9
    assert row.number() == pytest.approx(4.9 * ratio, abs=0.005)


@pytest.mark.parametrize("system", ["cansis", "nrcs"])
def test_cover_of_the_stoniness_classes(system):
    """Referee: CanSIS, page on surface stoniness; NRCS Soil Survey Manual, from memory: percent."""
    rows = [TABLES[f"density.{system}_{number}"] for number in range(6)]
    assert [row.low for row in rows] == [0.0, 0.01, 0.1, 3.0, 15.0, 50.0]
    assert [row.high for row in rows] == [0.01, 0.1, 3.0, 15.0, 50.0, 100.0]
    assert {row.unit for row in rows} == {"%"}


def test_names_of_the_stoniness_classes_differ_between_the_systems():
    """Referee: CanSIS, page on surface stoniness; NRCS, from memory: same cover, other name."""
    words = [
        [TABLES[f"density.{system}_{number}"].words["label"] for number in range(6)]
        for system in ("cansis", "nrcs")
    ]
    adverbs = ["non", "slightly ", "moderately ", "very ", "exceedingly ", "excessively "]
    assert words[0] == [f"{adverb}stony" for adverb in adverbs]
    assert words[1][1].startswith("stony")
    assert words[1][2].startswith("very stony")
    assert words[1][3].startswith("extremely stony")
    assert words[1][4:] == ["rubbly", "very rubbly"]


def test_how_far_apart_stones_lie():
    """Referee: CanSIS: 25, 8, 1, 0.5 and 0.1 m; NRCS for 0.25 m, from memory: 8, 1, 0.5, 0.3 m."""
    gaps = [
        re.findall(r"[\d.]+", TABLES[f"density.cansis_{number}"].words["gap"])
        for number in range(6)
    ]
    assert gaps == [["25"], ["8", "25"], ["1", "8"], ["0.5", "1"], ["0.1", "0.5"], ["0.1"]]
    gaps = [
        re.findall(r"[\d.]+", TABLES[f"density.nrcs_{number}"].words["gap"]) for number in range(6)
    ]
    assert gaps == [[], ["8"], ["1", "8"], ["0.5", "1"], ["0.3", "0.5"], ["0.3"]]


def test_what_is_called_a_stone():
    """Referee: fragments after Handbook 18 (bionicprofessor.com): stones 250 to 600 mm."""
    row = TABLES["density.stone_diameter_m"]
    assert (row.low, row.number(), row.high) == (0.25, 0.25, 0.6)


def test_stones_on_a_hectare():
    """Referee: 0.01 % of ground under stones of 0.25 m is 20.37 a hectare, worked out."""
    assert TABLES["density.stones_0"].high == TABLES["density.stones_1"].low == 20.37


def test_litter_lies_by_the_road():
    """By hand: within about 10 m of a public road more than elsewhere; water leaves more too."""
    assert TABLES.number("density.road_edge_m") == 10.0
    for thing in ("road_litter", "flood_debris"):
        assert TABLES.number(f"density.{thing}") > TABLES.number("density.elsewhere")
