"""``fieldmap road-checks`` by hand: what is written, what is refused, and that nothing is half."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import Printed
from json_schemas import document
from jsonschema import Draft202012Validator

from fieldmap.farm import load_farm

Run = Callable[..., Printed]
LEFT_OUT = shutil.ignore_patterns("makers", "pictures", "*.py", "outputs")
ADD = ("--place", "way/2148", "--kind", "width", "--value", "17", "--unit", "ft", "--who", "Ines")


@pytest.fixture
def farm(demo_geodata: Path, tmp_path: Path) -> Path:
    """The invented farm with its roads; a test may spoil it."""
    return shutil.copytree(demo_geodata, tmp_path / "farm", ignore=LEFT_OUT)


def result(printed: Printed) -> dict:
    found = printed.json()
    Draft202012Validator(document("road-checks")).validate(found)
    assert printed.code == 0
    return found["result"]


def test_by_hand_what_stands_is_listed(run: Run, farm: Path) -> None:
    found = result(run("road-checks", farm, "--json"))
    assert found["file"] == "road_checks.csv"
    assert found["written"] == []
    assert [one["place"] for one in found["road_checks"]] == [
        "way/2148", "way/2141", "way/2174", "node/10807",
    ]  # fmt: skip
    assert {one["counts"] for one in found["road_checks"]} == {"newest"}
    assert "Reed Road" in run("road-checks", farm, "list").out


def test_by_hand_rows_that_stand_stay_byte_for_byte(run: Run, farm: Path) -> None:
    path = farm / "road_checks.csv"
    path.write_bytes(
        b"\xef\xbb\xbfkind;Place;Value;Unit;own;who;When\r\n"
        b'width;way/2141;"4,4";m;"a;b";Ines;3.5.2026\r\nmass;way/2174;24;t;;Bo;2026-05-06'
    )
    path.write_bytes(path.read_bytes().replace(b"3.5.2026", b"2026-05-03"))
    stood = path.read_bytes()
    found = result(run("road-checks", farm, "add", *ADD, "--date", "2026-06-01", "--json"))
    assert path.read_bytes() == stood + b"\r\nwidth;way/2148;17;ft;;Ines;2026-06-01\r\n"
    assert found["written"][0]["value"] == "17"
    assert found["road_checks"][-1]["value"] == pytest.approx(5.1816)
    assert load_farm(farm).road_checks["value"].tolist() == pytest.approx([4.4, 24000.0, 5.1816])


def test_by_hand_the_first_measure_makes_the_file(run: Run, farm: Path) -> None:
    (farm / "road_checks.csv").unlink()
    toml = (farm / "farm.toml").read_text("utf-8")
    (farm / "farm.toml").write_text(toml.replace('road_checks = "road_checks.csv"\n', ""), "utf-8")
    assert "nobody measured anything" in run("road-checks", farm).out
    assert result(run("road-checks", farm, "--json"))["file"] is None
    printed = run("road-checks", farm, "add", *ADD)
    assert 'put road_checks = "road_checks.csv" under [files] in farm.toml' in printed.err
    assert "17.0 ft" in printed.out
    assert load_farm(farm).road_checks["place"].tolist() == ["way/2148"]  # read without the line


def test_by_hand_a_newer_row_makes_an_older_one_old(run: Run, farm: Path) -> None:
    found = result(run("road-checks", farm, "add", *ADD, "--date", "2026-06-01", "--json"))
    told = [(one["place"], one["counts"]) for one in found["road_checks"]]
    assert told[0] == ("way/2148", "older")
    assert told[-1] == ("way/2148", "newest")


def test_by_hand_figures_of_one_day_that_differ_are_told(run: Run, farm: Path) -> None:
    run("road-checks", farm, "add", *ADD, "--date", "2026-06-01")
    wider = [word if word != "17" else "19" for word in ADD]
    printed = run("road-checks", farm, "add", *wider, "--date", "2026-06-01")
    assert "the least favourable one counts" in printed.err


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"--place": "way/21480"}, "way/2148"),
        ({"--place": "leg/2148-99"}, "leg/2148-0"),
        ({"--place": "2148"}, "not a place"),
        ({"--kind": "depth"}, "surface, turn, grade"),
        ({"--value": "wide"}, "not a number"),
        ({"--value": "1900"}, "not a width"),
        ({"--unit": "yd"}, "m, ft, in"),
        ({"--unit": None}, "say which it is: --unit"),
        ({"--who": None}, "--who missing"),
        ({"--date": "2199-01-01"}, "not come yet"),
        ({"--date": "yesterday"}, "not a day"),
        ({"--kind": "grade", "--value": "yes", "--unit": None}, "no machine named"),
        ({"--kind": "grade", "--value": "yes", "--unit": None, "--machine": "nos"}, "rear-3"),
    ],
)
def test_by_hand_what_cannot_be_right_is_not_written(
    run: Run, farm: Path, changed: dict[str, str | None], said: str
) -> None:
    stood = (farm / "road_checks.csv").read_bytes()
    options = dict(zip(ADD[::2], ADD[1::2], strict=True)) | changed
    words = [word for pair in options.items() if pair[1] is not None for word in pair]
    printed = run("road-checks", farm, "add", *words, "--json")
    assert printed.code in (2, 3)
    assert said in str(printed.faults())
    assert (farm / "road_checks.csv").read_bytes() == stood


@pytest.mark.parametrize(
    "words",
    [
        ("list", "--who", "Ines"),
        ("list", "some.csv"),
        ("import",),
        ("import", "some.csv", "--value", "4"),
        ("add", "some.csv", *ADD),
        ("measure",),
    ],
)
def test_by_hand_words_that_do_not_go_together(run: Run, farm: Path, words: tuple) -> None:
    printed = run("road-checks", farm, *words, "--json")
    assert printed.code == 2
    assert printed.faults()


SAVED = """place,kind,value,unit,who,when
way/2148,width,5.1,m,Ada,2026-06-01
node/10807,access,yes,,Ada,2026-06-01
way/2174,grade,yes,,=Ada,2026-06-01
"""


def test_by_hand_a_file_is_imported_once(run: Run, farm: Path, tmp_path: Path) -> None:
    """By hand: what a page saves; the machine is named once for what needs one."""
    saved = tmp_path / "saved.csv"
    saved.write_text(SAVED, "utf-8")
    stood = (farm / "road_checks.csv").read_text("utf-8").splitlines()
    refused = run("road-checks", farm, "import", saved, "--json")
    assert "no machine named" in str(refused.faults())
    words = ("road-checks", farm, "import", saved, "--machine", "rear-3")
    found = result(run(*words, "--json"))
    assert [one["machine"] for one in found["written"]] == ["", "", "rear-3"]
    table = load_farm(farm).road_checks
    assert table["value"].tolist()[-3:] == [5.1, 1.0, 1.0]
    assert table["who"].tolist()[-1] == "=Ada"
    assert "'=Ada" in (farm / "road_checks.csv").read_text("utf-8")  # no formula in a spreadsheet
    again = run(*words)
    assert "3 of 3 stood there already" in again.out
    assert len(load_farm(farm).road_checks) == len(stood) - 1 + 3


def test_by_hand_a_row_that_stands_twice_in_a_file_is_written_once(
    run: Run, farm: Path, tmp_path: Path
) -> None:
    saved = tmp_path / "saved.csv"
    head, row, *_ = SAVED.splitlines(keepends=True)
    saved.write_text(head + row + row, "utf-8")
    found = result(run("road-checks", farm, "import", saved, "--json"))
    assert [one["value"] for one in found["written"]] == ["5.1"]


def test_by_hand_one_bad_row_keeps_the_whole_file_out(run: Run, farm: Path, tmp_path: Path) -> None:
    saved = tmp_path / "saved.csv"
    bad = "way/99,width,5,m,Ada,2026-06-01\nway/2148,width,8,,Ada,2026-06-01\n"
    saved.write_text(SAVED + bad, "utf-8")
    stood = (farm / "road_checks.csv").read_bytes()
    printed = run("road-checks", farm, "import", saved, "--machine", "rear-3", "--json")
    assert printed.code == 3
    assert [one["where"] for one in printed.faults()] == ["saved.csv row 5", "saved.csv row 6"]
    assert (farm / "road_checks.csv").read_bytes() == stood


def test_by_hand_a_farm_without_roads(run: Run, own_farm: Path) -> None:
    printed = run("road-checks", own_farm, "add", *ADD, "--json")
    assert printed.code == 3
    assert "no roads" in str(printed.faults())


def test_by_hand_what_was_measured_reaches_the_move(run: Run, farm: Path, tmp_path: Path) -> None:
    """By hand: doing what the survey list of a move asks empties the list."""
    words = ("move", farm, "--from", "home", "--to", "S8", "--machine", "rear-3", "--json")
    before = run(*words, "--out", tmp_path / "a").json()["result"]["survey"]
    asked = [one for one in before if one["kind"]]
    assert asked
    for one in asked:
        value = "yes" if one["must_beat"] is None else str(one["must_beat"] * 1.01)
        unit = ("--unit", one["unit"]) if one["unit"] else ()
        machine = ("--machine", "rear-3") if one["kind"] in ("turn", "grade") else ()
        told = ("--place", one["place"], "--kind", one["kind"], "--value", value, "--who", "Ada")
        assert run("road-checks", farm, "add", *told, *unit, *machine).code == 0
    after = run(*words, "--out", tmp_path / "b").json()["result"]["survey"]
    done = {(one["place"], one["kind"]) for one in asked}
    assert not done & {(one["place"], one["kind"]) for one in after}
