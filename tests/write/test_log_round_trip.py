"""What goes out of the hazard log comes back as it was, in every format, as often as one likes."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from log_pieces import MARKS, NASTY, SHAPES, SUFFIXES, TABLES, export, mark, marks

from fieldmap.errors import InputError
from fieldmap.hazards.events import add_events
from fieldmap.hazards.fold import standing
from fieldmap.read.finds import read_finds

#: XML 1.0, section 2.2: what is left of the first 32 characters are tab and line ends.
_NOT_IN_XML = re.compile("[\x01-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
_FIGURES = ("radius_m", "height_m", "heading_deg")
_HALF_A_CENTIMETRE_DEG = 5e-8


def back(table: gpd.GeoDataFrame, path: Path) -> gpd.GeoDataFrame:
    export(table, path)
    return in_order(read_finds(path, tables=TABLES).table)


def in_order(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return table.sort_values("hazard_id", ignore_index=True)


def held_by(suffix: str) -> Callable[[str], str]:
    """Words as this format can hold them: XML takes blanks round a text for layout.

    Blanks alone are no words in any of them.
    """
    if suffix not in (".gpx", ".kml"):
        return lambda words: "" if words.isspace() else words
    return lambda words: _NOT_IN_XML.sub("\ufffd", words).strip()


def same_shape(one: shapely.Geometry, two: shapely.Geometry) -> bool:
    """Type, corners, holes, area and every place within 1e-7 degrees."""
    near = shapely.hausdorff_distance(one, two) < 1e-7
    corners = shapely.get_num_coordinates([one, two])
    areas = shapely.area([one, two])
    slack = _HALF_A_CENTIMETRE_DEG * shapely.length(one) + 1e-15
    return (
        one.geom_type == two.geom_type
        and near
        and corners[0] == corners[1]
        and abs(areas[0] - areas[1]) <= slack
    )


def assert_same(seen: gpd.GeoDataFrame, wanted: gpd.GeoDataFrame, suffix: str) -> None:
    wanted, held = in_order(wanted), held_by(suffix)
    for column in ("hazard_id", "kind"):
        assert seen[column].tolist() == wanted[column].tolist()
    for column in ("note", "who"):
        assert seen[column].tolist() == [held(words) for words in wanted[column]]
    for column in _FIGURES:
        np.testing.assert_array_equal(seen[column], wanted[column])
    assert (seen["time"].isna() == wanted["time"].isna()).all()
    late = (seen["time"] - wanted["time"]).abs().max()
    assert pd.isna(late) or late < pd.Timedelta(seconds=1)
    pairs = zip(seen.geometry, wanted.geometry, strict=True)
    assert all(same_shape(one, two) for one, two in pairs)


@pytest.mark.parametrize("suffix", SUFFIXES)
@settings(max_examples=50)
@given(table=MARKS)
def test_property_every_field_comes_back(
    tmp_path_factory: pytest.TempPathFactory, suffix: str, table: gpd.GeoDataFrame
) -> None:
    """Any kinds, words, times, figures known or not, and shapes of any type."""
    assert_same(back(table, tmp_path_factory.mktemp("there") / f"a{suffix}"), table, suffix)


@pytest.mark.parametrize("suffix", SUFFIXES)
@settings(max_examples=30)
@given(table=MARKS)
def test_property_export_import_export_is_a_fixed_point(
    tmp_path_factory: pytest.TempPathFactory, suffix: str, table: gpd.GeoDataFrame
) -> None:
    """Through the log itself: the second file and all later ones have the bytes of the first."""
    folder = tmp_path_factory.mktemp("again")
    log = standing(add_events(table.assign(photo=b""), file="first"), tables=TABLES)
    trips = []
    for trip in range(3):
        path = folder / f"{trip}{suffix}"
        export(log, path)
        trips.append(path.read_bytes())
        finds = read_finds(path, tables=TABLES).table
        log = standing(add_events(finds, file="later"), tables=TABLES)
    assert trips[1] == trips[0]
    assert trips[2] == trips[0]


@pytest.mark.parametrize("suffix", SUFFIXES)
@pytest.mark.parametrize("shape", [name for name in SHAPES if name != "mixed"])
def test_by_hand_every_kind_of_shape(tmp_path: Path, suffix: str, shape: str) -> None:
    """Points, lines, areas, holes and several parts come back as what they were."""
    table = marks([{"geometry": SHAPES[shape]}])
    assert_same(back(table, tmp_path / f"a{suffix}"), table, suffix)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_hand_a_mixture_is_written_and_told(tmp_path: Path, suffix: str) -> None:
    """Two people put one thing apart, as a point and as an area: nobody can import that."""
    done = export(marks([{"geometry": SHAPES["mixed"]}]), tmp_path / f"a{suffix}")
    assert any(note.startswith("1 hazards lie in places of several kinds") for note in done.notes)
    with pytest.raises(InputError):
        read_finds(tmp_path / f"a{suffix}", tables=TABLES)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_hand_words_that_formats_fear(tmp_path: Path, suffix: str) -> None:
    """Quotes, line ends, tags, entities, separators, formulas: sign by sign."""
    rows = [{"hazard_id": f"n{at:02d}", "note": note} for at, note in enumerate(NASTY)]
    table = marks(rows)
    seen = back(table, tmp_path / f"a{suffix}")
    assert seen["note"].tolist() == [held_by(suffix)(note) for note in NASTY]


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_hand_a_second_import_is_the_same_events(tmp_path: Path, suffix: str) -> None:
    """Marks with a name, imported again into their own log, are no news to it."""
    rows = [
        mark(hazard_id=name, geometry=SHAPES[name], note=NASTY[at], height_m=float("nan"))
        for at, name in enumerate(("point", "line", "points"))
    ]
    first = add_events(marks(rows).assign(photo=b""), file="first")
    export(standing(first, tables=TABLES), tmp_path / f"a{suffix}")
    again = add_events(read_finds(tmp_path / f"a{suffix}", tables=TABLES).table, file="again")
    assert set(again["event_id"]) == set(first["event_id"])


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_hand_what_is_not_known_stays_unknown(tmp_path: Path, suffix: str) -> None:
    bare = {"radius_m": np.nan, "height_m": np.nan, "heading_deg": np.nan, "time": None, "who": ""}
    table = marks([{**bare, "kind": "unknown", "note": ""}, {"hazard_id": "x"}])
    seen = back(table, tmp_path / f"a{suffix}")
    row = seen[seen["hazard_id"] == "W-1"].iloc[0]
    assert [row["kind"], row["note"], row["who"]] == ["unknown", "", ""]
    assert row[["radius_m", "height_m", "heading_deg", "time"]].isna().all()


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_by_hand_figures_of_the_file_are_si(tmp_path: Path, suffix: str) -> None:
    """From a farm that reads feet: metres stand in the file, and metres come back."""
    seen = back(marks([{"height_m": 0.3048, "radius_m": 3.048}]), tmp_path / f"a{suffix}")
    assert (seen["height_m"][0], seen["radius_m"][0]) == (0.3048, 3.048)
