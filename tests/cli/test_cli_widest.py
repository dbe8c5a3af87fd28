"""``fieldmap widest`` by hand: its answer, its files, what it refuses; and that it is a move's."""

from __future__ import annotations

import csv
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import DAY, Printed
from json_schemas import document
from jsonschema import Draft202012Validator

from fieldmap.farm import load_farm
from fieldmap.finding import rank
from fieldmap.journey import plan_move
from fieldmap.reaching import Reaching, who_reaches

Run = Callable[..., Printed]
LEFT_OUT = shutil.ignore_patterns("makers", "pictures", "*.py", "outputs")


def result(printed: Printed) -> dict:
    found = printed.json()
    Draft202012Validator(document("widest")).validate(found)
    return found["result"]


@pytest.fixture(scope="module")
def reached(demo_farm: Path) -> Reaching:
    return who_reaches(load_farm(demo_farm), start="home")


def test_by_hand_every_field_and_every_machine(run: Run, demo_farm: Path, tmp_path: Path) -> None:
    words = ("widest", demo_farm, "--from", "home", "--date", DAY, "--out", tmp_path)
    printed = run(*words, "--json", "--strict")
    found = result(printed)
    assert printed.code == 4  # not everything gets everywhere
    assert [one["name"] for one in found["places"]] == [f"S{n}" for n in range(1, 13)]
    assert all(len(one["machines"]) == 6 for one in found["places"])
    assert found["machine"] is None
    page, table, data = (Path(name) for name in found["files"])
    assert page.read_text("utf-8").count("<tr") > 24
    assert json.loads(data.read_text("utf-8")) == {
        key: held for key, held in found.items() if key != "files"
    }
    with table.open(encoding="utf-8", newline="") as file:
        assert len(list(csv.DictReader(file))) == 12 * 6
    again = result(run(*words, "--json"))  # over its own files, the same bytes
    assert again == found


def test_by_hand_words_in_the_farms_units(run: Run, demo_farm: Path, tmp_path: Path) -> None:
    printed = run("widest", demo_farm, "--from", "home", "--to", "S12", "--out", tmp_path)
    assert printed.code == 0
    assert "lift gate (node/10818)" in printed.out  # not measured: no machine for sure
    assert "Gander Road (way/2166)" in printed.out
    assert "11.5 ft" in printed.out  # 4.5 m at best, less half a metre on both sides
    assert "signs on the ground win" in printed.out
    assert "how the train turns is not in these widths" in printed.out


def test_by_hand_a_machine_as_high_and_heavy(run: Run, demo_farm: Path, tmp_path: Path) -> None:
    """By hand: more to hold against the road never makes a wider machine sure."""
    words = ("widest", demo_farm, "--from", "home", "--out", tmp_path, "--json")
    alone = result(run(*words))
    whole = result(run(*words, "--machine", "wide-87", "--state", "folded"))
    assert (whole["machine"], whole["state"]) == ("wide-87", "folded")
    assert {one["machine"] for place in whole["places"] for one in place["machines"]} == {"wide-87"}
    for one, other in zip(alone["places"], whole["places"], strict=True):
        for side in ("surely", "possibly"):
            assert (other[side]["width_m"] or 0.0) <= (one[side]["width_m"] or 60.0)


def test_property_surely_is_never_wider_than_possibly(reached: Reaching) -> None:
    for one in reached.places:
        assert one.widest is not None
        assert one.widest.surely.width_m <= one.widest.possibly.width_m


def test_property_an_answer_is_never_better_than_the_moves_own(
    reached: Reaching, demo_farm: Path
) -> None:
    """Property: a machine that is let through here is let through by the move's own search."""
    farm = load_farm(demo_farm)
    for one in reached.places[::4]:
        for cell in one.cells:
            move = plan_move(
                farm, start="home", goal=one.target.name, machine_id=cell.machine, state=cell.state
            )
            assert rank(cell.level) >= rank(move.states[cell.state])
            gates = {each.level for each in move.findings if each.what == "farm gate"}
            assert all(rank(cell.level) >= rank(level) for level in gates - {"care"})
            assert cell.length_km == pytest.approx(move.length_m / 1000.0)


def test_property_a_machine_let_through_is_no_wider_than_what_is_possible(
    reached: Reaching,
) -> None:
    widths = {
        (machine.id, state.name): state.width_m
        for machine in reached.farm.machines
        for state in machine.transport
    }
    met = set()
    for one in reached.places:
        for cell in one.cells:
            width_m = widths[cell.machine, cell.state]
            met.add(cell.level)
            if cell.level != "stop" and width_m is not None and one.widest is not None:
                assert width_m <= one.widest.possibly.width_m + 1e-6
            if cell.level == "ok" and width_m is not None and one.widest is not None:
                assert width_m <= one.widest.surely.width_m + 1e-6
    assert {"stop", "unknown"} <= met


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--to", "S1", "--to", "S1"), 2, "named twice"),
        (("--to", "home"), 2, "named twice"),
        (("--to", "nowhere"), 2, "no such place"),
        (("--to", "10,10"), 3, "too far from any road"),
        (("--machine", "nos"), 2, "rear-3"),
        (("--machine", "rear-3", "--state", "flat"), 2, "folded up"),
    ],
)
def test_by_hand_wrong_words(
    run: Run, demo_farm: Path, tmp_path: Path, words: tuple[str, ...], code: int, said: str
) -> None:
    printed = run("widest", demo_farm, "--from", "home", *words, "--out", tmp_path / "no", "--json")
    assert printed.code == code
    assert said in str(printed.faults())
    assert not (tmp_path / "no").exists()


def test_by_hand_all_faults_of_places_at_once(run: Run, demo_farm: Path) -> None:
    words = ("--to", "10,10", "--to", "20,20", "--json")
    printed = run("widest", demo_farm, "--from", "30,30", *words)
    assert len(printed.faults()) == 3


def test_by_hand_a_farm_without_roads(run: Run, own_farm: Path) -> None:
    printed = run("widest", own_farm, "--from", "40.6,-92.9", "--json")
    assert printed.code == 3
    assert "no roads" in str(printed.faults())


def test_by_hand_without_machines_the_widths_are_told(
    run: Run, demo_geodata: Path, tmp_path: Path
) -> None:
    """By hand: and a field that lies far from the roads is told, not left out."""
    farm = shutil.copytree(demo_geodata, tmp_path / "bare", ignore=LEFT_OUT)
    toml = (farm / "farm.toml").read_text("utf-8")
    bare = re.sub(r"(?m)^machines *=.*\n", "", toml)
    assert bare != toml
    near = bare.replace("[tables]", '[tables]\n"clearances.snap_m" = 9')
    (farm / "farm.toml").write_text(near, "utf-8")
    found = result(run("widest", farm, "--from", "home", "--out", tmp_path / "o", "--json"))
    assert all(one["machines"] == [] for one in found["places"])
    told = [(one["far"], one["surely"]["limited"]) for one in found["places"]]
    assert any("too far from any road" in far and limited == "no way" for far, limited in told)
    assert (tmp_path / "o" / "moves" / "widest-home.csv").read_text("utf-8").count("\n") == 13
