"""A network with what every machine needs of it worked out once, and the checks of one machine."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from fieldmap.machine import Machine, Transport
from fieldmap.network import RoadData
from fieldmap.roads.checks import Checked, Ground, check_ground, ground_of
from fieldmap.roads.choose import fewest_costs, places_to_measure, sure_costs
from fieldmap.roads.facts import OnRoad, on_road
from fieldmap.roads.grades import grade_check, inclines_on
from fieldmap.roads.measured import Measured, lay
from fieldmap.roads.search import Costs
from fieldmap.roads.train import Trains, trains_of
from fieldmap.roads.turn_check import Trials, trials_of, turn_check
from fieldmap.roads.turns import TurnNet, turn_net
from fieldmap.roads.verdict import Floats, Verdict
from fieldmap.tables import Tables


@dataclass(frozen=True, eq=False)
class District:
    """Roads, the turns between them, their tags in columns, and what somebody measured there.

    ``grades`` are the ends of the band of the steepest fall of each directed leg (percent), as
    :mod:`fieldmap.roads.profile` reads them; ``None`` without elevation, and then no grade is
    looked at.
    """

    data: RoadData
    net: TurnNet
    ground: Ground
    checks: pd.DataFrame | None
    grades: tuple[Floats, Floats] | None = None


@dataclass(frozen=True, eq=False)
class Held:
    """A machine in one transport state held against a whole district.

    ``trains`` are what its figures leave open of how it turns, ``trials`` what trial drives
    found. ``sure`` lets through what passes every check; ``fewest`` bars what is refused and
    counts what is unknown, but no turn where the machine's own figures for it are missing.
    """

    machine: Machine
    state: Transport
    size: OnRoad
    measured: Measured
    checked: Checked
    trains: Trains
    trials: Trials
    sure: Costs
    fewest: Costs


def district_of(
    data: RoadData,
    checks: pd.DataFrame | None,
    *,
    grades: tuple[Floats, Floats] | None = None,
) -> District:
    """Prepare a network for any number of machines and moves."""
    return District(data, turn_net(data), ground_of(data), checks, grades)


@lru_cache(maxsize=8)
def hold(district: District, machine: Machine, state: Transport, *, tables: Tables) -> Held:
    """Hold a machine in one transport state against every leg, node and turn.

    Parameters
    ----------
    district : District
    machine : Machine
    state : Transport
        One of the machine's, or one without figures when none is known.
    tables : Tables
    """
    size = on_road(machine, state)
    measured = lay(district.checks, district.data, machine=machine.id, state=state.name)
    checked = check_ground(
        district.ground,
        size,
        measured,
        tables=tables,
        grade=_grade(district, machine, measured, tables),
    )
    trains = trains_of(machine, state, tables=tables)
    trials = trials_of(district.data, measured)
    width = checked.legs["width"]
    turns = turn_check(
        district.data,
        district.net,
        width.low,
        width.high,
        machine,
        state,
        tables=tables,
        trials=trials,
    )
    checked = replace(checked, turns=turns)
    place = places_to_measure(district.data, checked, size)
    return Held(
        machine,
        state,
        size,
        measured,
        checked,
        trains,
        trials,
        sure=sure_costs(district.net, checked),
        fewest=fewest_costs(district.net, checked, place, count_turns=not trains.lacks),
    )


def _grade(
    district: District, machine: Machine, measured: Measured, tables: Tables
) -> Verdict | None:
    if district.grades is None:
        return None
    return grade_check(
        *district.grades,
        machine,
        tables=tables,
        mapped=inclines_on(district.ground.legs),
        driven=np.repeat(measured.legs["grade"], 2),
    )
