"""farm.toml and machines.toml: every wrong key at once, and the one that was likely meant."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldmap.errors import Fault, InputError
from fieldmap.read.settings import read_farm_settings, read_machines


def faults_of(path: Path, text: str, *, machines: bool = False) -> list[Fault]:
    path.write_text(text, "utf-8")
    with pytest.raises(InputError) as caught:
        (read_machines if machines else read_farm_settings)(path)
    assert all(fault.where == str(path) for fault in caught.value.faults)
    return list(caught.value.faults)


def test_by_hand_all_wrong_keys_are_named_at_once(tmp_path: Path) -> None:
    text = """
nmae = "x"
units = "imperial"
time_zone = "Mars/Olympus"
crs = 26915
[files]
feilds = "fields.gpkg"
elevation_unit = "yards"
gates = ""
roads = "https://somewhere.example/roads.osm.pbf"
elevation = "/vsicurl/http://somewhere.example/e.tif"
tracks = ["/etc/*.gpx", "walks/*.gpx"]
elevation_made_from_cell_m = inf
swap_xy = ["roads"]
[places]
home = [95.0, 120.0]
[columns.gates]
gate_id = "G"
"""
    faults = faults_of(tmp_path / "farm.toml", text)
    keys = {fault.what.split(":")[0] for fault in faults}
    assert keys == {
        "name", "nmae", "units", "time_zone", "crs", "files.fields", "files.feilds",
        "files.elevation_unit", "files.gates", "files.roads", "files.elevation", "files.tracks",
        "files.elevation_made_from_cell_m", "files.swap_xy.1", "places", "columns.gates.[key]",
    }  # fmt: skip
    said = {fault.what.split(":")[0]: fault for fault in faults}
    assert said["nmae"].mend == "did you mean name?"
    assert said["files.feilds"].mend == "did you mean fields?"
    assert said["files.fields"].mend == "add it"
    assert "America/Chicago" in said["time_zone"].what


@pytest.mark.parametrize("text", ["name = ", "= 1", "[files", 'a = "\\q"', "a = 1\na = 2"])
def test_by_hand_broken_toml_names_its_line(tmp_path: Path, text: str) -> None:
    (fault,) = faults_of(tmp_path / "farm.toml", f"{text}\nz = 1\n")
    assert fault.what == "farm.toml is not TOML"
    assert "line" in fault.value


def test_by_hand_another_encoding(tmp_path: Path) -> None:
    (tmp_path / "farm.toml").write_bytes('name = "Gr\xfcn"'.encode("latin-1"))
    with pytest.raises(InputError, match="is not TOML"):
        read_farm_settings(tmp_path / "farm.toml")


def test_by_hand_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    text = 'name = "Höfe"\n[files]\nfields = "f.gpkg"\n'
    (tmp_path / "farm.toml").write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert read_farm_settings(tmp_path / "farm.toml").name == "Höfe"


def test_by_hand_no_file_and_a_file_for_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="fieldmap start"):
        read_farm_settings(tmp_path / "farm.toml")
    with pytest.raises(InputError, match=r"take the line out of farm\.toml"):
        read_machines(tmp_path / "machines.toml")
    (tmp_path / "farm.toml").write_text("")
    with pytest.raises(InputError, match="name the farm folder itself"):
        read_farm_settings(tmp_path / "farm.toml" / "farm.toml")


def test_by_hand_machines_every_fault_at_once(tmp_path: Path) -> None:
    text = """
[[machine]]
id = "a"
name = "A"
kind = "hovercraft"
width_m = 3
mass_kg = -1
[[machine]]
id = "b"
kind = "pull-type"
name = "B"
transport = [{ name = "folded", width = 3.0 }]
"""
    faults = faults_of(tmp_path / "machines.toml", text, machines=True)
    said = {fault.what.split(":")[0]: fault for fault in faults}
    assert set(said) == {
        "machine.1.kind",
        "machine.1.width_m",
        "machine.1.mass_kg",
        "machine.2.transport.1.width",
    }
    assert said["machine.2.transport.1.width"].mend == "did you mean width_m?"


@pytest.mark.parametrize("text", ["", 'machine = []\n[[machine]]\nid = "a"'])
def test_by_hand_no_machine(tmp_path: Path, text: str) -> None:
    assert faults_of(tmp_path / "machines.toml", text, machines=True)


def test_by_hand_machine_ids_twice(tmp_path: Path) -> None:
    one = '[[machine]]\nid = "a"\nname = "A"\nkind = "pull-type"\n'
    (fault,) = faults_of(tmp_path / "machines.toml", one + one, machines=True)
    assert (fault.what, fault.value) == ("machine ids that stand twice", "a")


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ("tyres = [{ axle = 1, inflation_kpa = 20 }]", "looks like psi"),
        ("mass_kg = 5000", "the axles carry 8000 kg, and mass_kg says 5000"),
        ('fitted_shoe = "Base"\nskid_shoes = [{ name = "base", cut_height_m = 0.05 }]', "'Base'"),
        ('fitted_knives = "high_lift"\nknives = ["low_lift"]', "none of its knives"),
        ("mass_kg = 8000\nmower_mass_kg = 9000", "more than mass_kg"),
    ],
)
def test_by_hand_parts_of_a_machine_that_do_not_fit(tmp_path: Path, lines: str, words: str) -> None:
    """By hand: what cannot be is named with the machine's own id, not guessed at."""
    text = (
        '[[machine]]\nid = "m-1"\nname = "m"\nkind = "pull-type"\n'
        "axles = [{ mass_kg = 3000, position_m = 0 }, { mass_kg = 5000, position_m = 3 }]\n"
    )
    (fault,) = faults_of(tmp_path / "machines.toml", text + lines, machines=True)
    assert words in fault.what
    assert fault.value == "m-1"
