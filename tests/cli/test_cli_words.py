"""Every command with right and wrong words: exit codes, streams, and what is said. By hand."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import DAY, Printed

from fieldmap.cli import main
from fieldmap.cli.reply import Reply

Run = Callable[..., Printed]
COMMANDS = (
    "demo", "start", "check", "assess", "move", "day", "search", "values", "version", "hazards",
    "ledger", "poor-cut", "roads",
)  # fmt: skip
HAZARD_VERBS = ("add", "import", "say", "clear", "list", "twins", "merge", "unmerge", "export")
HAZARD_COMMANDS = tuple(f"hazards {verb}" for verb in HAZARD_VERBS)


@pytest.mark.parametrize("words", [(), ("--help",), ("-h",)])
def test_by_hand_help_names_every_command(run: Run, words: tuple[str, ...]) -> None:
    printed = run(*words)
    assert printed.code == 0
    assert printed.err == ""
    assert all(f"  {command} " in printed.out for command in COMMANDS)
    assert "..." not in printed.out.replace("[ARGS]...", "")


@pytest.mark.parametrize("command", [*COMMANDS, *HAZARD_COMMANDS])
def test_by_hand_each_command_explains_itself(run: Run, command: str) -> None:
    printed = run(*command.split(), "--help")
    assert (printed.code, printed.err) == (0, "")
    assert f"Usage: fieldmap {command}" in printed.out
    assert not [line for line in printed.out.splitlines() if "--" in line and "<list[" in line]


WRONG = [
    (("nosuch",), "No such command"),
    (("--nosuch",), "No such option"),
    (("hazards",), "Missing command"),
    (("hazards", "nosuch"), "No such command"),
    (("check",), "Missing argument 'FOLDER'"),
    (("check", "a", "b"), "unexpected extra argument"),
    (("start", "x"), "Missing option '--fields'"),
    (("move", "x", "--from", "home"), "Missing option '--to'"),
    (("assess", "x", "--date"), "requires an argument"),
    (("values", "nosuch"), "no table or row has this in its name"),
]


@pytest.mark.parametrize(("words", "said"), WRONG, ids=[" ".join(words) for words, _ in WRONG])
def test_by_hand_wrong_words_are_misuse(run: Run, words: tuple[str, ...], said: str) -> None:
    printed = run(*words)
    assert printed.code == 2
    assert printed.out == ""
    assert said in printed.err
    assert "to mend:" in printed.err
    if words[-1] in ("hazards", "--date"):  # there --json would be another word's
        return
    as_json = run(*words, "--json")
    assert (as_json.code, as_json.err) == (2, "")
    assert said in as_json.faults()[0]["what"] + as_json.faults()[0]["value"]


ASKED = [
    (("assess", "--field", "XX", "--field", "YY"), ["no such field", "no such field"]),
    (("assess", "--machine", "none"), ["no such machine"]),
    (("assess", "--date", "9.6.2026"), ["--date is not a day"]),
    (("assess", "--cluster", "garbage"), ["--cluster is not an address"]),
    (("move", "--from", "home", "--to", "nowhere"), ["no such place"]),
    (("move", "--from", "home", "--to", "nan,nan"), ["no such place"]),
    (("move", "--from", "home", "--to", "-92.93,40.6"), ["latitude and longitude look swapped"]),
    (("move", "--from", "home", "--to", "S1", "--state", "flying"), ["no such transport state"]),
    (("hazards list", "--kind", "frogs"), ["no such kind of hazard"]),
]


@pytest.mark.parametrize(("words", "whats"), ASKED, ids=[" ".join(words) for words, _ in ASKED])
def test_by_hand_asking_for_what_is_not_there(
    run: Run, demo_farm: Path, words: tuple[str, ...], whats: list[str]
) -> None:
    command, *options = words
    printed = run(*command.split(), demo_farm, *options, "--json")
    assert printed.code == 2
    assert [fault["what"] for fault in printed.faults()] == whats
    assert all(fault["mend"] for fault in printed.faults())


def test_by_hand_a_folder_that_is_no_farm(run: Run, tmp_path: Path) -> None:
    for words in (
        ("check", tmp_path),
        ("assess", tmp_path),
        ("move", tmp_path, "--from", "a", "--to", "b"),
        ("hazards", "list", tmp_path),
        ("hazards", "import", tmp_path, "x.csv"),
    ):
        assert run(*words, "--json").code == 3
        printed = run(*words)
        assert printed.code == 3
        assert "farm.toml: no such file" in printed.out + printed.err
        assert "fieldmap start" in printed.out + printed.err


def test_by_hand_the_demo_farm_checks_clean(run: Run, demo_farm: Path) -> None:
    printed = run("check", demo_farm)
    assert (printed.code, printed.err) == (0, "")
    assert printed.out.startswith("every input was read, no fault found\n")


def test_by_hand_check_tells_every_fault_of_every_file(run: Run, own_farm: Path) -> None:
    (own_farm / "farm.toml").write_text(
        'name = "x"\n[files]\nfields = "none.gpkg"\ngates = "gone.geojson"\n'
        'elevation = "fields.gpkg"\nmachines = "machines.toml"\nroads = "no.osm.pbf"\n'
        'flood = "gates.geojson"\nhazards = "machines.toml"\ntracks = ["none.gpx"]\n'
        'road_checks = "no.csv"\n[tables]\n"looking.nosuch" = 3\n',
        "utf-8",
    )
    (own_farm / "machines.toml").write_text("[[machine]]\n", "utf-8")
    printed = run("check", own_farm)
    assert printed.code == 3
    for name in (
        "none.gpkg", "gone.geojson", "fields.gpkg", "no.osm.pbf", "gates.geojson row 1",
        "none.gpx", "machine.1.id", "looking.nosuch", "not a hazard log", "no.csv",
    ):  # fmt: skip
        assert name in printed.out, name
    assert "faults to mend" in printed.out
    assert printed.err == ""


def test_by_hand_more_than_fifty_faults_are_counted(run: Run, own_farm: Path) -> None:
    one = '[[machine]]\nid = "m"\nname = "m"\nkind = "x"\n'
    (own_farm / "machines.toml").write_text(one * 60, "utf-8")
    printed = run("check", own_farm)
    assert printed.out.count("to mend: correct it") == 50
    assert "... and 10 more" in printed.out
    assert len(run("check", own_farm, "--json").faults()) == 60


def test_by_hand_strict_says_four_for_stop_or_unknown(run: Run, own_farm: Path) -> None:
    words = ("assess", own_farm, "--field", "S1", "--no-pages", "--date", DAY)
    assert run(*words).code == 0
    printed = run(*words, "--strict")
    assert printed.code == 4
    assert run("check", own_farm, "--strict").code == 4  # much is not there
    assert "written to" in printed.out


def test_by_hand_assess_and_move_do_what_they_say(
    run: Run, demo_farm: Path, tmp_path: Path
) -> None:
    printed = run("assess", demo_farm, "--field", "S1", "--date", DAY, "--out", tmp_path)
    assert printed.code == 0
    assert (tmp_path / "index.html").is_file()
    assert f"open {tmp_path / 'index.html'}" in printed.out
    assert "safe" not in printed.out.lower()
    moved = run("move", demo_farm, "--from", "home", "--to", "S5", "--machine", "wide-87",
                "--out", tmp_path, "--date", DAY)  # fmt: skip
    assert moved.code == 0
    assert "signs on the ground and the road authority decide" in moved.out
    assert Path(moved.out.rsplit("open ", 1)[1].strip()).is_file()


def test_by_hand_an_output_folder_that_is_a_file(run: Run, own_farm: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    printed = run("assess", own_farm, "--field", "S1", "--out", tmp_path / "file", "--json")
    assert printed.code == 5
    assert (tmp_path / "file").read_text() == "mine"
    assert printed.faults()[0]["where"]


def test_by_hand_relative_and_absolute_folders_answer_alike(
    run: Run, own_farm: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    absolute = run("check", own_farm, "--json").json()["result"]
    monkeypatch.chdir(own_farm)
    assert run("check", ".", "--json").json()["result"] == absolute
    monkeypatch.chdir(own_farm.parent)
    assert run("check", own_farm.name, "--json").json()["result"] == absolute


def _breaks(error: BaseException) -> Callable[..., Reply]:
    def command(*_: object, **__: object) -> Reply:
        raise error

    return command


@pytest.mark.parametrize(
    ("error", "code", "what"),
    [
        (KeyError("x"), 1, "fieldmap broke"),
        (OSError(errno.ENOSPC, "No space left on device", "/disk"), 5, "the disk said no"),
        (PermissionError(errno.EACCES, "Permission denied", "/disk"), 5, "the disk said no"),
        (KeyboardInterrupt(), 130, "stopped by hand"),
    ],
)
def test_by_hand_what_breaks_is_told_and_never_shown_as_a_traceback(
    run: Run, monkeypatch: pytest.MonkeyPatch, error: BaseException, code: int, what: str
) -> None:
    monkeypatch.setattr(main, "app", _breaks(error))
    printed = run("version")
    assert printed.code == code
    assert what in printed.err
    assert printed.out == ""
    as_json = run("version", "--json")
    assert (as_json.code, as_json.err) == (code, "")
    assert as_json.faults()[0]["what"] == what


def test_by_hand_debug_shows_the_traceback_and_keeps_the_answer(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(main, "app", _breaks(KeyError("x")))
    printed = run("version", "--json", "--debug")
    assert printed.code == 1
    assert "Traceback" in printed.err
    assert printed.faults()[0]["what"] == "fieldmap broke"


def test_by_hand_a_reader_that_goes_away_is_no_fault() -> None:
    asked = [sys.executable, "-c", "from fieldmap.cli.main import run; run(['values'])"]
    with subprocess.Popen(asked, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as started:
        assert started.stdout is not None
        assert started.stderr is not None
        started.stdout.close()
        assert started.stderr.read() == b""
        assert started.wait(30) == 0


@pytest.mark.skipif(os.name != "posix", reason="signals of POSIX")
def test_by_hand_ctrl_c_ends_with_one_line(tmp_path: Path) -> None:
    words = f"from fieldmap.cli.main import run; run(['demo', '--out', {str(tmp_path / 'd')!r}])"
    with subprocess.Popen(
        [sys.executable, "-c", words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as started:
        assert started.stderr is not None
        assert "reading the invented farm" in started.stderr.readline()
        time.sleep(0.05)
        started.send_signal(signal.SIGINT)
        out, err = started.communicate(timeout=30)
    assert started.returncode == 130
    assert out == ""
    assert "Traceback" not in err
    assert err.rstrip().splitlines()[-1].startswith("stopped by hand")
    assert not (tmp_path / "d" / "index.html").exists()
