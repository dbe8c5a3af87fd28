"""Files are written whole or not at all, and never over somebody's work."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.errors import InputError, StoreError
from fieldmap.write.names import page_name
from fieldmap.write.outputs import MANIFEST, Outputs


def write(folder: Path, files: dict[str, str], **options: object) -> None:
    with Outputs(folder, group="assess", **options) as out:
        for name, text in files.items():
            out.text(name, text)


def fail_half_way(folder: Path) -> None:
    with Outputs(folder, group="assess") as out:
        out.text("a.txt", "new")
        raise RuntimeError


def held(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): path.read_text("utf-8")
        for path in folder.rglob("*")
        if path.is_file() and path.name != MANIFEST
    }


def test_what_is_written_is_there_and_nothing_else(tmp_path: Path) -> None:
    """By hand: two files, one in a folder of its own; no partial folder stays."""
    write(tmp_path, {"a.txt": "one", "b/c.txt": "two"})
    assert held(tmp_path) == {"a.txt": "one", "b/c.txt": "two"}
    assert [path.name for path in tmp_path.iterdir() if path.is_dir()] == ["b"]


def test_an_error_half_way_leaves_the_old_files(tmp_path: Path) -> None:
    """By hand: the second run fails after its first file; the first run's files stand whole."""
    write(tmp_path, {"a.txt": "old", "b.txt": "old"})
    with pytest.raises(RuntimeError):
        fail_half_way(tmp_path)
    assert held(tmp_path) == {"a.txt": "old", "b.txt": "old"}


def test_our_own_files_are_replaced_and_stale_ones_taken_away(tmp_path: Path) -> None:
    """By hand: a field that is no longer assessed leaves no old answer behind."""
    write(tmp_path, {"fields/A.html": "stop", "fields/B.html": "ok"})
    write(tmp_path, {"fields/A.html": "care"})
    assert held(tmp_path) == {"fields/A.html": "care"}


def test_another_groups_files_stay(tmp_path: Path) -> None:
    """By hand: an assessment does not take a move's sheet away."""
    with Outputs(tmp_path, group="move home to S1") as out:
        out.text("moves/one.html", "unknown")
    write(tmp_path, {"a.txt": "one"})
    write(tmp_path, {"a.txt": "two"})
    assert held(tmp_path) == {"moves/one.html": "unknown", "a.txt": "two"}


def test_a_strangers_file_is_refused_by_name_all_at_once(tmp_path: Path) -> None:
    """By hand: two files that somebody else wrote; both are named, neither is touched."""
    (tmp_path / "a.txt").write_text("mine", "utf-8")
    (tmp_path / "b.txt").write_text("mine too", "utf-8")
    with pytest.raises(InputError) as caught:
        write(tmp_path, {"a.txt": "x", "b.txt": "y", "c.txt": "z"})
    assert [fault.value for fault in caught.value.faults] == ["a.txt", "b.txt"]
    assert held(tmp_path) == {"a.txt": "mine", "b.txt": "mine too"}
    write(tmp_path, {"a.txt": "x", "b.txt": "y", "c.txt": "z"}, overwrite=True)
    assert held(tmp_path)["a.txt"] == "x"


def test_a_file_changed_since_is_somebodys_work(tmp_path: Path) -> None:
    """By hand: notes written into our file are not lost."""
    write(tmp_path, {"fields.csv": "S1,stop"})
    (tmp_path / "fields.csv").write_text("S1,stop, my own note", "utf-8")
    with pytest.raises(InputError):
        write(tmp_path, {"fields.csv": "S1,ok"})
    assert held(tmp_path) == {"fields.csv": "S1,stop, my own note"}


def test_a_broken_manifest_loses_nothing(tmp_path: Path) -> None:
    """By hand: without knowing what it wrote, the tool holds every file to be a stranger's."""
    write(tmp_path, {"a.txt": "one"})
    (tmp_path / MANIFEST).write_text("{", "utf-8")
    with pytest.raises(InputError):
        write(tmp_path, {"a.txt": "two"})
    assert held(tmp_path) == {"a.txt": "one"}


def test_a_file_in_place_of_the_folder_is_a_disk_fault(tmp_path: Path) -> None:
    """By hand: exit code 5, and the words name the place."""
    place = tmp_path / "out"
    place.write_text("not a folder", "utf-8")
    with pytest.raises(StoreError) as caught:
        write(place, {"a.txt": "one"})
    assert caught.value.exit_code == 5
    assert "out" in str(caught.value)


def test_a_full_disk_is_a_disk_fault_and_leaves_the_old(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: fsync says there is no space; the old file stands, no partial folder stays."""
    write(tmp_path, {"a.txt": "old"})

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(StoreError, match="No space left"):
        write(tmp_path, {"a.txt": "new"})
    assert held(tmp_path) == {"a.txt": "old"}
    assert not list(tmp_path.glob(".fieldmap-partial*"))


def test_the_manifest_names_digests(tmp_path: Path) -> None:
    """Referee: hashlib on the written file."""
    import hashlib

    write(tmp_path, {"a.txt": "one"})
    manifest = json.loads((tmp_path / MANIFEST).read_text("utf-8"))
    assert manifest == {"assess": {"a.txt": hashlib.sha256(b"one").hexdigest()}}


@given(st.lists(st.text(min_size=1, max_size=90), unique=True, min_size=2, max_size=8))
def test_page_names_never_clash_and_never_leave_the_folder(words: list[str]) -> None:
    """Property: any ids give different plain file names."""
    names = [page_name(word) for word in words]
    assert len(set(names)) == len(names)
    for name in names:
        assert name
        assert set(name) <= set("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")
