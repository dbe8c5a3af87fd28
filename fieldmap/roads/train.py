"""The train as it turns: what steers, what is hitched where, and how far the bodies reach.

What the machine's own figures leave open is spanned by two trains: ``least`` is inside every
train that the figures allow, ``most`` around all of them. Only what ``most`` gets round may
pass; only what ``least`` does not get round may be refused.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fieldmap.machine import Machine, Transport
from fieldmap.tables import Tables

_NOSE = {
    "rear-mounted": "nose_tractor_m",
    "pull-type": "nose_tractor_m",
    "front-and-rear": "nose_front_mower_m",
    "self-propelled": "nose_header_m",
}


@dataclass(frozen=True, slots=True)
class Link:
    """A trailed unit: its hitch behind the axle before it, its own axle behind the hitch (m)."""

    hitch_m: float
    tongue_m: float


@dataclass(frozen=True, slots=True)
class Body:
    """A box fixed to a unit: its reach ahead of and behind the unit's axle, half its width (m).

    A bar across the train has ``ahead_m == -behind_m``.
    """

    unit: int
    ahead_m: float
    behind_m: float
    half_m: float


@dataclass(frozen=True, slots=True)
class Train:
    """What turns.

    ``lead_m`` is the distance from the steered front axle, which follows the driver's path, to
    the axle behind it. Zero stands for a machine that steers behind: there the fixed front axle
    follows the path. ``radius_m`` is the tightest circle of what follows the path.
    """

    lead_m: float
    links: tuple[Link, ...]
    bodies: tuple[Body, ...]
    radius_m: float

    def reach_m(self) -> float:
        """Axle distances from the leading axle to the last (m)."""
        return self.lead_m + sum(link.hitch_m + link.tongue_m for link in self.links)

    def longest_m(self) -> float:
        """From the foremost to the hindmost point when drawn out straight (m)."""
        behind, ends = 0.0, [0.0]
        for unit in range(len(self.links) + 1):
            if unit:
                link = self.links[unit - 1]
                behind += link.hitch_m + link.tongue_m
            for body in self.bodies:
                if body.unit == unit:
                    ends += [body.ahead_m - behind, -body.behind_m - behind]
        return max(ends) - min(ends)


@dataclass(frozen=True, slots=True)
class Trains:
    """The trains that the figures leave open; ``None`` where too little is known.

    ``lacks`` says in words what is missing.
    """

    least: Train | None
    most: Train | None
    lacks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Axles:
    """Wheelbase and, of a trailed mower, hitch and tongue; metres."""

    base_m: float
    hitch_m: float | None
    tongue_m: float


def trains_of(machine: Machine, state: Transport, *, tables: Tables) -> Trains:
    """The trains that a machine in a transport state may be.

    ``turning_radius_m`` is taken for the tightest circle that the middle of the steered axle
    can follow: the front axle of a tractor, the rear axle of a self-propelled mower. A maker's
    figure for the outer wheel is a little larger and errs to the careful side. The transport
    width is taken for the mower's. How far the train reaches before its first axle is never
    asked, so it is a range of ``turning.nose_*_m``; what is left of the transport length hangs
    out behind.

    Parameters
    ----------
    machine : Machine
    state : Transport
    tables : Tables

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> one = Machine(id="a", name="a", kind="rear-mounted", wheelbase_m=2.5, turning_radius_m=5)
    >>> full = Transport(name="folded", width_m=2.5, length_m=5.0)
    >>> trains_of(one, full, tables=load_tables()).most.bodies
    (Body(unit=0, ahead_m=5.0, behind_m=2.0, half_m=1.25),)
    >>> trains_of(one, Transport(name="folded"), tables=load_tables()).lacks
    ('transport width', 'transport length')
    """
    axles = _axles(machine)
    lacks = _lacks(machine, state, axles)
    if axles is None or machine.turning_radius_m is None or state.width_m is None:
        return Trains(None, None, lacks)
    radius = machine.turning_radius_m
    if radius <= axles.base_m:
        return Trains(None, None, (*lacks, "a turning radius longer than the wheelbase"))
    nose = tables[f"turning.{_NOSE[machine.kind]}"]
    low = nose.number() if nose.low is None else nose.low
    high = nose.number() if nose.high is None else nose.high
    narrow = min(tables.number("turning.tractor_width_m"), state.width_m) / 2.0
    spare = None if state.length_m is None else state.length_m - _span(axles)
    if spare is not None and spare < 0.0:
        return Trains(None, None, (*lacks, "a transport length longer than its axles lie apart"))
    least = _bodies(machine, axles, (low if spare is None else min(low, spare), 0.0))
    made = [_with_bar(machine, axles, least, (narrow, state.width_m / 2.0))]
    if spare is not None:
        ends = (min(high, spare), spare - min(low, spare))
        most = _bodies(machine, axles, ends)
        made.append(tuple(_wide(one, state.width_m / 2.0) for one in most))
    trains = [_train(machine, axles, radius, bodies) for bodies in made]
    return Trains(trains[0], trains[1] if spare is not None else None, lacks)


def _lacks(machine: Machine, state: Transport, axles: _Axles | None) -> tuple[str, ...]:
    named = {
        "turning radius": machine.turning_radius_m,
        "wheelbase, hitch and tongue" if machine.kind == "pull-type" else "wheelbase": axles,
        "transport width": state.width_m,
        "transport length": state.length_m,
    }
    return tuple(name for name, held in named.items() if held is None)


def _axles(machine: Machine) -> _Axles | None:
    """Axle distances as given, else from the places of the axles; ``None`` when they lack."""
    places = sorted(axle.position_m for axle in machine.axles)
    trailed = machine.kind == "pull-type"
    base = machine.wheelbase_m
    if base is None and len(places) == (3 if trailed else 2):
        base = places[1] - places[0] or None
    if base is None or not trailed:
        return None if base is None else _Axles(base, machine.hitch_offset_m, 0.0)
    hitch, tongue = machine.hitch_offset_m, machine.tongue_length_m
    if hitch is not None and tongue is None and len(places) == 3:
        tongue = places[2] - places[1] - hitch
    if hitch is None or tongue is None or tongue <= 0.0:
        return None
    return _Axles(base, hitch, tongue)


def _span(axles: _Axles) -> float:
    return axles.base_m + ((axles.hitch_m or 0.0) + axles.tongue_m if axles.tongue_m else 0.0)


def _bodies(machine: Machine, axles: _Axles, ends: tuple[float, float]) -> tuple[Body, ...]:
    """The boxes of a train with so much before its first and behind its last axle."""
    nose, tail = ends
    if machine.kind == "self-propelled":
        return (Body(0, nose, axles.base_m + tail, 0.0),)
    if machine.kind != "pull-type":
        return (Body(0, axles.base_m + nose, tail, 0.0),)
    tractor = Body(0, axles.base_m + nose, axles.hitch_m or 0.0, 0.0)
    return (tractor, Body(1, axles.tongue_m, tail, 0.0))


def _with_bar(
    machine: Machine, axles: _Axles, bodies: tuple[Body, ...], halves: tuple[float, float]
) -> tuple[Body, ...]:
    """The narrow tractor, and the transport width as a bar where the mower surely is."""
    narrow, wide = halves
    tractor = _wide(bodies[0], narrow)
    hung = machine.kind in ("rear-mounted", "front-and-rear")
    behind = (axles.hitch_m or 0.0) if hung else 0.0
    return (tractor, Body(len(bodies) - 1, -behind, behind, wide))


def _wide(body: Body, half_m: float) -> Body:
    return Body(body.unit, body.ahead_m, body.behind_m, half_m)


def _train(machine: Machine, axles: _Axles, radius_m: float, bodies: tuple[Body, ...]) -> Train:
    if machine.kind == "self-propelled":
        return Train(0.0, (), bodies, math.sqrt(radius_m**2 - axles.base_m**2))
    links = (Link(axles.hitch_m or 0.0, axles.tongue_m),) if machine.kind == "pull-type" else ()
    return Train(axles.base_m, links, bodies, radius_m)
