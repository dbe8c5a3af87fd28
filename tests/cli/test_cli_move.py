"""``fieldmap move``: the way in steps, the time it begins, the files it writes. By hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from cli_printed import Printed

Run = Callable[..., Printed]
DAY = "2026-06-09"


@pytest.fixture
def asked(run: Run, demo_farm: Path, tmp_path: Path) -> Callable[..., Printed]:
    """A move of the demo farm, from home to S5 with the wide mower."""

    def moved(*more: str) -> Printed:
        words = ("--from", "home", "--to", "S5", "--machine", "wide-87", "--date", DAY)
        return run("move", demo_farm, *words, "--out", tmp_path, *more)

    return moved


def test_the_way_is_printed_in_steps(asked: Callable[..., Printed]) -> None:
    lines = asked().out.splitlines()
    head = next(n for n, line in enumerate(lines) if line.startswith("step"))
    first = lines[head + 1]
    assert first.startswith("1     From home go west on an unnamed service road")
    numbers = [line.split()[0] for line in lines[head + 1 : lines.index("", head)]]
    assert numbers == [str(n) for n in range(1, len(numbers) + 1)]
    assert "Arrive at S5" in lines[head + len(numbers)]


def test_sheet_and_page_are_named_and_there(asked: Callable[..., Printed]) -> None:
    out = asked().out
    for word in ("sheet for the cab: ", "open "):
        path = Path(out.rsplit(word, 1)[1].splitlines()[0].strip())
        assert path.is_file()
        assert ("-sheet.html" in path.name) == (word != "open ")


def test_the_time_it_begins_gives_light(asked: Callable[..., Printed]) -> None:
    """12 minutes on the road from 06:00; the sun of that day stands in the JSON."""
    sun = asked("--at", "06:00", "--json").json()["result"]["sun"]
    assert sun["at"] == f"{DAY}T06:00:00-05:00"
    assert sun["until"] > sun["at"]
    assert sun["sunrise"] < sun["at"] < sun["sunset"]
    assert asked("--json").json()["result"]["sun"] is None


@pytest.mark.parametrize("text", ["25:00", "7", "noon", "06:00:00", ""])
def test_what_is_no_time_is_refused(asked: Callable[..., Printed], text: str) -> None:
    printed = asked("--at", text, "--json")
    assert printed.code == 2
    assert printed.faults()[0]["what"] == "--at is not a time of day"
    assert printed.faults()[0]["mend"] == "write it as 07:30"


def test_an_hour_that_the_clocks_leave_out_is_refused(run: Run, demo_farm: Path) -> None:
    """On 2026-03-08 the clocks of the demo go from 02:00 to 03:00."""
    words = ("move", demo_farm, "--from", "home", "--to", "S5", "--date", "2026-03-08")
    printed = run(*words, "--at", "02:30", "--json")
    assert printed.code == 2
    assert "leave this time out" in printed.faults()[0]["what"]
