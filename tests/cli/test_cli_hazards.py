"""``fieldmap hazards``: all of the files or none, nothing twice, no word of the finder changed."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import Printed

Run = Callable[..., Printed]
NOTE = '<script>alert("x")</script> \'single\' & "double",\r\nsecond line; ünïcode 草 '
LON, LAT = -92.93, 40.612


def csv_file(path: Path, *rows: str) -> Path:
    path.write_bytes("\n".join(("lon,lat,kind,id,note", *rows)).encode() + b"\n")
    return path


def listed(run: Run, folder: Path) -> list[dict]:
    return run("hazards", "list", folder, "--json").json()["result"]["hazards"]["features"]


def test_by_hand_a_note_comes_back_unchanged_from_every_format(run: Run, own_farm: Path) -> None:
    quoted = NOTE.replace('"', '""')
    csv_file(own_farm / "a.csv", f'{LON},{LAT},stone,C,"{quoted}"')
    shape = {"type": "Point", "coordinates": [LON, LAT]}
    told = {"kind": "stone", "id": "J", "note": NOTE}
    one = {"type": "Feature", "properties": told, "geometry": shape}
    (own_farm / "b.geojson").write_text(
        json.dumps({"type": "FeatureCollection", "features": [one]})
    )
    printed = run("hazards", "import", own_farm, own_farm / "a.csv", own_farm / "b.geojson")
    assert printed.code == 0
    found = {row["properties"]["hazard_id"]: row for row in listed(run, own_farm)}
    assert set(found) == {"C", "J"}
    for row in found.values():
        assert row["properties"]["note"] == NOTE
        assert row["geometry"]["coordinates"] == [LON, LAT]


def test_by_hand_the_same_file_twice_adds_nothing(run: Run, own_farm: Path) -> None:
    files = sorted((own_farm / "found").glob("*.*"))
    first = run("hazards", "import", own_farm, *files, "--json").json()["result"]["files"]
    before = listed(run, own_farm)
    second = run("hazards", "import", own_farm, *files)
    assert second.code == 0
    assert second.out.count(" 0 new") == len(files)
    assert listed(run, own_farm) == before
    assert len(before) == sum(one["new"] for one in first)


def test_by_hand_one_bad_file_and_nothing_is_imported(run: Run, own_farm: Path) -> None:
    good = csv_file(own_farm / "good.csv", f"{LON},{LAT},stone,A,fine")
    bad = csv_file(own_farm / "bad.csv", f"{LON},{LAT},stone,A,fine", "x,y,stone,B,", ",,post,C,")
    printed = run("hazards", "import", own_farm, good, bad, own_farm / "none.csv", "--json")
    assert printed.code == 3
    assert [fault["where"] for fault in printed.faults()] == [
        "bad.csv line 3",
        "bad.csv line 4",
        str(own_farm / "none.csv"),
    ]
    assert not (own_farm / "hazards.gpkg").exists()


def test_by_hand_finds_far_away_are_refused_by_row(run: Run, own_farm: Path) -> None:
    path = csv_file(own_farm / "far.csv", f"{LON},{LAT},stone,A,", "11.5,49.9,stone,B,")
    (fault,) = run("hazards", "import", own_farm, path, "--json").faults()
    assert fault["what"] == "finds far from every field"
    assert fault["where"].endswith("far.csv row 2")
    assert not (own_farm / "hazards.gpkg").exists()


def test_by_hand_swapped_finds_are_offered_the_cure(run: Run, own_farm: Path) -> None:
    path = csv_file(own_farm / "turned.csv", f"{LAT},{LON},stone,A,")
    (fault,) = run("hazards", "import", own_farm, path, "--json").faults()
    assert "--swap-xy" in fault["mend"]
    assert run("hazards", "import", own_farm, path, "--swap-xy").code == 0
    assert listed(run, own_farm)[0]["geometry"]["coordinates"] == [LON, LAT]


def test_by_hand_an_id_used_before_does_not_hide_the_older_find(run: Run, own_farm: Path) -> None:
    one = csv_file(own_farm / "one.csv", f"{LON},{LAT},stone,A,first")
    two = csv_file(own_farm / "two.csv", f"{LON},{LAT},post,A,second")
    assert run("hazards", "import", own_farm, one, two).code == 0
    found = {row["properties"]["note"]: row["properties"] for row in listed(run, own_farm)}
    names = {found[note]["hazard_id"] for note in ("first", "second")}
    assert len(names) == 2
    assert all(name.startswith("A~") for name in names)  # "A" alone would name either


def test_by_hand_finds_that_say_the_same_are_said(run: Run, own_farm: Path) -> None:
    path = csv_file(own_farm / "same.csv", *[f"{LON},{LAT},stone,,"] * 3)
    printed = run("hazards", "import", own_farm, path)
    assert "same.csv: 3 finds read, 1 new" in printed.out
    assert "2 finds say the same as another and count once" in printed.err


def test_by_hand_kinds_read_out_of_words_are_said(run: Run, own_farm: Path) -> None:
    path = csv_file(own_farm / "k.csv", f"{LON},{LAT},big old tires,A,", f"{LON},{LAT},blob,B,")
    printed = run("hazards", "import", own_farm, path)
    assert "note: k.csv: 1 x 'big old tires' taken as tyre" in printed.err
    assert "note: k.csv: 1 x 'blob' taken as unknown" in printed.err


def test_by_hand_a_foreign_database_for_a_log(run: Run, own_farm: Path) -> None:
    file = sqlite3.connect(own_farm / "hazards.gpkg")
    file.execute("CREATE TABLE mine (words TEXT)")
    file.commit()
    file.close()
    before = (own_farm / "hazards.gpkg").read_bytes()
    path = csv_file(own_farm / "a.csv", f"{LON},{LAT},stone,A,")
    for words in (("hazards", "list", own_farm), ("hazards", "import", own_farm, path)):
        printed = run(*words, "--json")
        assert printed.code == 3
        assert printed.faults()[0]["what"] == "not a hazard log"
    assert (own_farm / "hazards.gpkg").read_bytes() == before


def test_by_hand_a_log_that_cannot_be_written(
    run: Run, own_farm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = csv_file(own_farm / "a.csv", f"{LON},{LAT},stone,A,")

    def read_only(*_: object, **__: object) -> None:
        raise sqlite3.OperationalError("attempt to write a readonly database")

    monkeypatch.setattr("fieldmap.hazards.store.sqlite3.connect", read_only)
    printed = run("hazards", "import", own_farm, path, "--json")
    assert printed.code == 5
    assert "readonly" in printed.faults()[0]["value"]


def test_by_hand_a_log_spoilt_by_hand_is_told(run: Run, own_farm: Path) -> None:
    path = csv_file(own_farm / "a.csv", f"{LON},{LAT},stone,A,")
    assert run("hazards", "import", own_farm, path).code == 0
    for change in ("wkt = 'POINT (here)'", "time = 'soon'", "kind = 'frog'"):
        file = sqlite3.connect(own_farm / "hazards.gpkg")
        (kept,) = file.execute("SELECT wkt, time, kind FROM events").fetchall()
        file.execute(f"UPDATE events SET {change}")  # noqa: S608 - words of this test
        file.commit()
        printed = run("hazards", "list", own_farm, "--json")
        assert printed.code == 3
        assert printed.faults()[0]["where"].endswith("hazards.gpkg")
        file.execute("UPDATE events SET wkt = ?, time = ?, kind = ?", kept)
        file.commit()
        file.close()
    assert len(listed(run, own_farm)) == 1
