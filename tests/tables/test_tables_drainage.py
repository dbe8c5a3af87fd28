"""The figures on water and edges: published ones in their own units, the others by their mark."""

from __future__ import annotations

import pytest

from fieldmap.tables import load_tables
from fieldmap.terrain.drainage import wetness_index
from fieldmap.units import METRE_PER_FOOT, degrees_from_percent

TABLES = load_tables()


def test_highwall_buffer_in_feet_referee() -> None:
    """Referee: 30 m, about 100 ft, from memory only: the row must say so."""
    row = TABLES["edges.highwall_buffer_m"]
    assert row.number() == 30.0
    assert row.number() / METRE_PER_FOOT == pytest.approx(100, rel=0.02)
    assert TABLES.sources[row.source].mark == "memory"


def test_a_steep_out_slope_is_as_steep_as_an_edge_referee() -> None:
    """Referee: out-slopes of about 2 to 1, 26.6 degrees, on reclaimed ground (from memory)."""
    assert degrees_from_percent(TABLES.number("edges.steep_pct")) == pytest.approx(26.6, abs=0.05)


def test_floor_of_the_wetness_referee() -> None:
    """Referee: tan b of 0.001, the usual floor: 1,000 m of upslope on level ground give ln 1e6."""
    floor = TABLES.number("drainage.least_tan")
    assert floor == 0.001
    assert float(wetness_index(1000.0, 0.0, least_tan=floor)) == pytest.approx(13.815511, abs=1e-6)


@pytest.mark.parametrize(
    ("key", "unit"),
    [
        ("drainage.stream_ha", "ha"),
        ("drainage.least_tan", ""),
        ("drainage.hollow_depth_m", "m"),
        ("drainage.hollow_area_m2", "m2"),
        ("drainage.wrack_m", "m"),
        ("drainage.across_deg", "deg"),
        ("drainage.margin_m", "m"),
        ("drainage.most_cells", "count"),
        ("edges.steep_pct", "%"),
        ("edges.least_height_m", "m"),
        ("edges.highwall_m", "m"),
        ("edges.buffer_m", "m"),
    ],
)
def test_our_own_figures_say_so_by_hand(key: str, unit: str) -> None:
    """By hand: no source was found for these; none may pass for published."""
    row = TABLES[key]
    assert (row.source, row.place, row.unit) == ("own", "own default", unit)
    assert row.number() > 0


def test_figures_that_hang_together_by_hand() -> None:
    """By hand: a highwall is an edge, keeps more, and the ground read round a field holds it."""
    number = TABLES.number
    assert number("edges.highwall_m") > number("edges.least_height_m")
    assert number("edges.highwall_buffer_m") > number("edges.buffer_m")
    assert number("drainage.margin_m") > number("edges.highwall_buffer_m")
    assert 0 < number("drainage.across_deg") < 90
