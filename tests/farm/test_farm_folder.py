"""The farm folder read whole: every fault at once, far-off files said, places found. By hand."""

from __future__ import annotations

import contextlib
import shutil
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.errors import InputError, MisuseError
from fieldmap.farm import Farm, check_farm, load_farm
from fieldmap.journey import _lat_lon, place

HEAD = 'name = "Own"\n[columns.fields]\nfield_id = "FLD_NO"\n'


@pytest.fixture(scope="session")
def farm(demo_geodata: Path) -> Farm:
    return load_farm(demo_geodata, with_roads=False)


@pytest.fixture
def folder(demo_geodata: Path, tmp_path: Path) -> Path:
    for name in ("fields.gpkg", "gates.geojson", "elevation.tif", "flood.geojson"):
        shutil.copy(demo_geodata / name, tmp_path)
    shutil.copytree(demo_geodata / "walks", tmp_path / "walks")
    return tmp_path


def write(folder: Path, files: str, more: str = "") -> Path:
    (folder / "farm.toml").write_text(f"{HEAD}{more}[files]\n{files}\n", "utf-8")
    return folder


def test_by_hand_the_faults_of_other_files_are_told_when_the_fields_fail(folder: Path) -> None:
    write(
        folder,
        'fields = "no.gpkg"\ngates = "no.geojson"\nmachines = "no.toml"\ntracks = ["no.gpx"]',
    )
    faults, notes = check_farm(folder)
    assert [Path(fault.where).name for fault in faults] == [
        "no.gpkg",
        "farm.toml",
        "no.geojson",
        "no.toml",
    ]
    assert notes == ()
    with pytest.raises(InputError) as caught:
        load_farm(folder)
    assert caught.value.faults == faults


def test_by_hand_a_pattern_that_no_track_fits_yet_is_noted(folder: Path) -> None:
    """By hand: before the first walk nothing counts as looked at; that is said, and no fault."""
    faults, notes = check_farm(write(folder, 'fields = "fields.gpkg"\ntracks = ["new/*.gpx"]'))
    assert faults == ()
    assert "no file fits tracks 'new/*.gpx': no ground counts as looked at by it" in notes


def test_by_hand_what_is_not_there_is_noted(folder: Path) -> None:
    faults, notes = check_farm(write(folder, 'fields = "fields.gpkg"'))
    assert faults == ()
    words = "\n".join(notes)
    for key in ("elevation", "roads", "machines", "gates", "flood", "hazard log", "tracks"):
        assert key in words


def test_by_hand_a_raster_that_breaks_off_is_found_by_check(folder: Path) -> None:
    path = folder / "elevation.tif"
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    faults, _ = check_farm(write(folder, 'fields = "fields.gpkg"\nelevation = "elevation.tif"'))
    assert [fault.where for fault in faults] == [str(path)]


def moved(path: Path, dx: float) -> None:
    table = gpd.read_file(path)
    table.set_geometry(table.translate(dx, 0)).set_crs(table.crs).to_file(path)


def test_by_hand_far_files_and_places_are_said(folder: Path) -> None:
    moved(folder / "gates.geojson", 3.0)
    moved(folder / "flood.geojson", -3.0)
    places = "[places]\nhome = [-92.93, 40.62]\naway = [40.62, -89.0]\n"
    write(
        folder, 'fields = "fields.gpkg"\ngates = "gates.geojson"\nflood = "flood.geojson"', places
    )
    _, notes = check_farm(folder)
    far = [note.split(" lies over")[0] for note in notes if "lies over 50 km" in note]
    assert far[0] == "place away"
    assert far[-1] == "flood"
    assert sum(name.startswith("gate ") for name in far) == len(far) - 2 > 0
    assert "place home" not in far


def test_by_hand_heights_elsewhere_are_said(folder: Path) -> None:
    moved(folder / "fields.gpkg", 20_000.0)
    _, notes = check_farm(write(folder, 'fields = "fields.gpkg"\nelevation = "elevation.tif"'))
    assert any("no height is known where the fields lie" in note for note in notes)


def test_by_hand_gates_of_fields_that_are_not_there_are_said(folder: Path) -> None:
    text = (folder / "gates.geojson").read_text("utf-8").replace('"S1"', '"S99"')
    (folder / "gates.geojson").write_text(text, "utf-8")
    _, notes = check_farm(write(folder, 'fields = "fields.gpkg"\ngates = "gates.geojson"'))
    assert "gates name S99, not among the fields" in notes


def test_by_hand_swap_xy_in_farm_toml(folder: Path) -> None:
    shape = [shapely.Point(40.62, -92.93)]
    gates = gpd.GeoDataFrame({"gate_id": ["G"]}, geometry=shape)
    (folder / "gates.geojson").write_text(gates.to_json(), "utf-8")
    files = 'fields = "fields.gpkg"\ngates = "gates.geojson"'
    faults, _ = check_farm(write(folder, files))
    assert "swap_xy under [files]" in faults[0].mend
    farm = load_farm(write(folder, f'{files}\nswap_xy = ["gates"]'))
    x, y = farm.gates.to_crs(4326).geometry.iloc[0].coords[0]
    assert (x, y) == pytest.approx((-92.93, 40.62))


def test_by_hand_a_crs_for_elsewhere(folder: Path) -> None:
    (folder / "farm.toml").write_text(
        f'crs = "EPSG:32632"\n{HEAD}[files]\nfields = "fields.gpkg"\n', "utf-8"
    )
    (fault,) = check_farm(folder)[0]
    assert fault.what == "crs is made for another part of the world"


def test_by_hand_the_demo_farm_is_clean(demo_geodata: Path) -> None:
    faults, notes = check_farm(demo_geodata)
    assert faults == ()
    assert [note.split(" (")[0] for note in notes if "log" not in note] == []


@pytest.mark.parametrize(
    ("name", "lon", "lat"),
    [
        ("40.61,-92.93", -92.93, 40.61),
        (" 40.61 , -92.93 ", -92.93, 40.61),
        ("home", -92.931837, 40.625206),
    ],
)
def test_by_hand_places(farm: Farm, name: str, lon: float, lat: float) -> None:
    assert place(farm, name) == pytest.approx((lon, lat))


def test_by_hand_a_field_is_reached_by_its_gate(farm: Farm) -> None:
    gate = farm.gates[farm.gates["field_id"] == "S1"].iloc[[0]]
    there = gate.to_crs(4326).geometry.iloc[0]
    assert place(farm, "S1") == pytest.approx((there.x, there.y))
    assert place(farm, gate["gate_id"].iloc[0]) == place(farm, "S1")


def test_by_hand_swapped_places_are_told(farm: Farm) -> None:
    with pytest.raises(MisuseError, match=r"write 40\.61,-92\.93"):
        place(farm, "-92.93,40.61")


@given(name=st.text() | st.lists(st.floats().map(str), max_size=3).map(",".join))
def test_property_a_place_is_found_or_misused(farm: Farm, name: str) -> None:
    with contextlib.suppress(MisuseError):  # and nothing else
        lon, lat = place(farm, name)
        assert abs(lon) <= 180
        assert abs(lat) <= 90


@given(lon=st.floats(-180, 180), lat=st.floats(-90, 90))
def test_property_what_is_written_is_read(lon: float, lat: float) -> None:
    assert _lat_lon(f"{lat!r},{lon!r}") == (lon, lat)


@given(text=st.text())
def test_property_lat_lon_never_raises(text: str) -> None:
    found = _lat_lon(text)
    assert found is None or (abs(found[0]) <= 180 and abs(found[1]) <= 90)
