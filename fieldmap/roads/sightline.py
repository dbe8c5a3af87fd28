"""Where on a way others see a slow machine too late, and it them: crests and bends."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any, Literal, NamedTuple, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldmap.crs import WGS84, transformer
from fieldmap.finding import Finding, Level
from fieldmap.roads.profile import SHARE
from fieldmap.roads.seeing import over_crests, round_bends
from fieldmap.roads.way_profile import WayProfile
from fieldmap.tables import Tables
from fieldmap.units import GRAVITY

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Who = Literal["oncoming", "behind"]

WHAT = "sight along the way"
_MS = 1.0 / 3.6
_WHO = {
    "oncoming": "cars that come towards you",
    "behind": "cars that come from behind",
}
_CAUTION = (
    "WARNING: others may see you too late here. Lights and beacon on, keep to your side, and have "
    "somebody ahead or behind where the road authority or the police ask for it. Crops, hedges and "
    "cut banks hide more than the elevation knows; the road authority decides on signs."
)


class StoppingM(Protocol):
    """The stopping distance (m) from a speed: :func:`fieldmap.terrain.stopping`'s own."""

    def __call__(
        self,
        speed_kmh: ArrayLike,
        /,
        *,
        grade: ArrayLike,
        reaction_s: ArrayLike,
        friction: ArrayLike,
    ) -> NDArray[np.float64]:
        """Metres; infinity where nothing is left to brake with."""


@dataclass(frozen=True, eq=False)
class OnTheWay:
    """The machine and the cars along a way; arrays have one entry a place of the profile.

    ``hold`` is what the machine's brakes hold, over gravity (NaN unknown); ``alone`` where a car
    may find no room beside the machine; ``clear_m`` from the middle of the road to what hides
    the inside of a bend; ``height_error_m`` the standard error of a height.
    """

    speed_kmh: float
    hold: float
    car_kmh: Floats
    alone: Mask
    clear_m: Floats
    height_error_m: float


@dataclass(frozen=True, eq=False)
class Sight:
    """What was found of sight along a way, and its spots as plain dicts, worst first."""

    findings: list[Finding]
    spots: list[dict[str, Any]]


def sight_along(
    profile: WayProfile,
    on: OnTheWay,
    names: list[str],
    *,
    tables: Tables,
    stopping_m: StoppingM,
) -> Sight:
    """Hold how far one sees against what machine and cars need.

    Towards cars that come against the machine, where they may not fit beside it, both have to
    stop within what they see of each other. Cars from behind have to come down to the machine's
    speed within what they see of its rear.

    Parameters
    ----------
    profile : WayProfile
    on : OnTheWay
    names : list of str
        What each leg of the way is called.
    tables : Tables
    stopping_m : callable
        Stopping distance (m) by speed, grade, reaction and friction.

    Returns
    -------
    Sight
        Spots, what is sure first: who, kind (``crest`` or ``bend``), sure (``surely`` or
        ``possibly``: a bend hides only where something stands beside it), where, from_m, to_m,
        sight_m, need_m, closing_s, radius_m (``None`` straight), car_kmh, lon, lat.

    Notes
    -----
    Closing time is sight over the sum of both speeds for cars that come against, over their
    difference for those from behind. Crests are taken from the profile along the road; the band
    of sight moves eye and thing down and up by what two heights may be wrong together. Cars come
    round a bend no faster than ``meeting.bend_pull`` lets them.
    """
    if not on.speed_kmh > 0.0 or not len(profile.metres):
        return Sight([_unknown("The machine's road speed is not known.", tables)], [])
    spots: list[dict[str, Any]] = []
    for who in ("oncoming", "behind"):
        spots += _spots(profile, on, who, tables=tables, stopping_m=stopping_m)
    back = transformer(profile.crs, WGS84)
    for spot in spots:
        spot["where"] = names[spot.pop("leg")]
        lon, lat = back.transform(spot.pop("x"), spot.pop("y"))
        spot["lon"], spot["lat"] = round(lon, 7), round(lat, 7)
    spots.sort(key=lambda one: (one["sure"] != "surely", one["sight_m"] / one["need_m"]))
    return Sight([*_worst(spots, tables), *_blind(profile, on, spots, tables)], spots)


@dataclass(frozen=True, eq=False)
class _Seen:
    """How far is seen over the crests: as the heights say, and at both ends of their error.

    ``low`` is NaN all along where heights are so rough that nothing is left of eye and thing.
    """

    low: Floats
    middle: Floats
    high: Floats


def _spots(
    profile: WayProfile, on: OnTheWay, who: Who, *, tables: Tables, stopping_m: StoppingM
) -> list[dict[str, Any]]:
    """Runs of places from which less is seen than is needed: over crests, then round bends."""
    crest = _crests(profile, on, who, tables)
    bend: Floats = round_bends(
        profile.metres,
        profile.x,
        profile.y,
        profile.stretch,
        on.clear_m,
        tables.number("meeting.sight_range_m"),
    )
    car_kmh = _in_bends_kmh(profile, on.car_kmh, tables)
    need = _need_m(profile, on, who, car_kmh, tables=tables, stopping_m=stopping_m)
    closing = car_kmh + on.speed_kmh if who == "oncoming" else car_kmh - on.speed_kmh
    cars = _Cars(car_kmh, closing * _MS, need)
    over = crest.high if bool(np.isnan(crest.low).all()) else crest.low
    sure = crest.high < need
    crests = np.where(sure, crest.middle, over)
    found = [
        _spot(profile, cars, crests, run, sure) | {"kind": "crest"} for run in _runs(over < need)
    ]
    none_sure = np.zeros(len(need), dtype=bool)
    found += [
        _spot(profile, cars, bend, run, none_sure) | {"kind": "bend"} for run in _runs(bend < need)
    ]
    return [one | {"who": who} for one in found]


class _Cars(NamedTuple):
    """At each place: speed of cars, how fast they and the machine close (m/s), the sight needed."""

    kmh: Floats
    closing_ms: Floats
    need_m: Floats


def _spot(
    profile: WayProfile, cars: _Cars, sight_m: Floats, run: tuple[int, int], sure: Mask
) -> dict[str, Any]:
    """The worst place of a run of places from which less is seen than is needed."""
    first, last = run
    share = sight_m[first:last] / cars.need_m[first:last]
    at = first + _worst_at(share, sure[first:last])
    seen_m = float(min(sight_m[at], profile.metres[-1] - profile.metres[at]))
    return {
        "sure": "surely" if sure[at] else "possibly",
        "leg": int(profile.leg[at]),
        "from_m": round(float(profile.metres[first]), 1),
        "to_m": round(float(profile.metres[last - 1]), 1),
        "sight_m": round(seen_m, 1),
        "need_m": round(float(cars.need_m[at]), 1),
        "closing_s": round(seen_m / float(cars.closing_ms[at]), 2),
        "car_kmh": round(float(cars.kmh[at]), 1),
        "radius_m": _tightest_m(profile, at, seen_m),
        "x": float(profile.x[at]),
        "y": float(profile.y[at]),
    }


def _worst_at(share: Floats, sure: Mask) -> int:
    """The place with the least share of what is needed, of those that are sure if any is."""
    return int(np.argmin(np.where(sure | ~sure.any(), share, np.inf)))


def _in_bends_kmh(profile: WayProfile, car_kmh: Floats, tables: Tables) -> Floats:
    """How fast cars come round the bends a little ahead of each place."""
    pull = tables.number("meeting.bend_pull")
    ahead = tables.number("meeting.bend_ahead_m")
    last = np.searchsorted(profile.metres, profile.metres + ahead, side="right")
    tightest = np.array(
        [profile.radius_m[at:end].min() for at, end in enumerate(last.tolist())], dtype=float
    )
    return np.fmin(car_kmh, np.sqrt(GRAVITY * pull * tightest) / _MS)


def _tightest_m(profile: WayProfile, at: int, sight_m: float) -> float | None:
    """Radius of the tightest bend between a place and the end of its sight; ``None`` straight."""
    last = np.searchsorted(profile.metres, profile.metres[at] + sight_m, side="right")
    least = float(profile.radius_m[at : int(last) + 1].min())
    return round(least, 1) if math.isfinite(least) else None


def _runs(bad: Mask) -> Iterator[tuple[int, int]]:
    """First place and the one after the last of every run."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], bad, [False]]).astype(np.int8)))
    yield from zip(edge[::2].tolist(), edge[1::2].tolist(), strict=True)


def _crests(profile: WayProfile, on: OnTheWay, who: Who, tables: Tables) -> _Seen:
    """Sight over the ground, eye and thing moved down and up by what heights may be wrong."""
    eye_m, seen_m = _eyes(who, tables)
    wrong = _wrong_m(on)
    range_m = tables.number("meeting.sight_range_m")

    def seen(more: float) -> Floats:
        found: Floats = over_crests(
            profile.metres,
            profile.height_m,
            profile.stretch,
            eye_m + more,
            seen_m + more,
            range_m,
        )
        return found

    blank = np.full(len(profile.metres), np.nan)
    fine = wrong < min(eye_m, seen_m)
    high = blank if math.isnan(wrong) else seen(wrong)
    return _Seen(seen(-wrong) if fine else blank, seen(0.0), high)


def _eyes(who: Who, tables: Tables) -> tuple[float, float]:
    """The eye that looks and the height of what it must see."""
    car = tables.number("meeting.car_eye_m")
    if who == "oncoming":
        own = tables["stopping.eye_m"]
        return (own.number() if own.low is None else own.low), car
    return car, tables.number("meeting.seen_m")


def _wrong_m(on: OnTheWay) -> float:
    """What the ground between may stand over the line between two others, 95 times in 100 less."""
    return math.sqrt(2.0) * NormalDist().inv_cdf(1.0 - (1.0 - SHARE) / 2.0) * on.height_error_m


def _need_m(
    profile: WayProfile,
    on: OnTheWay,
    who: Who,
    car_kmh: Floats,
    *,
    tables: Tables,
    stopping_m: StoppingM,
) -> Floats:
    reaction = tables.number("stopping.reaction_s")
    friction = tables.number("meeting.car_friction")
    grade = np.nan_to_num(profile.grade_pct) / 100.0
    if who == "behind":
        slower = np.maximum(car_kmh - on.speed_kmh, 0.0)
        return np.asarray(
            stopping_m(slower, grade=grade, reaction_s=reaction, friction=friction), dtype=float
        )
    hold = on.hold if math.isfinite(on.hold) else tables.number("stopping.friction")
    own = stopping_m(on.speed_kmh, grade=grade, reaction_s=reaction, friction=hold)
    car = stopping_m(car_kmh, grade=-grade, reaction_s=reaction, friction=friction)
    whole = np.minimum(own + car, tables.number("meeting.sight_range_m"))
    return np.where(on.alone, whole, 0.0)


def _worst(spots: list[dict[str, Any]], tables: Tables) -> list[Finding]:
    """One finding for each of who comes, at its worst spot."""
    found = []
    for who in ("oncoming", "behind"):
        mine = [one for one in spots if one["who"] == who]
        if mine:
            found.append(_short(mine[0], mine, tables))
    return found


def _short(spot: dict[str, Any], mine: list[dict[str, Any]], tables: Tables) -> Finding:
    sure = sum(one["sure"] == "surely" for one in mine)
    hides = "a crest" if spot["kind"] == "crest" else "a bend, if anything stands on its inside"
    return Finding(
        level="care",
        what=WHAT,
        where=spot["where"],
        why=f"{_WHO[spot['who']].capitalize()} are seen later than both need to stop or slow: "
        f"possibly at {len(mine)} places, surely at {sure}. Here behind {hides}, "
        f"{spot['closing_s']:.1f} s before you meet.",
        basis="assumed",
        sources=_sources(tables),
        value=spot["sight_m"],
        limit=spot["need_m"],
        unit="m",
        caution=_CAUTION,
        lon=spot["lon"],
        lat=spot["lat"],
    )


def _blind(
    profile: WayProfile, on: OnTheWay, spots: list[dict[str, Any]], tables: Tables
) -> list[Finding]:
    """What the heights leave unknown; where they do not and no sight is short, that."""
    unknown_m = _untold_m(profile)
    if not unknown_m and not _wrong_m(on) < tables.number("meeting.seen_m"):
        why = "The heights are too rough to tell a crest, or nobody said how good they are."
        return [_unknown(why, tables)]
    if unknown_m:
        why = "The height of the ground is not known all along; crests there are unknown."
        return [_unknown(why, tables, value=unknown_m)]
    if spots:
        return []
    return [_finding("ok", "No crest and no bend hides a car for longer than both need.", tables)]


def _untold_m(profile: WayProfile) -> float:
    """Metres of the way without a known height at both ends of a step."""
    blank = np.isnan(profile.height_m)
    steps = np.diff(profile.metres)
    return float(steps[blank[:-1] | blank[1:]].sum())


def _unknown(why: str, tables: Tables, *, value: float | None = None) -> Finding:
    return _finding("unknown", why, tables, value=value)


def _finding(level: Level, why: str, tables: Tables, *, value: float | None = None) -> Finding:
    return Finding(
        level=level,
        what=WHAT,
        where="the whole way",
        why=why,
        basis="assumed",
        sources=_sources(tables),
        value=value,
        unit="" if value is None else "m",
        caution=_CAUTION,
    )


def _sources(tables: Tables) -> tuple[str, ...]:
    return tables.source_of(
        "stopping.reaction_s", "meeting.car_friction", "meeting.car_eye_m", "meeting.verge_m"
    )
