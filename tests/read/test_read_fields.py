"""Field boundaries and gates: what is refused, what is mended, and how it is said. By hand."""

from __future__ import annotations

import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import CRS
from small_geodata import SOUTH, WEST, feature, geojson, point, ring, square, two_fields

from fieldmap.errors import Fault, InputError
from fieldmap.read.fields import read_fields, read_gates
from fieldmap.read.vectors import read_layer

UTM = CRS.from_epsg(32632)


def faults_of(name: str | Path, **options: object) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        read_fields(name, **options)
    for fault in caught.value.faults:
        assert fault.what
        assert fault.value
        assert fault.why
        assert fault.mend
        assert fault.where
    return caught.value.faults


@pytest.mark.parametrize("ending", [".gpkg", ".geojson", ".shp"])
def test_by_hand_each_format_gives_the_same_fields(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"two{ending}"
    two_fields().to_file(path)
    layer = read_fields(path)
    assert list(layer.table["field_id"]) == ["a", "b"]
    assert CRS.from_user_input(layer.table.crs).to_epsg() == 32632
    # a hundredth of a degree on each side at 49.9 N: about 718 m by 1112 m
    assert layer.table["area_ha"].iloc[0] == pytest.approx(79.9, abs=0.3)
    assert layer.notes == ()


def test_by_hand_no_coordinate_system(tmp_path: Path) -> None:
    two_fields().to_file(tmp_path / "bare.shp")
    (tmp_path / "bare.prj").unlink()
    (fault,) = faults_of(tmp_path / "bare.shp")
    assert fault.what == "no coordinate system"
    assert ".prj" in fault.mend


def test_by_hand_degrees_where_metres_are_said(tmp_path: Path) -> None:
    said = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32632"}}
    (fault,) = faults_of(geojson(tmp_path / "d.geojson", feature(square()), crs=said))
    assert fault.what == "coordinates look like degrees"
    assert "UTM zone 32N" in fault.why


def test_by_hand_metres_where_degrees_are_said(tmp_path: Path) -> None:
    (fault,) = faults_of(geojson(tmp_path / "m.geojson", feature(square(678e3, 5532e3, 100))))
    assert fault.what == "coordinates too large for degrees"


def test_by_hand_swapped_is_offered_and_works(tmp_path: Path) -> None:
    there = square(x=WEST + 100, y=SOUTH)  # 111.5 E, so that swapping leaves the earth
    turned = ring(*[(y, x) for x, y in there["coordinates"][0]])
    path = geojson(tmp_path / "swapped.geojson", feature(turned, field_id="a"))
    (fault,) = faults_of(path)
    assert "swapped" in fault.what
    assert "--swap-xy" in fault.mend
    mended = read_fields(path, swap_xy=True).table.to_crs(4326)
    assert mended.total_bounds == pytest.approx([111.5, 49.9, 111.51, 49.91])


def test_by_hand_a_system_tied_to_no_place(tmp_path: Path) -> None:
    local = CRS.from_wkt(
        'ENGCRS["barn",EDATUM["corner"],CS[Cartesian,2],AXIS["x",east],AXIS["y",north],'
        'LENGTHUNIT["metre",1]]'
    )
    two_fields().set_crs(local, allow_override=True).to_file(tmp_path / "local.gpkg")
    (fault,) = faults_of(tmp_path / "local.gpkg")
    assert "tied to no place" in fault.what


def test_by_hand_a_system_for_another_part_of_the_world(tmp_path: Path) -> None:
    two_fields().to_file(tmp_path / "two.gpkg")
    (fault,) = faults_of(tmp_path / "two.gpkg", crs=CRS.from_epsg(26915))
    assert "another part of the world" in fault.what
    assert read_fields(tmp_path / "two.gpkg", crs=CRS.from_epsg(32633)).table.crs == 32633


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("ending", [".gpkg", ".geojson"])
def test_by_hand_a_truncated_file(tmp_path: Path, ending: str, share: float) -> None:
    path = tmp_path / f"two{ending}"
    two_fields().to_file(path)
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])
    (fault,) = faults_of(path)
    assert fault.what == "field boundaries cannot be read"
    assert "sqlite3_prepare" not in fault.value


@pytest.mark.parametrize("share", [0.3, 0.8])
def test_by_hand_a_truncated_shapefile(tmp_path: Path, share: float) -> None:
    path = tmp_path / "two.shp"
    two_fields().to_file(path)
    path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])
    assert "shape" in f"{faults_of(path)}"


@pytest.mark.parametrize("lost", [".shx", ".dbf"])
def test_by_hand_a_shapefile_without_its_parts(tmp_path: Path, lost: str) -> None:
    two_fields().to_file(tmp_path / "two.shp")
    (tmp_path / f"two{lost}").unlink()
    (fault,) = faults_of(tmp_path / "two.shp")
    assert fault.value == f"two{lost}"


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.gpkg", b"not a database"),
        ("a.gpkg", b""),
        ("a.geojson", b"[1, 2]"),
        ("a.geojson", b"<html></html>"),
        ("a.geojson", '{"type": "FeatureCollection"}'.encode("utf-16")),
        ("a.geojson", b'{"type": "FeatureCollection"}'),
        ("a.json", b'{"a": 1}'),
        ("a.shp", b"PK\x03\x04"),
    ],
)
def test_by_hand_garbage(tmp_path: Path, name: str, content: bytes) -> None:
    (tmp_path / name).write_bytes(content)
    (fault,) = faults_of(tmp_path / name)
    assert "It might help" not in str(fault)


def test_by_hand_text_of_another_encoding(tmp_path: Path) -> None:
    path = geojson(tmp_path / "l.geojson", feature(square(), field_id="a", crop="UMLAUT"))
    path.write_bytes(path.read_bytes().replace(b"UMLAUT", b"Gr\xe4ser"))
    (fault,) = faults_of(path)
    assert "utf-8" in fault.value


def test_by_hand_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = geojson(tmp_path / "b.geojson", feature(square(), field_id="a"))
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert list(read_fields(path).table["field_id"]) == ["a"]


def test_by_hand_several_layers_are_asked_and_one_can_be_picked(tmp_path: Path) -> None:
    path = tmp_path / "farm.gpkg"
    two_fields().to_file(path, layer="north")
    two_fields().iloc[:1].to_file(path, layer="south")
    (fault,) = faults_of(path)
    assert fault.value == "north, south"
    assert fault.mend == "pick one: farm.gpkg:north"
    assert len(read_fields(f"{path}:south").table) == 1
    (missing,) = faults_of(f"{path}:east")
    assert "north, south" in missing.mend


def test_by_hand_a_table_beside_the_only_layer_with_shapes(tmp_path: Path) -> None:
    path = tmp_path / "farm.gpkg"
    two_fields().to_file(path, layer="north")
    pyogrio.write_dataframe(two_fields()[["crop"]], path, layer="words", append=True)
    assert len(read_fields(path).table) == 2


def test_by_hand_duplicate_and_empty_ids(tmp_path: Path) -> None:
    rows = [feature(square(), field_id=name) for name in ("a", "b", "a", "", None)]
    twice, empty = sorted(
        faults_of(geojson(tmp_path / "d.geojson", *rows)), key=lambda fault: fault.what
    )
    assert twice.what == "column field_id holds a value twice"
    assert twice.value == "a"
    assert twice.where.endswith("row 1, 3")
    assert empty.where.endswith("row 4, 5")


def test_by_hand_shapes_that_are_none(tmp_path: Path) -> None:
    rows = [
        feature(None, field_id="none"),
        feature({"type": "Polygon", "coordinates": []}, field_id="empty"),
        feature(ring((11.5, None), (11.6, 49.9), (11.6, 50.0), (11.5, None)), field_id="null"),
        feature(ring((11.5, 49.9), (11.6, 49.9), (11.6, 50.0)), field_id="open"),
        feature(point(), field_id="point"),
        feature(square(), field_id="good"),
    ]
    faults = faults_of(geojson(tmp_path / "s.geojson", *rows))
    named = {fault.where.rsplit("(", 1)[1].rstrip(")") for fault in faults}
    assert named == {"none", "empty", "null", "open", "point"}
    (alone,) = faults_of(geojson(tmp_path / "t.geojson", *rows[:1]))
    assert alone.what == "no field has a shape"


def test_by_hand_a_small_crossing_is_mended_and_said(tmp_path: Path) -> None:
    # a spur at the corner turned over itself: far less than one percent of the square
    crossed = ring(
        (11.5, 49.9),
        (11.51, 49.9),
        (11.51, 49.91),
        (11.5, 49.91),
        (11.5, 49.90001),
        (11.50001, 49.9),
        (11.50001, 49.90001),
        (11.5, 49.9),
    )
    assert not shapely.from_geojson(str(crossed).replace("'", '"')).is_valid
    path = geojson(tmp_path / "c.geojson", feature(crossed, field_id="a"))
    layer = read_fields(path)
    (note,) = layer.notes
    assert "crossed itself, mended" in note
    assert "before" in note
    assert "after" in note
    assert layer.table.geometry.is_valid.all()


def test_by_hand_a_large_crossing_is_asked(tmp_path: Path) -> None:
    bow = ring((11.5, 49.9), (11.51, 49.91), (11.51, 49.9), (11.5, 49.91), (11.5, 49.9))
    (fault,) = faults_of(geojson(tmp_path / "b.geojson", feature(bow, field_id="a")))
    assert fault.what == "a boundary that crosses itself"
    assert fault.mend == "redraw the boundary"


def test_by_hand_column_mapping(tmp_path: Path) -> None:
    path = tmp_path / "two.gpkg"
    two_fields().rename(columns={"field_id": "FLD"}).to_file(path)
    assert list(read_fields(path, columns={"field_id": "FLD"}).table["field_id"]) == ["a", "b"]
    lost, strange = faults_of(path, columns={"field_id": "NOPE", "colour": "crop"})
    assert "FLD, crop" in lost.mend
    assert strange.value == "colour"
    (twice,) = faults_of(path, columns={"field_id": "FLD", "name": "FLD"})
    assert twice.what == "one column for two things"
    (shape,) = faults_of(path, columns={"crop": "geometry"})
    assert shape.value == "geometry"


def test_by_hand_without_ids_rows_are_numbered_and_it_is_said(tmp_path: Path) -> None:
    two_fields().drop(columns="field_id").to_file(tmp_path / "two.gpkg")
    layer = read_fields(tmp_path / "two.gpkg")
    assert list(layer.table["field_id"]) == ["1", "2"]
    assert "numbered" in layer.notes[0]


def test_by_hand_our_names_in_capitals_are_ours(tmp_path: Path) -> None:
    path = geojson(tmp_path / "c.geojson", feature(square(), FIELD_ID="N1", Crop="alfalfa"))
    row = read_fields(path).table.iloc[0]
    assert (row["field_id"], row["crop"]) == ("N1", "alfalfa")


def test_by_hand_wrong_types_are_told_once_each(tmp_path: Path) -> None:
    rows = [
        feature(square(), field_id="a", cutting="first", stoniness=9, lodged="ja"),
        feature(square(), field_id="b", cutting=2, stoniness=3, lodged="yes"),
        feature(square(), field_id="c", cutting=None, stoniness=None, lodged="no"),
    ]
    faults = faults_of(geojson(tmp_path / "t.geojson", *rows))
    assert {fault.what: fault.value for fault in faults} == {
        "column cutting does not hold numbers": "first",
        "column stoniness is out of range": "9.0",
        "column lodged is neither yes nor no": "ja",
    }
    assert all(fault.where.endswith("row 1") for fault in faults)


def test_by_hand_the_height_of_the_sward(tmp_path: Path) -> None:
    rows = [
        feature(square(), field_id="a", HT="0.25"),
        feature(square(), field_id="b", HT=None),
        feature(square(), field_id="c", HT=0),
    ]
    path = geojson(tmp_path / "s.geojson", *rows)
    held = read_fields(path, columns={"sward_m": "HT"}).table["sward_m"]
    assert held.dtype == float
    assert held.tolist() == pytest.approx([0.25, np.nan, 0.0], nan_ok=True)
    assert read_fields(path).table["sward_m"].isna().all()


def test_by_hand_a_sward_in_another_unit_is_not_believed(tmp_path: Path) -> None:
    rows = [feature(square(), field_id="a", sward_m=25), feature(square(), field_id="b")]
    (fault,) = faults_of(geojson(tmp_path / "s.geojson", *rows))
    assert (fault.what, fault.value) == ("column sward_m is out of range", "25.0")
    rows = [feature(square(), field_id="a", sward_m="knee high")]
    (words,) = faults_of(geojson(tmp_path / "w.geojson", *rows))
    assert words.what == "column sward_m does not hold numbers"


@pytest.mark.parametrize(
    ("said", "means"),
    [("yes", True), ("No", False), (True, True), (0, False), ("", None), (None, None), ("t", True)],
)
def test_by_hand_lodged_words(tmp_path: Path, said: object, means: bool | None) -> None:
    path = geojson(tmp_path / "l.geojson", feature(square(), field_id="a", lodged=said))
    assert read_fields(path).table["lodged"].iloc[0] is means


def test_by_hand_lists_in_cells_do_not_break_the_reader(tmp_path: Path) -> None:
    path = geojson(tmp_path / "l.geojson", feature(square(), field_id="a", cutting=[1, 2]))
    (fault,) = faults_of(path)
    assert fault.what == "column cutting does not hold numbers"


def test_by_hand_ids_that_look_like_dates_stay_as_written(tmp_path: Path) -> None:
    path = geojson(tmp_path / "d.geojson", feature(square(), field_id="2026/06/01"))
    assert read_fields(path).table["field_id"].iloc[0] == "2026/06/01"


def test_by_hand_no_fields_at_all(tmp_path: Path) -> None:
    (fault,) = faults_of(geojson(tmp_path / "n.geojson"))
    assert fault.what == "no fields in the file"


def test_by_hand_a_table_without_shapes(tmp_path: Path) -> None:
    pyogrio.write_dataframe(two_fields()[["crop"]], tmp_path / "words.gpkg")
    (fault,) = faults_of(tmp_path / "words.gpkg")
    assert "without geometry" in fault.what


def test_by_hand_a_virtual_file_behind_an_honest_name(tmp_path: Path) -> None:
    text = '<OGRVRTDataSource><OGRVRTLayer name="a"></OGRVRTLayer></OGRVRTDataSource>'
    for name in ("v.gpkg", "v.geojson", "v.shp"):
        (tmp_path / name).write_text(text)
        (fault,) = faults_of(tmp_path / name)
        assert "only points to others" in fault.what


def test_by_hand_a_folder_is_no_file(tmp_path: Path) -> None:
    (tmp_path / "x.gpkg").mkdir()
    (fault,) = faults_of(tmp_path / "x.gpkg")
    assert fault.value == "a folder"


def test_by_hand_gates(tmp_path: Path) -> None:
    rows = [
        feature(point(), gate_id="G1", field_id="a", width_m=4.5),
        feature({"type": "MultiPoint", "coordinates": [[11.5, 49.9]]}, field_id="b"),
        feature(point(), gate_id=7, width_m="3.6"),
    ]
    gates = read_gates(geojson(tmp_path / "g.geojson", *rows), crs=UTM)
    assert list(gates["gate_id"]) == ["G1", "gate 2", "7"]
    assert gates["width_m"].tolist()[0::2] == [4.5, 3.6]
    assert np.isnan(gates["width_m"].iloc[1])
    assert set(gates.geometry.geom_type) == {"Point"}


def test_by_hand_a_gate_width_that_is_not_a_number_is_not_dropped(tmp_path: Path) -> None:
    rows = [feature(point(), gate_id="G1", width_m="12 ft"), feature(point(), width_m=0.1)]
    with pytest.raises(InputError, match="12 ft"):
        read_gates(geojson(tmp_path / "g.geojson", *rows), crs=UTM)
    with pytest.raises(InputError, match="out of range"):
        read_gates(geojson(tmp_path / "g.geojson", rows[1]), crs=UTM)


def test_by_hand_gates_without_a_place(tmp_path: Path) -> None:
    rows = [feature(None, gate_id="G1"), feature(square(), gate_id="G2")]
    with pytest.raises(InputError) as caught:
        read_gates(geojson(tmp_path / "g.geojson", *rows), crs=UTM)
    assert [fault.value for fault in caught.value.faults] == [
        "no shape, or a broken one",
        "polygon",
    ]


def test_by_hand_gates_whose_ids_stand_twice(tmp_path: Path) -> None:
    rows = [feature(point(), gate_id="G1"), feature(point(), gate_id="G1")]
    with pytest.raises(InputError, match="holds a value twice"):
        read_gates(geojson(tmp_path / "g.geojson", *rows), crs=UTM)


def test_by_hand_a_property_called_geometry_is_left_out(tmp_path: Path) -> None:
    table = two_fields().rename_geometry("geom")
    table["geometry"] = "words"
    table.to_file(tmp_path / "g.gpkg")
    found = read_layer(tmp_path / "g.gpkg", what="fields")
    assert isinstance(found, gpd.GeoDataFrame)
    assert found.geometry.notna().all()


def test_by_hand_a_shapefile_copied_with_all_its_parts(tmp_path: Path) -> None:
    two_fields().to_file(tmp_path / "two.shp")
    (tmp_path / "there").mkdir()
    for one in tmp_path.glob("two.*"):
        shutil.copy(one, tmp_path / "there")
    assert len(read_fields(tmp_path / "there" / "two.shp").table) == 2
