"""The set-up advice by itself: fields a second with one process and two, time by step.

1,000 invented fields of 5 ha with 50 marks each. The ground has been read and reckoned before:
what is timed is all that the advice adds to it (things met, every shoe with every knife, the
settings and their findings). ``test_bench_assess.py`` times the whole assessment. Run with
``make bench``; state ratios.
"""

from __future__ import annotations

import multiprocessing
import sys
import time
from collections import defaultdict
from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from invented_fields import MARKS_A_FIELD, invented_fields

from fieldmap import field_answer, field_settings
from fieldmap.assessment import assess
from fieldmap.farm import load_farm

FIELDS, DAY = 1000, date(2026, 6, 9)
STEPS = ("mowing", "met_told", "settings_told")
INSIDE = (
    "conditions", "logged_things", "left_things", "set_up", "by_class", "tyre_findings",
    "climb_of", "power_findings", "field_speed_findings", "work_rate_findings",
)  # fmt: skip
Call = tuple[Callable[..., Any], tuple[Any, ...], dict[str, Any]]


@pytest.fixture(scope="module")
def calls(tmp_path_factory: pytest.TempPathFactory) -> list[list[Call]]:
    """What the advice is asked of each field, as a whole assessment asks it."""
    folder = tmp_path_factory.mktemp("advised")
    invented_fields(folder, count=FIELDS, hectares=5.0)
    farm = load_farm(folder)
    kept: list[Call] = []

    def keeping(step: Callable[..., Any]) -> Callable[..., Any]:
        def run(*args: Any, **named: Any) -> Any:
            kept.append((step, args, named))
            return step(*args, **named)

        return run

    with pytest.MonkeyPatch.context() as patch:
        for name in STEPS:
            patch.setattr(field_answer, name, keeping(getattr(field_answer, name)))
        done = assess(farm, day=DAY, workers=1)
    assert min(len(one.marks) for one in done.answers) >= MARKS_A_FIELD
    by_field = [kept[at : at + len(STEPS)] for at in range(0, len(kept), len(STEPS))]
    assert len(by_field) == FIELDS
    return by_field


def advise(by_field: list[list[Call]]) -> int:
    """All of the advice, anew; how many findings it is."""
    told = 0
    for calls_of_field in by_field:
        for step, args, named in calls_of_field:
            out = step(*args, **named)
            told += len(out.set_up.told) if step.__name__ == "mowing" else len(out)
    return told


def _one_of(half: int) -> int:
    return advise(_SHARED[half::2])


_SHARED: list[list[Call]] = []


@pytest.mark.benchmark(group="1,000 fields with 50 marks each: the advice by itself")
@pytest.mark.parametrize("processes", [1, 2])
def test_bench_advice(benchmark: Callable, calls: list[list[Call]], processes: int) -> None:
    """The processes are forked with the ground at hand: what comes back is a count."""
    _SHARED[:] = calls
    expected = advise(calls)
    with multiprocessing.get_context("fork").Pool(2) as pool:
        pool.map(_one_of, [0, 1])  # both have begun, and have their kernels

        def run() -> int:
            return advise(calls) if processes == 1 else sum(pool.map(_one_of, [0, 1]))

        assert benchmark.pedantic(run, rounds=3) == expected
    a_second = FIELDS / benchmark.stats.stats.min
    sys.stdout.write(f"\n{processes} processes: {a_second:.0f} fields a second\n")
    _SHARED.clear()


@pytest.mark.benchmark(group="1,000 fields with 50 marks each: the advice by step")
def test_bench_advice_steps(benchmark: Callable, calls: list[list[Call]]) -> None:
    spent: dict[str, float] = defaultdict(float)

    def clocked(name: str, step: Callable[..., Any]) -> Callable[..., Any]:
        def run(*args: Any, **named: Any) -> Any:
            begun = time.perf_counter()
            try:
                return step(*args, **named)
            finally:
                spent[name] += time.perf_counter() - begun

        return run

    def run() -> float:
        spent.clear()
        begun = time.perf_counter()
        with pytest.MonkeyPatch.context() as patch:
            for name in INSIDE:
                patch.setattr(field_settings, name, clocked(name, getattr(field_settings, name)))
            met = [(clocked("met_told", s) if s.__name__ == "met_told" else s, a, n)
                   for held in calls for s, a, n in held]  # fmt: skip
            advise([met])
        return time.perf_counter() - begun

    whole = benchmark.pedantic(run, rounds=2)
    assert 0.5 * whole < sum(spent.values()) <= whole
    shares = sorted(spent.items(), key=lambda pair: -pair[1])
    lines = [f"{100 * took / whole:5.1f} %  {name}" for name, took in shares]
    rest = 100 * (1 - sum(spent.values()) / whole)
    sys.stdout.write("\n" + "\n".join([*lines, f"{rest:5.1f} %  all else"]) + "\n")
