"""``fieldmap what-if``: what it prints, refuses, writes when asked, and leaves alone."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path

from cli_printed import DAY, Printed
from json_schemas import document
from jsonschema import Draft202012Validator

Run = Callable[..., Printed]
BASE = ("--date", DAY, "--machine", "pull-39")


def held(printed: Printed) -> dict:
    """The result, held to its schema."""
    found = printed.json()
    Draft202012Validator(document("what-if")).validate(found)
    return found["result"]


def test_by_hand_cleared_marks_are_told_with_the_caution_first(run: Run, demo_farm: Path) -> None:
    """By hand: S4's five marks may be picked up; nothing is written when no --out is given."""
    before = sorted(demo_farm.rglob("*"))
    words = ("what-if", demo_farm, "--field", "S4", "--field", "S8", "--cleared", "all", *BASE)
    printed = run(*words)
    assert printed.code == 0
    lines = printed.out.splitlines()
    assert lines[0].startswith("WARNING: a mark cleared on paper is not a cleared field")
    assert "5 marks are taken as cleared" in lines[2]
    (s4,) = (line for line in lines if line.startswith("S4 ") and " -> " in line)
    assert "stop -> " in s4
    assert any(line.split()[0] == "S8" and "unchanged" in line for line in lines if line)
    figure = next(line for line in lines if "marks that reach the field" in line)
    assert figure.split()[-3:] == ["5", "0", "-5"]
    assert lines[-1].startswith("2 fields: 0 worse, 1 better, 0 with the same answer")
    assert "safe" not in printed.out.lower()
    assert sorted(demo_farm.rglob("*")) == before
    strict = run("what-if", demo_farm, "--field", "S1", "--cleared", "all", *BASE, "--strict")
    assert strict.code == 4  # the drums of S1 are not wished away
    assert "must not be touched" in strict.err


def test_by_hand_json_and_files_say_the_same(run: Run, demo_farm: Path, tmp_path: Path) -> None:
    """By hand: a machine, a shoe and knives at once; three files, each of them whole."""
    change = ("--other-machine", "rear-3", "--skid-shoe", "high", "--knives", "low-lift")
    words = ("what-if", demo_farm, "--field", "S8", "--field", "S4", *change, *BASE)
    result = held(run(*words, "--out", tmp_path / "w", "--json"))
    assert (result["machine"], result["machine_then"]) == ("pull-39", "rear-3")
    assert len(result["assumed"]) == 3
    assert [Path(name).name for name in result["files"]] == [
        "what_if.html", "what_if.csv", "what_if.json",
    ]  # fmt: skip
    told = json.loads((tmp_path / "w" / "what_if.json").read_text("utf-8"))
    assert told == {key: value for key, value in result.items() if key != "files"}
    rows = list(csv.DictReader((tmp_path / "w" / "what_if.csv").read_text("utf-8").splitlines()))
    assert [row["field_id"] for row in rows] == [one["field_id"] for one in result["fields"]]
    for row, one in zip(rows, result["fields"], strict=True):
        assert row["skid_shoe_after"] == "high"
        assert float(row["cut_height_m_after"]) == 0.1
        (height,) = (held for held in one["figures"] if held["figure"] == "cut_height_m")
        assert (height["after"], row["change"]) == (0.1, one["change"])
    page = (tmp_path / "w" / "what_if.html").read_bytes()
    again = held(run(*words, "--out", tmp_path / "w", "--json"))
    assert again == result
    assert (tmp_path / "w" / "what_if.html").read_bytes() == page


def test_by_hand_somebody_elses_file_is_left(run: Run, demo_farm: Path, tmp_path: Path) -> None:
    """By hand: a page of that name that fieldmap did not write."""
    (tmp_path / "what_if.html").write_text("mine")
    words = ("what-if", demo_farm, "--field", "S4", "--cleared", "F28", *BASE, "--out", tmp_path)
    assert run(*words).code == 3
    assert (tmp_path / "what_if.html").read_text() == "mine"
    assert not (tmp_path / "what_if.csv").exists()
    assert run(*words, "--overwrite").code == 0


def test_by_hand_misuse_ends_with_2_and_names(run: Run, demo_farm: Path, tmp_path: Path) -> None:
    """By hand: nothing to change; a machine, shoe, knife, mark, field and day that are not."""
    for wrong, said in (
        ((), "--other-machine, --skid-shoe, --knives or --cleared"),
        (("--other-machine", "big"), "rear-3, pull-39, wide-87"),
        (("--skid-shoe", "tall"), "base, middle, high"),
        (("--knives", "blunt"), "low_lift, high_lift"),
        (("--cleared", "Z9"), "hazards list"),
        (("--cleared", "all", "--field", "S99"), "S1, S2"),
        (("--cleared", "all", "--date", "soon"), "2026-06-09"),
    ):
        words = ("what-if", demo_farm, "--machine", "pull-39", "--out", tmp_path / "no")
        refused = run(*words, *wrong, "--json")
        assert refused.code == 2, wrong
        assert said in str(refused.faults()), wrong
        assert not (tmp_path / "no").exists()


def test_by_hand_the_same_machine_changes_nothing(run: Run, demo_farm: Path) -> None:
    words = ("what-if", demo_farm, "--field", "S4", "--other-machine", "pull-39", *BASE)
    printed = run(*words)
    assert printed.code == 0
    assert "1 field: 0 worse, 0 better" in printed.out
    result = held(run(*words, "--json"))
    assert result["counts"] == {"worse": 0, "better": 0, "figures": 0, "none": 1}
    assert result["fields"][0]["findings"] == []
    assert all(one["difference"] in (0, None) for one in result["fields"][0]["figures"])
