"""``fieldmap ledger`` and ``fieldmap poor-cut``: what is written is read, and told. By hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import DAY, Printed
from json_schemas import document
from jsonschema import Draft202012Validator

Run = Callable[..., Printed]


@pytest.fixture
def farm(own_farm: Path) -> Path:
    """A farm without a ledger."""
    (own_farm / "ledger.csv").unlink()
    return own_farm


def held(printed: Printed, command: str) -> dict:
    Draft202012Validator(document(command)).validate(printed.json())
    assert printed.code == 0, printed.out
    return printed.json()["result"]


def told(run: Run, folder: Path, *words: str) -> dict:
    return held(run("ledger", folder, *words, "--json"), "ledger")


def mown_ha(result: dict) -> float | None:
    return result["machines"][0]["findings"][0]["value"]


def test_by_hand_a_spring_in_the_ledger(run: Run, farm: Path) -> None:
    """By hand: no ledger, a change, two fields, half of one, a turning, a look."""
    pull = ("--machine", "pull-39")
    empty = told(run, farm, *pull)
    assert (empty["ledger"], empty["written"]) == (None, [])
    assert empty["machines"][0]["level"] == "unknown"
    made = run("ledger", farm, *pull, "--knives", "changed", "--date", "2026-05-01", "--json")
    assert held(made, "ledger")["ledger"] == "ledger.csv"
    (note,) = [one for one in made.json()["warnings"] if "was made" in one]
    assert 'ledger = "ledger.csv" under [files] in farm.toml' in note
    both = told(run, farm, *pull, "--mown", "S4", "--mown", "S8", "--date", "2026-05-02")
    assert [row["field_id"] for row in both["written"]] == ["S4", "S8"]
    assert mown_ha(both) == pytest.approx(6.04 + 14.24, abs=0.01)
    half = told(run, farm, *pull, "--mown", "S8", "--area-ha", "7", "--date", "2026-05-03")
    assert half["written"][0]["area_ha"] == 7.0
    assert mown_ha(half) == pytest.approx(27.27, abs=0.01)
    words = ("--knives", "turned", "--mown", "S4", "--who", "Ada", "--note", "=1+1")
    turned = told(run, farm, *pull, *words, "--date", "2026-05-04")
    assert [row["did"] for row in turned["written"]] == ["knives turned", "mown"]
    assert turned["written"][1]["note"] == "=1+1"
    assert mown_ha(turned) == pytest.approx(6.04, abs=0.01)
    told(run, farm, *pull, "--knives", "looked-at", "--date", "2026-05-05")
    assert len((farm / "ledger.csv").read_text("utf-8").splitlines()) == 8
    assert mown_ha(told(run, farm, *pull)) == pytest.approx(6.04, abs=0.01)
    everyone = told(run, farm)
    assert [one["machine"] for one in everyone["machines"]] == ["rear-3", "pull-39", "wide-87"]


def test_by_hand_what_was_written_is_read_without_the_key(run: Run, farm: Path) -> None:
    before = (farm / "farm.toml").read_bytes()
    run("ledger", farm, "--machine", "rear-3", "--mown", "S1")
    assert (farm / "farm.toml").read_bytes() == before
    notes = run("check", farm, "--json").json()["result"]["notes"]
    assert not any("no ledger" in note for note in notes)
    again = run("ledger", farm, "--machine", "rear-3", "--mown", "S1")
    assert "say the same, and both count" in again.err
    assert "was made" not in again.err


def test_by_hand_the_name_in_farm_toml_is_kept(run: Run, farm: Path) -> None:
    text = (farm / "farm.toml").read_text("utf-8")
    (farm / "farm.toml").write_text(text.replace("[files]\n", '[files]\nledger = "book.csv"\n'))
    made = run("ledger", farm, "--machine", "rear-3", "--knives", "changed", "--json")
    assert held(made, "ledger")["ledger"] == "book.csv"
    assert not any("was made" in note for note in made.json()["warnings"])
    assert (farm / "book.csv").is_file()
    assert not (farm / "ledger.csv").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--mown", "S1"), "no machine named"),
        (("--machine", "plough"), "no such machine"),
        (("--machine", "rear-3", "--mown", "S99"), "S99"),
        (("--machine", "rear-3", "--knives", "sharpened"), "sharpened"),
        (("--machine", "rear-3", "--mown", "S1", "--date", "2099-01-01"), "not come yet"),
        (("--machine", "rear-3", "--mown", "S1", "--date", "yesterday"), "not a day"),
        (("--machine", "rear-3", "--who", "Ada"), "nothing to write down"),
        (("--machine", "rear-3", "--area-ha", "3"), "nothing to write down"),
        (("--machine", "rear-3", "--mown", "S4", "--area-ha", "15"), "may be acres"),
    ],
)
def test_by_hand_wrong_words_write_nothing(
    run: Run, farm: Path, words: tuple[str, ...], said: str
) -> None:
    printed = run("ledger", farm, *words)
    assert printed.code == 2
    assert said in printed.err
    assert not (farm / "ledger.csv").exists()


def test_by_hand_a_spoilt_ledger_is_told_and_kept(run: Run, farm: Path) -> None:
    (farm / "ledger.csv").write_text("date,machine,did\n5 June,rear-3,mown\n", "utf-8")
    before = (farm / "ledger.csv").read_bytes()
    printed = run("ledger", farm, "--machine", "rear-3", "--mown", "S1")
    assert printed.code == 3
    assert "ledger.csv line 2" in printed.err
    assert (farm / "ledger.csv").read_bytes() == before


def test_by_hand_in_the_farms_units_with_the_caution(run: Run, demo_farm: Path) -> None:
    """By hand: 21.04 ha are 52.0 acres, 40 ha are 98.8; the farm has its log and no hit in it."""
    printed = run("ledger", demo_farm, "--machine", "pull-39", "--date", DAY, "--strict")
    assert printed.code == 0
    assert "52.0 ac" in printed.out
    assert "98.8 ac" in printed.out
    assert "take the key out" in printed.out
    assert run("ledger", demo_farm, "--date", DAY, "--strict").code == 4


def test_by_hand_poor_cut_goes_by_the_ledger_and_the_speed(run: Run, demo_farm: Path) -> None:
    words = ("poor-cut", demo_farm, "--machine", "pull-39", "--saw", "torn stems", "--date", DAY)
    result = held(run(*words, "--json"), "poor-cut")
    assert result["symptoms"] == [{"key": "ragged", "words": "ragged or torn stems"}]
    assert result["checks"][0]["what"] == "ground speed too fast"
    assert result["checks"][0]["level"] == "unknown"
    assert result["checks"][-1]["what"] == "back to the maker's own setting"
    fast = run(*words, "--speed-kmh", "20")
    assert "1. ground speed too fast (12 mph; limit 9 mph)" in fast.out
    assert "this machine's own field speed" in fast.out
    assert "no source" in fast.out
    (first, second, *_) = held(
        run("poor-cut", demo_farm, "--machine", "wide-87", "--saw", "lumps", "--json"), "poor-cut"
    )["checks"]
    assert (first["what"], second["what"]) == ("knives worn", "knives broken or missing")


def test_by_hand_poor_cut_lists_what_may_be_said(run: Run) -> None:
    result = held(run("poor-cut", "--list", "--json"), "poor-cut")
    assert len(result["symptoms"]) == 8
    assert (result["machine"], result["checks"]) == (None, [])
    assert "ragged or torn stems" in run("poor-cut", "--list").out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--saw", "frogs"), "frogs"),
        ((), "nothing was said of the cut"),
        (("--saw", "lumps", "--machine", "plough"), "no such machine"),
        (("--saw", "lumps", "--speed-kmh", "-3"), "--speed-kmh"),
    ],
)
def test_by_hand_poor_cut_misused(
    run: Run, demo_farm: Path, words: tuple[str, ...], said: str
) -> None:
    printed = run("poor-cut", demo_farm, *words)
    assert printed.code == 2
    assert said in printed.err
    assert run("poor-cut", *words).code == 2
