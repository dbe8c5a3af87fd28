"""What reaches the terminal: no control character out of a person's file, any encoding."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import Printed
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.cli.reply import columns, envelope, err, one_line, out, plain, print_json

Run = Callable[..., Printed]
NASTY = "\x1b]0;owned\x07 \x9b31m \u202egnp.exe \r\n\x7f \u2028"


def bare(text: str) -> bool:
    return all(letter.isprintable() or letter == "\n" for letter in text)


def test_by_hand_notes_from_a_file_cannot_drive_the_terminal(run: Run, own_farm: Path) -> None:
    path = own_farm / "nasty.csv"
    path.write_bytes(
        f'lon,lat,kind,who,note\n-92.93,40.612,"{NASTY}","{NASTY}","{NASTY}"\n'.encode()
    )
    taken = run("hazards", "import", own_farm, path)
    assert taken.code == 0
    assert bare(taken.out)
    assert bare(taken.err)
    listed = run("hazards", "list", own_farm)
    assert bare(listed.out)
    assert "owned" in listed.out
    as_json = run("hazards", "list", own_farm, "--json")
    assert bare(as_json.out)
    (found,) = as_json.json()["result"]["hazards"]["features"]
    assert found["properties"]["note"] == NASTY


def test_by_hand_faults_and_words_of_the_command_too(run: Run, own_farm: Path) -> None:
    for words in (
        ("check", own_farm / NASTY.replace("/", "")),
        ("values", NASTY),
        (NASTY,),
        ("assess", own_farm, "--field", NASTY),
        ("hazards", "import", own_farm, own_farm / f"{NASTY}.csv"),
    ):
        printed = run(*words)
        assert printed.code in (2, 3)
        assert bare(printed.out + printed.err)
        assert len((printed.out + printed.err).splitlines()) <= 2
        assert bare(run(*words, "--json").out)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252", "utf-8"])
def test_by_hand_a_terminal_of_another_encoding(
    monkeypatch: pytest.MonkeyPatch, encoding: str
) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(raw, encoding=encoding))
    held = envelope(result={"note": "Gräser 草 😀 \udcff"})
    out("Gräser 草 😀")
    print_json(held)
    sys.stdout.flush()
    line, _, document = raw.getvalue().decode(encoding).partition("\n")
    assert line.startswith("Gr")
    assert json.loads(document) == held


@given(text=st.text())
def test_property_lines_are_printable_and_one_line_is_one(text: str) -> None:
    assert plain(text).isprintable()
    assert len(plain(text)) == len(text)
    assert one_line(text).isprintable()
    assert "\n" not in "".join(columns([(text, text)], head=("a", "b")))


@given(note=st.text())
def test_property_json_says_the_same_and_prints_nothing_hidden(note: str) -> None:
    kept, sys.stdout = sys.stdout, io.StringIO()
    try:
        print_json(envelope(result={"note": note}))
        printed = sys.stdout.getvalue()
    finally:
        sys.stdout = kept
    assert json.loads(printed)["result"]["note"] == note
    assert bare(printed)


def test_by_hand_err_is_for_words(capsys: pytest.CaptureFixture[str]) -> None:
    err("a\x1b[2Jb")
    assert capsys.readouterr() == ("", "a [2Jb\n")
