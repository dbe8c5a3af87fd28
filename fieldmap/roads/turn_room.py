"""Corners held against a train: room at the low and the high widths, and what follows.

The room of a corner is told as a width of road: how wide two even roads would have to be to
leave as much. Unknown widths, an unknown train and corners sharper than what is reckoned stay
unknown; only a trial drive settles them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldmap.network import RoadData
from fieldmap.roads.corner import DIFFERENCE_M, STEP_DEG, WIDEST_M, Kerb, Needs, needs
from fieldmap.roads.deflections import Ints
from fieldmap.roads.tractrix import ring_width_m
from fieldmap.roads.train import Train, Trains
from fieldmap.roads.verdict import (
    ASSUMED,
    FAIL,
    MEASURED,
    PASS,
    UNKNOWN,
    Floats,
    Mask,
    Rule,
    Verdict,
    first_that_holds,
)
from fieldmap.tables import Tables

_SQUARE_CUT = math.sqrt(2.0)
_EVEN = len(DIFFERENCE_M) // 2

#: In ``Corners.low_kerb``: a bend of even width.
BEND = 0


@dataclass(frozen=True, eq=False)
class Corners:
    """Corners to be held against a train; one entry each.

    Parameters
    ----------
    deflection_deg : ndarray
        Change of heading, to the right positive; NaN where the map does not show it.
    low_m, high_m : ndarray
        Widths of the road in and the road out, two columns; NaN not known.
    low_kerb, high_kerb : ndarray
        Rows of :attr:`Kerbs.careful` and :attr:`Kerbs.high`.
    crowded : ndarray of bool
        Whether another corner lies closer before it than the train is long.
    tried : ndarray
        What a trial drive found: 1.0 got round, 0.0 not, NaN nobody tried.
    kink_deg, radius_m : ndarray
        Of a bend that is spread out: the most it turns as in one corner, and the least radius
        of the rest; NaN of a corner.
    """

    deflection_deg: Floats
    low_m: Floats
    high_m: Floats
    low_kerb: Ints
    high_kerb: Ints
    crowded: Mask
    tried: Floats
    kink_deg: Floats
    radius_m: Floats

    def some(self, rows: Ints) -> Corners:
        """These corners only."""
        return Corners(
            self.deflection_deg[rows],
            self.low_m[rows],
            self.high_m[rows],
            self.low_kerb[rows],
            self.high_kerb[rows],
            self.crowded[rows],
            self.tried[rows],
            self.kink_deg[rows],
            self.radius_m[rows],
        )


@dataclass(frozen=True, slots=True)
class Kerbs:
    """The inner kerbs that corners may have.

    ``careful`` begins with a bend of even width without any rounding, then has a corner for
    each low radius: there the far side of the corner belongs to a road too, as far as at a
    square corner. ``high`` has no far side at all.
    """

    careful: tuple[Kerb, ...]
    high: tuple[Kerb, ...]


@dataclass(frozen=True, eq=False)
class _Room:
    """Room at the low and high widths, and what is needed (m); whether it surely is too small."""

    low: Floats
    high: Floats
    need: Floats
    refused: Mask


def kerbs_by_class(tables: Tables) -> dict[str, tuple[float, float]]:
    """Low and high kerb radius (m) of each road class that has a row."""
    return {
        row.key.partition(".kerb_")[2]: (row.low or 0.0, row.high or row.number())
        for row in tables.rows("turning")
        if ".kerb_" in row.key
    }


def kerbs_of(tables: Tables) -> Kerbs:
    """All kerbs of the tables, the sharpest first."""
    known = kerbs_by_class(tables).values()
    lows = sorted({0.0, *(low for low, _ in known)})
    highs = sorted({high for _, high in known})
    careful = (Kerb(0.0, 1.0), *(Kerb(one, _SQUARE_CUT) for one in lows))
    return Kerbs(careful, tuple(Kerb(one, math.inf) for one in highs))


def leg_kerbs(data: RoadData, tables: Tables) -> tuple[Ints, Ints]:
    """Rows of the kerbs of each leg's class; a class without a row has the worst of both ends."""
    known, kerbs = kerbs_by_class(tables), kerbs_of(tables)
    lows = {kerb.radius_m: row for row, kerb in enumerate(kerbs.careful) if row != BEND}
    highs = {kerb.radius_m: row for row, kerb in enumerate(kerbs.high)}
    rows = {kind: (lows[low], highs[high]) for kind, (low, high) in known.items()}
    other = (lows[0.0], len(highs) - 1)
    code, kinds = data.edges["highway"].factorize()
    held = np.array([rows.get(kind, other) for kind in kinds], dtype=np.int64).reshape(-1, 2)
    return held[code, 0], held[code, 1]


def held_against(corners: Corners, trains: Trains, *, tables: Tables) -> Verdict:
    """Hold trains against corners; one entry a corner.

    ``low`` and ``high`` are the room at both ends of the widths, ``need`` what the train asks
    of two even roads, with the clearance on both sides (m).
    """
    room = _room(corners, trains, tables)
    turned = np.abs(corners.deflection_deg)
    straight = turned < tables.number("turning.straight_deg")
    rules = [
        Rule(
            corners.tried == 0.0,
            FAIL,
            MEASURED,
            "A trial drive found that the train does not get round.",
        ),
        Rule(corners.tried == 1.0, PASS, MEASURED, "It was driven on trial with this train."),
        Rule(
            straight,
            PASS,
            ASSUMED,
            "It goes on nearly straight.",
            corners.low_m.min(axis=1),
            corners.high_m.min(axis=1),
        ),
        Rule(np.isnan(turned), UNKNOWN, ASSUMED, "The map does not show how the road runs here."),
        Rule(
            turned > tables.number("turning.sharpest_deg"),
            UNKNOWN,
            ASSUMED,
            "It turns more sharply than can be reckoned.",
        ),
        *_room_rules(room, trains, corners.crowded),
    ]
    need = np.where(straight | np.isfinite(corners.tried), np.nan, room.need)
    return first_that_holds("turn", "m", rules, need=need)


def _room_rules(room: _Room, trains: Trains, crowded: Mask) -> tuple[Rule, ...]:
    """What the room says; refused only where the widest road is too narrow for the least train."""
    everywhere = np.ones(len(room.low), dtype=bool)
    lacks = f"What the machine file lacks for a turn: {', '.join(trains.lacks)}."
    figures = (room.low, room.high)
    return (
        Rule(
            room.refused,
            FAIL,
            ASSUMED,
            "Even at the widest that the road may be, no line was found that the train gets round.",
            *figures,
        ),
        Rule(everywhere & (trains.most is None), UNKNOWN, ASSUMED, lacks),
        Rule(np.isnan(room.low), UNKNOWN, ASSUMED, "The width of the road is not known."),
        Rule(
            crowded,
            UNKNOWN,
            ASSUMED,
            "Another corner lies closer than the train is long; they were not reckoned together.",
            *figures,
        ),
        Rule(
            room.low >= room.need,
            PASS,
            ASSUMED,
            "Even at the narrowest that the road may be, a line that takes the whole road is wide "
            "enough for the train.",
            *figures,
        ),
        Rule(
            everywhere,
            UNKNOWN,
            ASSUMED,
            "Whether the train gets round depends on how wide the road and its mouth are.",
            *figures,
        ),
    )


def _room(corners: Corners, trains: Trains, tables: Tables) -> _Room:
    nothing = np.full(len(corners.tried), np.nan)
    refused = np.zeros(len(nothing), dtype=bool)
    if trains.least is None:
        return _Room(nothing, nothing, nothing, refused)
    clear = tables.number("clearances.side_m")
    sharpest = tables.number("turning.sharpest_deg")
    kerbs = kerbs_of(tables)
    best = needs(trains.least, kerbs.high, clear_m=clear, sharpest_deg=sharpest, careful=False)
    at_best, need = _even(
        best, corners.high_kerb, corners.deflection_deg, corners.high_m, careful=False
    )
    refused = at_best + tables.number("turning.line_slack_m") < need
    if trains.most is None:
        return _Room(nothing, nothing, nothing, refused)
    worst = needs(trains.most, kerbs.careful, clear_m=clear, sharpest_deg=sharpest, careful=True)
    kerb, turned = corners.low_kerb, corners.deflection_deg
    low, need = _even(worst, kerb, turned, corners.low_m, careful=True)
    high, _ = _even(worst, kerb, turned, corners.high_m, careful=True)
    round_need = _round_need(corners, trains.most, worst, tables)
    return _Room(low, high, np.fmin(need, round_need), refused)


def _round_need(corners: Corners, train: Train, told: Needs, tables: Tables) -> Floats:
    """What a bend asks for that is spread out: its ring, and its sharpest kink as a corner."""
    ring = ring_width_m(train, corners.radius_m) + 2.0 * tables.number("clearances.side_m")
    _, kink = _even(told, corners.low_kerb, corners.kink_deg, corners.low_m, careful=True)
    kinked = corners.kink_deg >= tables.number("turning.straight_deg")
    need = np.where(kinked, np.maximum(ring, kink), ring)
    return np.where(np.isnan(corners.radius_m), np.nan, need)


def _even(
    told: Needs, kerb: Ints, deflection_deg: Floats, widths_m: Floats, *, careful: bool
) -> tuple[Floats, Floats]:
    """The even width that leaves as much room, and the even width needed (m).

    Between the figures that were reckoned the next worse one counts, or the next better one
    where a corner is to be refused.
    """
    turned = np.nan_to_num(np.abs(deflection_deg)) / STEP_DEG
    steps = np.ceil(turned) if careful else np.floor(turned)
    angle = np.clip(steps.astype(np.int64) - 1, 0, len(told.deflection_deg) - 1)
    one, other = np.minimum(widths_m, WIDEST_M).T
    unlike = np.nan_to_num(other - one)
    if careful:
        entry = np.searchsorted(DIFFERENCE_M, unlike + 1e-9, side="right") - 1
    else:
        entry = np.searchsorted(DIFFERENCE_M, unlike - 1e-9, side="left")
    entry = np.clip(entry, 0, len(DIFFERENCE_M) - 1)
    need = told.least_m[angle, kerb, _EVEN]
    room = need + one - told.least_m[angle, kerb, entry]
    return np.where(np.isnan(other), np.nan, room), need
