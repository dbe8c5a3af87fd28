"""Turns of a large invented network for one machine, first and later. ``make bench``."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np
import pytest

from fieldmap.machine import Machine, Transport
from fieldmap.roads.corner import needs
from fieldmap.roads.turn_check import turn_check
from fieldmap.roads.turns import turn_net
from fieldmap.tables import load_tables

sys.path.insert(0, str(Path(__file__).parents[1] / "roads"))
from turning_grid import noisy_grid

GROUP = "every turn of 25,000 ways against one machine"
MACHINE = Machine(
    id="a", name="a", kind="pull-type", wheelbase_m=2.75, hitch_offset_m=0.9, tongue_length_m=5.4,
    turning_radius_m=5.4,
    transport=(Transport(name="folded", width_m=3.0, height_m=3.0, length_m=11.2),),
)  # fmt: skip


@pytest.fixture(scope="module", name="network")
def _network():
    data = noisy_grid(140, 140)
    assert len(data.edges) > 25_000
    net = turn_net(data)
    low = np.random.default_rng(3).uniform(1.5, 8.0, 2 * len(data.edges))
    return data, net, low, low * 1.8


def _check(network):
    data, net, low, high = network
    return turn_check(data, net, low, high, MACHINE, MACHINE.transport[0], tables=load_tables())


@pytest.mark.benchmark(group=GROUP)
def test_bench_turns_of_a_machine_seen_before(benchmark, network) -> None:
    verdict = _check(network)
    assert set(np.unique(verdict.level)) == {0, 1, 2}
    assert len(benchmark.pedantic(lambda: _check(network), rounds=3).level) > 50_000


@pytest.mark.benchmark(group=GROUP)
def test_bench_turns_of_a_new_machine(benchmark, network) -> None:
    """Corners are reckoned anew; it must stay within a few times what the network itself takes."""

    def first():
        needs.cache_clear()
        return _check(network)

    first()
    assert len(benchmark.pedantic(first, rounds=3).level) > 50_000
    anew, again = _seconds(first), _seconds(lambda: _check(network))
    assert anew < 20.0 * again


def _seconds(call) -> float:
    begin = time.perf_counter()
    call()
    return time.perf_counter() - begin
