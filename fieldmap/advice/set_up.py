"""The mower's set-up: every skid shoe with every knife, what each costs, and which is advised."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.advice.compared import COMPARED, compared, unknown_words
from fieldmap.advice.conditioner import conditioner_findings
from fieldmap.advice.conditions import Conditions
from fieldmap.advice.costs import FROM_THINGS
from fieldmap.advice.cut import cut_findings
from fieldmap.advice.flips import Flip
from fieldmap.advice.knife import knife_findings
from fieldmap.advice.limits import Advised, Limits, Settings, height_limits, settings
from fieldmap.advice.reckoning import Reckoned, lifts_m, reckoned
from fieldmap.advice.verdict import Verdict, verdict
from fieldmap.errors import Fault, MisuseError
from fieldmap.machine import Knife, Machine
from fieldmap.risk.strikes import Things
from fieldmap.risk.told import Told
from fieldmap.tables import Tables

Range = tuple[float, float, float]

UNLOOKED = "ground that nobody has looked at well enough"

#: The order in which a person sets the machine.
_ORDER = (
    "knife",
    "cut height and skid shoe",
    "cutterbar tilt",
    "cutterbar float",
    "conditioner",
    "roll gap to start with",
    "roll gap check",
    "leaf lost by tines",
    "nitrate test",
    "regrowth after the water",
    COMPARED,
)


class Option(NamedTuple):
    """One skid shoe with one kind of knife, and what one cut of the field with it leads to.

    Figures are low, value and high: ``strikes``, ``wraps`` and ``forage`` count things,
    ``yield_t`` is dry matter given up by the height, ``ash_points`` and ``tdn_points`` are
    points of the dry matter, ``stand_left_pct`` is ``None`` where nobody measured, ``cost`` and
    ``parts`` are money. An infinite high end is one that nobody knows.
    """

    shoe: str
    knife: Knife
    name: str
    cut_m: float
    inside: bool
    why_not: str
    best: bool
    strikes: Range
    wraps: Range
    forage: Range
    yield_t: Range
    ash_points: Range
    tdn_points: Range
    stand_left_pct: Range | None
    cost: Range
    parts: dict[str, Range]


@dataclass(frozen=True)
class SetUp:
    """How the mower is to be set for a field, and how sure that is.

    ``best`` and ``second`` are places in ``options`` or ``None``; ``margin`` is how much dearer
    the second is. ``turning`` holds the figures at which the advice would change, ``flips`` the
    sentences that say so, ``unknown`` what is not known, ``told`` the findings in the order in
    which a person sets the machine. ``cut_m`` and ``lift_m`` are those of the setting advised;
    where none could be they are only where most people start, and ``advised`` is false.
    """

    options: tuple[Option, ...]
    best: int | None
    second: int | None
    margin: Range | None
    turning: tuple[Flip, ...]
    flips: tuple[str, ...]
    unknown: tuple[str, ...]
    told: tuple[Told, ...]
    cut_m: float
    lift_m: float

    @property
    def advised(self) -> bool:
        """Whether a setting could be advised."""
        return self.best is not None

    def as_dict(self) -> dict[str, Any]:
        """Options, margin and what would change the advice, as plain JSON types.

        An end of a range that nobody knows is ``None``.
        """
        return {
            "options": [_plain(one._asdict()) for one in self.options],
            "margin": _plain(self.margin),
            "second": "" if self.second is None else self.options[self.second].name,
            "flips": list(self.flips),
            "unknown": list(self.unknown),
        }


def set_up(
    field: Conditions,
    machine: Machine | None,
    things: Things,
    *,
    area_ha: float,
    missing: tuple[str, ...],
    unlooked: bool,
    tables: Tables,
) -> SetUp:
    """Compare every setting of the mower, and say which to take.

    Parameters
    ----------
    field : Conditions
    machine : Machine or None
        The shoes and knives it can carry, and what is fitted.
    things : Things
        What may be met: marks and what is reckoned to lie unseen.
    area_ha : float
        Ground that is mown.
    missing : tuple of str
        What of the things cannot be reckoned, in words. No upper end is then given of what is
        met or costs, and the shoe is the tallest in the crop's range, whatever it costs.
    unlooked : bool
        Whether ground was not looked at well enough; the shoe is then the tallest, too.
    tables : Tables

    Returns
    -------
    SetUp
        The advice is the cheapest setting inside the limits; between equals the taller.

    Raises
    ------
    MisuseError
        The area is not above 0.

    Notes
    -----
    What is met comes from :func:`fieldmap.risk.strikes.expected`, what the crop loses from
    :mod:`fieldmap.advice.agronomy`, what both cost from :mod:`fieldmap.advice.costs`.
    """
    if not area_ha > 0:
        raise MisuseError(
            Fault("area of a field", f"{area_ha:g}", "nothing can be reckoned for it", "give it")
        )
    field = field._replace(unsure=(*missing, *((UNLOOKED,) if unlooked else ())))
    if machine is None or not machine.skid_shoes or not machine.knives:
        return _without_options(field, machine, things, area_ha=area_ha, tables=tables)
    limits = height_limits(field, tables=tables)
    held = settings(field, limits, shoes=machine.skid_shoes, knives=machine.knives)
    got = reckoned(field, machine, held, things, area_ha=area_ha, tables=tables)
    names = _names(held, tables)
    endless = bool(missing)
    found = verdict(
        field, limits, held, got, names=names, area_ha=area_ha, endless=endless, tables=tables
    )
    said = compared(field, found, got, things, names=names, tables=tables)
    advised = None if found is None else _advised(held, limits, found.best)
    cut_m, lift_m = (
        _start(limits, machine, tables)
        if found is None
        else (held.cut_m[found.best], lifts_m(held.high_lift, tables)[found.best])
    )
    return SetUp(
        options=_options(held, got, found, names, endless=endless),
        best=None if found is None else found.best,
        second=None if found is None else found.second,
        margin=None if found is None else found.margin,
        turning=() if found is None else found.turning,
        flips=() if found is None else found.flips,
        unknown=unknown_words(field, machine, compared_at_all=True),
        told=_told(field, machine, advised, said, area_ha=area_ha, tables=tables),
        cut_m=float(cut_m),
        lift_m=float(lift_m),
    )


def _without_options(
    field: Conditions, machine: Machine | None, things: Things, *, area_ha: float, tables: Tables
) -> SetUp:
    """What can be said when the shoes or the knives are not known."""
    said = compared(field, None, None, things, names=(), tables=tables)
    cut_m, lift_m = _start(height_limits(field, tables=tables), machine, tables)
    return SetUp(
        options=(),
        best=None,
        second=None,
        margin=None,
        turning=(),
        flips=(),
        unknown=unknown_words(field, machine, compared_at_all=False),
        told=_told(field, machine, None, said, area_ha=area_ha, tables=tables),
        cut_m=cut_m,
        lift_m=lift_m,
    )


def _told(
    field: Conditions,
    machine: Machine | None,
    advised: Advised | None,
    said: Told,
    *,
    area_ha: float,
    tables: Tables,
) -> tuple[Told, ...]:
    """All findings, in the order in which a person sets the machine."""
    told = [
        *knife_findings(field, machine, tables=tables, advised=advised),
        *cut_findings(field, machine, tables=tables, advised=advised),
        *conditioner_findings(field, machine, area_ha=area_ha, tables=tables),
        said,
    ]
    return tuple(sorted(told, key=lambda one: _ORDER.index(one.finding.what)))


def _start(limits: Limits | None, machine: Machine | None, tables: Tables) -> tuple[float, float]:
    """Cut height and reach of the knives where none can be advised: where most people start."""
    cut_m = tables.number("knives.start_stubble") if limits is None else limits.aim_m
    knives = () if machine is None else machine.knives
    low_lift = knives == ("low_lift",)
    return cut_m, tables.number(f"strikes.lift_{'low' if low_lift else 'high'}_lift")


def _names(held: Settings, tables: Tables) -> list[str]:
    """What each setting is called."""
    labels = {knife: tables[f"knives.{knife}"].words["label"] for knife in set(held.knives)}
    pairs = zip(held.knives, held.shoes, strict=True)
    return [f"{labels[knife]}, skid shoe: {shoe.name}" for knife, shoe in pairs]


def _advised(held: Settings, limits: Limits | None, best: int) -> Advised:
    shoes = dict.fromkeys(held.shoes)
    fits = [limits is not None and limits.holds(shoe.cut_height_m) for shoe in shoes]
    shoe = held.shoes[best]
    in_range = limits is not None and limits.holds(shoe.cut_height_m)
    return Advised(shoe, held.knives[best], in_range, sum(fits))


def _options(
    held: Settings, got: Reckoned, found: Verdict | None, names: list[str], *, endless: bool
) -> tuple[Option, ...]:
    """The table of all settings; ``endless``: nobody knows how many things are met at most."""
    parts = got.costs.by_part()
    from_things = [*got.met, *(parts[name] for name in FROM_THINGS)]
    cost = got.costs.in_all()
    if endless:
        for figures in (*from_things, cost):
            figures[:, 2] = np.inf
    strikes, wraps, forage = (_ranges(figures) for figures in got.met)
    yield_t, ash, tdn, costs = (_ranges(f) for f in (got.yield_t, got.ash, got.tdn, cost))
    stand = None if got.stand_left is None else _ranges(got.stand_left)
    by_part = {name: _ranges(money) for name, money in parts.items()}
    return tuple(
        Option(
            shoe=held.shoes[n].name,
            knife=held.knives[n],
            name=name,
            cut_m=float(held.cut_m[n]),
            inside=bool(held.inside[n]),
            why_not=held.why_not[n],
            best=found is not None and n == found.best,
            strikes=strikes[n],
            wraps=wraps[n],
            forage=forage[n],
            yield_t=yield_t[n],
            ash_points=ash[n],
            tdn_points=tdn[n],
            stand_left_pct=None if stand is None or math.isnan(stand[n][1]) else stand[n],
            cost=costs[n],
            parts={part: money[n] for part, money in by_part.items()},
        )
        for n, name in enumerate(names)
    )


def _ranges(figures: NDArray[np.float64]) -> list[Range]:
    return [(low, value, high) for low, value, high in figures.tolist()]


def _plain(held: Any) -> Any:
    """Tuples as lists; a figure that is not finite as ``None``."""
    if isinstance(held, dict):
        return {name: _plain(one) for name, one in held.items()}
    if isinstance(held, tuple):
        return [_plain(one) for one in held]
    if isinstance(held, float) and not math.isfinite(held):
        return None
    return held
