"""Roads kept beside a farm: the same tables, whatever happens to what is kept."""

from __future__ import annotations

import hashlib
import io
import json
import os
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pyproj import CRS
from small_osm import UTM, osm, relation

from fieldmap.errors import InputError
from fieldmap.network import RoadData
from fieldmap.read import road_cache, roads
from fieldmap.read.road_cache import FOLDER, WORTH_LEGS, load_entry, save_entry
from fieldmap.read.roads import read_roads
from fieldmap.schemas import EDGES, NODES, TURNS, checked

COUNT = WORTH_LEGS + 50


def district(*, note: str = "") -> str:
    """An invented file just large enough to be kept: a row of lanes, a gate, lines above."""
    places = {n: (11.5 + n * 0.0001, 50.0, {}) for n in range(1, COUNT + 2)}
    places[3] = (*places[3][:2], {"barrier": "gate", "note": 'ä "quoted" <&>'})
    places |= {9001: (11.50025, 49.999, {}), 9002: (11.50025, 50.001, {})}
    track = {"highway": "track", "name": f"Lane 'ö' {note}"}
    ways = {n: ([n, n + 1], track) for n in range(1, COUNT + 1)}
    ways[9001] = ([9001, 9002], {"power": "line"})
    ways[9002] = ([1, 77777, 2], {"highway": "service", "oneway": "-1"})
    via = relation(
        5, "no_left_turn", ("way", 1, "from"), ("node", 2, "via"), ("way", 2, "to"),
        **{"restriction:conditional": "no_u_turn @ (Mo)", "except": "psv"},
    )  # fmt: skip
    over = relation(6, "no_u_turn", ("way", 1, "from"), ("way", 2, "via"), ("way", 3, "to"))
    return osm(places, ways, via + over)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "large.osm"
    path.write_text(district(), "utf-8")
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / FOLDER


def same(one: RoadData, other: RoadData) -> None:
    """Equal in every value, type and order, and legs of one way still share their tags."""
    pd.testing.assert_frame_equal(pd.DataFrame(one.edges), pd.DataFrame(other.edges))
    assert [line.wkb for line in one.edges.geometry] == [line.wkb for line in other.edges.geometry]
    assert one.edges.crs == other.edges.crs == one.crs == other.crs
    pd.testing.assert_frame_equal(one.nodes, other.nodes)
    pd.testing.assert_frame_equal(one.turns, other.turns)
    assert (one.source, one.warnings, one.lacks) == (other.source, other.warnings, other.lacks)
    for data in (one, other):
        for table, schema in ((data.edges, EDGES), (data.nodes, NODES), (data.turns, TURNS)):
            checked(table, schema, where="kept")
        assert all(isinstance(held, tuple) for held in data.edges["under"])
        assert all(isinstance(held, tuple) for held in data.turns["via_ways"])
    assert len({id(tags) for tags in one.edges["tags"]}) == len(
        {id(tags) for tags in other.edges["tags"]}
    )


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of the files that were truly read."""
    read = roads._read
    names: list[str] = []

    def noted(path: Path, crs: CRS) -> RoadData:
        names.append(path.name)
        return read(path, crs)

    monkeypatch.setattr(roads, "_read", noted)
    return names


def test_property_what_is_kept_is_what_was_read(file, folder, counted):
    """Property: equal tables without a cache, on the first reading and on the second."""
    plain = read_roads(file, crs=UTM)
    first = read_roads(file, crs=UTM, cache=folder)
    second = read_roads(file, crs=UTM, cache=folder)
    assert len(counted) == 2
    assert len(list(folder.iterdir())) == 1
    assert plain.edges["under"].map(len).sum() > 0
    assert len(plain.turns) == 3
    assert plain.warnings
    same(plain, first)
    same(plain, second)


@pytest.mark.real_ground
def test_property_a_district_that_is_kept_is_the_district(bayreuth, tmp_path, counted):
    path = bayreuth / "bayreuth.osm.pbf"
    plain = read_roads(path, crs=UTM, cache=tmp_path)
    same(plain, read_roads(path, crs=UTM, cache=tmp_path))
    assert len(counted) == 1


def test_by_hand_what_lacks_is_kept_too(file, folder):
    data = read_roads(file, crs=UTM)
    from dataclasses import replace

    folder.mkdir()
    save_entry(folder / "roads-a-b-c.npz", replace(data, lacks=("turn restrictions",)))
    held = load_entry(folder / "roads-a-b-c.npz", source="large.osm", crs=UTM)
    assert held is not None
    assert held.lacks == ("turn restrictions",)


def test_by_hand_a_network_without_turns_above_or_tags(tmp_path, folder):
    places = {n: (11.5 + n * 0.0001, 50.0, {}) for n in range(1, COUNT + 2)}
    text = osm(places, {7: (list(places), {"highway": "track"})})
    (tmp_path / "a.osm").write_text(text, "utf-8")
    data = read_roads(tmp_path / "a.osm", crs=UTM)
    folder.mkdir()
    save_entry(folder / "roads-a-b-c.npz", data)
    same(data, load_entry(folder / "roads-a-b-c.npz", source="a.osm", crs=UTM))


def test_by_hand_another_content_name_or_system_is_read_anew(file, folder, counted):
    read_roads(file, crs=UTM, cache=folder)
    other = CRS.from_epsg(32633)
    far = read_roads(file, crs=other, cache=folder)
    assert len(counted) == 2
    assert far.edges.total_bounds[0] < 0 or far.edges.total_bounds[0] < 3e5
    assert len(list(folder.iterdir())) == 2  # both systems are of one content
    read_roads(file, crs=UTM, cache=folder)
    assert len(counted) == 2
    file.write_text(district(note="new"), "utf-8")
    again = read_roads(file, crs=UTM, cache=folder)
    assert len(counted) == 3
    assert "new" in again.edges["name"].iloc[0]
    assert len(list(folder.iterdir())) == 1  # what was kept of the old content is gone
    copy = file.with_name("copy.osm")
    copy.write_bytes(file.read_bytes())
    assert read_roads(copy, crs=UTM, cache=folder).source == "copy.osm"
    assert len(counted) == 4
    assert len(list(folder.iterdir())) == 2  # another file's stay


def test_by_hand_another_reader_reads_anew(file, folder, counted, monkeypatch):
    read_roads(file, crs=UTM, cache=folder)
    monkeypatch.setattr(road_cache, "_reader", lambda: "newer")
    read_roads(file, crs=UTM, cache=folder)
    assert len(counted) == 2
    assert len(list(folder.iterdir())) == 1


@pytest.mark.parametrize("where", [0, 20, 100, 3000, -20, -1])
def test_by_hand_a_changed_byte_is_seen_and_the_file_is_read_again(file, folder, counted, where):
    plain = read_roads(file, crs=UTM, cache=folder)
    (entry,) = folder.iterdir()
    packed = bytearray(entry.read_bytes())
    packed[where] ^= 1
    entry.write_bytes(packed)
    same(plain, read_roads(file, crs=UTM, cache=folder))
    assert len(counted) == 2
    read_roads(file, crs=UTM, cache=folder)
    assert len(counted) == 2  # what was broken has been kept anew


@pytest.mark.parametrize("size", [0, 10, 82, 1000, -1])
def test_by_hand_half_an_entry_is_none(file, folder, counted, size):
    plain = read_roads(file, crs=UTM, cache=folder)
    (entry,) = folder.iterdir()
    entry.write_bytes(entry.read_bytes()[:size])
    same(plain, read_roads(file, crs=UTM, cache=folder))
    assert len(counted) == 2


def test_by_hand_somebody_elses_file_of_the_name_is_passed_over(file, folder, counted):
    plain = read_roads(file, crs=UTM, cache=folder)
    (entry,) = folder.iterdir()
    pickled = io.BytesIO()
    np.savez(pickled, words=np.array([{"a": 1}], dtype=object))
    lacking = io.BytesIO()
    np.savez(lacking, words=np.frombuffer(json.dumps({}).encode(), dtype=np.uint8))
    single = io.BytesIO()
    np.save(single, np.arange(3))
    others = (pickled, lacking, single)
    for body in (b"", b"not an archive", *(one.getvalue() for one in others)):
        head = b"fieldmap roads 1\n" + hashlib.sha256(body).hexdigest().encode() + b"\n"
        entry.write_bytes(head + body)  # whole by its own digest, and not ours
        same(plain, read_roads(file, crs=UTM, cache=folder))
    assert len(counted) == 6


def test_by_hand_what_else_lies_in_the_folder_stays(file, folder):
    folder.mkdir()
    (folder / "mine.txt").write_text("mine")
    (folder / "roads-other-1-2.npz").write_text("another file's")
    read_roads(file, crs=UTM, cache=folder)
    assert {"mine.txt", "roads-other-1-2.npz"} < {one.name for one in folder.iterdir()}


def test_by_hand_small_files_are_not_kept(tmp_path, folder, counted):
    places = {1: (11.5, 50.0, {}), 2: (11.501, 50.0, {})}
    text = osm(places, {7: ([1, 2], {"highway": "track"})})
    (tmp_path / "small.osm").write_text(text, "utf-8")
    for _ in range(2):
        read_roads(tmp_path / "small.osm", crs=UTM, cache=folder)
    assert not folder.exists()
    assert len(counted) == 2


def test_by_hand_where_nothing_can_be_written_nothing_is_kept(file, folder, counted):
    folder.write_text("a file where the folder should be")
    plain = read_roads(file, crs=UTM)
    for _ in range(2):
        same(plain, read_roads(file, crs=UTM, cache=folder))
    assert len(counted) == 3
    assert folder.read_text() == "a file where the folder should be"


def test_by_hand_a_full_disk_leaves_nothing_behind(file, folder, counted, monkeypatch):
    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    read_roads(file, crs=UTM, cache=folder)
    assert list(folder.iterdir()) == []


def test_by_hand_a_file_that_changes_while_it_is_read_is_not_kept(file, folder, monkeypatch):
    read = roads._read

    def slow(path: Path, crs: CRS) -> RoadData:
        data = read(path, crs)
        path.write_text(district(note="changed"), "utf-8")
        return data

    monkeypatch.setattr(roads, "_read", slow)
    read_roads(file, crs=UTM, cache=folder)
    assert not folder.exists()


def test_by_hand_what_may_not_be_read_is_refused_with_or_without(tmp_path, folder):
    (tmp_path / "bad.osm").write_text("<!DOCTYPE osm><osm/>")
    for cache in (None, folder):
        with pytest.raises(InputError, match="DOCTYPE"):
            read_roads(tmp_path / "bad.osm", crs=UTM, cache=cache)
