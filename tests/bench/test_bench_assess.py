"""A whole assessment: fields a second with one process and two, time by step, peak memory.

1,000 invented fields with 50 marks each on a raster of 10 m, a flood, some walks, one machine of
which everything is known. Run with ``make bench``; state ratios.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date
from typing import Any

import pytest
from invented_fields import MARKS_A_FIELD, invented_fields

from fieldmap import assessment, field_answer, processes
from fieldmap.assessment import assess
from fieldmap.farm import Farm, load_farm
from fieldmap.risk import layers, lie

FIELDS, STEP_FIELDS, WARM_FIELDS = 1000, 200, 8
DAY = date(2026, 6, 9)
#: The steps whose share of the time is told; one inside another is told with its own name.
STEPS = {
    assessment: ("asked_of",),
    processes: ("ready",),
    field_answer: (
        "_heights", "field_looking", "what_is_left", "mowing", "field_layers",
        "with_strikes", "first_places", "mark_findings", "met_told", "looked_findings",
        "slope_findings", "lie_findings", "settings_told", "zones_of", "_picked", "picked",
    ),
    layers: ("lie_of", "chance_cells"),
    lie: ("work_over", "slope", "best_heading", "hollows", "drop_offs", "speeds", "water_cells"),
}  # fmt: skip


@pytest.fixture(scope="module", params=[5.0, 10.0], ids=["5 ha", "10 ha"])
def many(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Farm:
    """The farm, loaded, with the kernels compiled and in use."""
    folder = tmp_path_factory.mktemp("many")
    invented_fields(folder, count=FIELDS, hectares=request.param)
    farm = load_farm(folder)
    assert farm.fields["area_ha"].mean() == pytest.approx(request.param, rel=1e-3)
    assert len(farm.hazards) == MARKS_A_FIELD * FIELDS
    assess(farm, day=DAY, field_ids=list(farm.fields["field_id"][:WARM_FIELDS]), workers=1)
    return farm


@pytest.mark.benchmark(group="1,000 fields with 50 marks each: reading the farm folder")
def test_bench_many_load(benchmark: Callable, many: Farm) -> None:
    assert len(benchmark.pedantic(lambda: load_farm(many.folder), rounds=2).fields) == FIELDS


@pytest.mark.benchmark(group="1,000 fields with 50 marks each: assessing them")
@pytest.mark.parametrize("workers", [1, 2])
def test_bench_many_assess(benchmark: Callable, many: Farm, workers: int) -> None:
    found = benchmark.pedantic(lambda: assess(many, day=DAY, workers=workers), rounds=2)
    assert [one.field_id for one in found.answers] == many.fields["field_id"].tolist()
    assert min(len(one.marks) for one in found.answers) >= MARKS_A_FIELD
    a_second = FIELDS / benchmark.stats.stats.min
    benchmark.extra_info["fields_a_second"] = round(a_second)
    sys.stdout.write(f"\n{workers} processes: {a_second:.0f} fields a second\n")


@contextmanager
def timed(spent: dict[str, float]) -> Iterator[None]:
    """Adds up what the steps take, less what the steps inside them take."""
    inside = [0.0]

    def clocked(name: str, step: Callable[..., Any]) -> Callable[..., Any]:
        def run(*args: Any, **named: Any) -> Any:
            inside.append(0.0)
            begun = time.perf_counter()
            try:
                return step(*args, **named)
            finally:
                took = time.perf_counter() - begun
                spent[name] += took - inside.pop()
                inside[-1] += took

        return run

    with pytest.MonkeyPatch.context() as patch:
        for room, names in STEPS.items():
            for name in names:
                patch.setattr(room, name, clocked(name, getattr(room, name)))
        yield


@pytest.mark.benchmark(group="200 fields with 50 marks each: time by step")
def test_bench_many_steps(benchmark: Callable, many: Farm) -> None:
    some = many.fields["field_id"][:: FIELDS // STEP_FIELDS].tolist()
    spent: dict[str, float] = defaultdict(float)

    def run() -> float:
        spent.clear()
        begun = time.perf_counter()
        with timed(spent):
            assess(many, day=DAY, field_ids=some, workers=1)
        return time.perf_counter() - begun

    whole = benchmark.pedantic(run, rounds=2)
    assert 0.5 * whole < sum(spent.values()) <= whole
    shares = sorted(spent.items(), key=lambda pair: -pair[1])
    lines = [f"{100 * took / whole:5.1f} %  {name}" for name, took in shares]
    rest = 100 * (1 - sum(spent.values()) / whole)
    sys.stdout.write("\n" + "\n".join([*lines, f"{rest:5.1f} %  all else"]) + "\n")


MEMORY = """
import resource, sys
from datetime import date
from fieldmap.assessment import assess
from fieldmap.farm import load_farm
done = assess(load_farm(sys.argv[1]), day=date(2026, 6, 9), workers=int(sys.argv[2]))
assert len(done.answers) == int(sys.argv[3])
own, others = (resource.getrusage(whose).ru_maxrss for whose in (0, resource.RUSAGE_CHILDREN))
print(own // 1024, others // 1024)
"""


@pytest.mark.benchmark(group="1,000 fields with 50 marks each: peak memory")
@pytest.mark.parametrize("workers", [1, 2])
def test_bench_many_memory(benchmark: Callable, many: Farm, workers: int) -> None:
    """Of the process that asks, and of the largest of the others."""

    def run() -> list[int]:
        asked = [sys.executable, "-c", MEMORY, many.folder, str(workers), str(FIELDS)]
        # through a shell: a child begins with the peak of the process it is started from
        shell = ["sh", "-c", '"$0" "$@"; exit $?', *asked]
        out = subprocess.run(shell, check=True, capture_output=True, text=True)
        return [int(held) for held in out.stdout.split()]

    own_mb, other_mb = benchmark.pedantic(run, rounds=1)
    sys.stdout.write(f"\n{workers} processes: {own_mb} MB, the other one {other_mb} MB\n")
    assert own_mb < 3000
