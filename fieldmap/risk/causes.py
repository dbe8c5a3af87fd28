"""What can govern a cell: one code each, with its level, what to do there, and why in words."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from fieldmap.finding import Level, rank
from fieldmap.tables import Tables

FIRST_HAZARD = 40
KEEP_OUT = "keep out"


class Cause(NamedTuple):
    """A reason for a cell's level; ``action`` names the zone it makes ("" makes none)."""

    code: int
    key: str
    level: Level
    action: str
    words: str


NONE = Cause(0, "none", "ok", "", "nothing found against it")
STEEP_STOP = Cause(1, "steep", "stop", KEEP_OUT, "too steep even straight up and down")
STEEP_CARE = Cause(2, "rather steep", "care", "slow", "steep straight up and down")
SIDE_STOP = Cause(
    3, "side slope", "stop", "up and down only", "side slope over the limit on the best heading"
)
SIDE_CARE = Cause(
    4, "some side slope", "care", "slow", "side slope near the limit on the best heading"
)
NO_ELEVATION = Cause(
    5, "no elevation", "unknown", "go and look", "no elevation here, the slope is not known"
)
BLIND = Cause(
    6,
    "coarse elevation",
    "unknown",
    "go and look",
    "the elevation is too coarse to call this ground gentle",
)
STABILITY = Cause(
    7,
    "machine not known",
    "unknown",
    "go and look",
    "the machine's track width or height of the centre of gravity is not known",
)
FLOODED = Cause(
    8,
    "flooded, not looked at",
    "unknown",
    "go and look",
    "stood under water and was not looked at well enough since",
)

DROP = Cause(
    10, "drop-off", "stop", KEEP_OUT, "the ground falls away here: bank, bench edge or highwall"
)
TURN_STOP = Cause(
    11,
    "steep headland",
    "stop",
    "up and down only",
    "too steep to turn on: every turn stands across the slope for a moment",
)
MAYBE_STEEP = Cause(
    12,
    "perhaps too steep",
    "unknown",
    "go and look",
    "may be too steep straight up and down within the error of the elevation: measure it",
)
MAYBE_SIDE = Cause(
    13,
    "perhaps side slope",
    "unknown",
    "go and look",
    "may be over the side-slope limit within the error of the elevation: measure it",
)
TURN_UNKNOWN = Cause(
    14,
    "turning not known",
    "unknown",
    "slow",
    "how tight the machine turns is not known, and this ground slopes",
)
SIGHT_UNKNOWN = Cause(
    15,
    "sight not known",
    "unknown",
    "slow",
    "how far one sees ahead is not known for lack of elevation",
)
HOLLOW = Cause(
    16,
    "hollow",
    "unknown",
    "go and look",
    "a hollow that holds water or has settled, not looked at well enough",
)
CREST = Cause(
    17, "blind crest", "care", "slow", "over the brow one sees too little ahead for the field speed"
)
TURN_CARE = Cause(
    18, "sloping headland", "care", "slow", "turn slower than usual here: the ground slopes"
)
HOLLOW_SEEN = Cause(19, "hollow looked at", "care", "slow", "a hollow that somebody walked over")

MAYBE_DROP = Cause(
    21,
    "perhaps a highwall",
    "unknown",
    "go and look",
    "near ground of unknown height: a bank or highwall may stand there",
)
NO_HOLD = Cause(
    24,
    "no braking",
    "care",
    "slow",
    "on wet grass a machine may not stop here downhill, however far one sees",
)

RAISE_CUT = Cause(
    25,
    "strikes",
    "care",
    "raise the cut",
    "so many strikes are reckoned with from what nobody has marked that a taller cut is asked for",
)

#: These make no zone, as UNLOOKED: hatched over what else is known.
LEFT_UNKNOWN = Cause(
    26,
    "things left not known",
    "unknown",
    "",
    "how many things lie here, or how high the cut is to be, is not known, so nobody can tell what "
    "the mower meets",
)
SPEED_UNKNOWN = Cause(
    22,
    "field speed not known",
    "unknown",
    "",
    "how fast the machine mows is not known, so nobody can tell whether it stops in what is seen",
)
HEADING_UNKNOWN = Cause(
    23,
    "best heading not known",
    "unknown",
    "",
    "part of the field has no slope: with it another line of travel may be the best, and this "
    "ground lie across it",
)
ERROR_UNKNOWN = Cause(
    20,
    "error not known",
    "unknown",
    "",
    "how wrong the elevation may be is not known, so the slope may be steeper",
)

#: Makes no zone: its ground is hatched over what else is known of it.
UNLOOKED = Cause(9, "not looked at", "unknown", "", "not looked at well enough lately")

GROUND_CAUSES = (
    NONE,
    STEEP_STOP,
    STEEP_CARE,
    SIDE_STOP,
    SIDE_CARE,
    NO_ELEVATION,
    BLIND,
    STABILITY,
    FLOODED,
    UNLOOKED,
    DROP,
    TURN_STOP,
    MAYBE_STEEP,
    MAYBE_SIDE,
    TURN_UNKNOWN,
    SIGHT_UNKNOWN,
    HOLLOW,
    CREST,
    TURN_CARE,
    HOLLOW_SEEN,
    ERROR_UNKNOWN,
    MAYBE_DROP,
    SPEED_UNKNOWN,
    HEADING_UNKNOWN,
    NO_HOLD,
    RAISE_CUT,
    LEFT_UNKNOWN,
)


#: Laid over whole fields: what is unknown and makes no zone of its own.
OVERLAID = (UNLOOKED, ERROR_UNKNOWN, SPEED_UNKNOWN, HEADING_UNKNOWN, LEFT_UNKNOWN)


def all_causes(tables: Tables) -> dict[int, Cause]:
    """Every cause by its code: the ground's, then one for each hazard kind in the table's order."""
    causes = {cause.code: cause for cause in GROUND_CAUSES}
    for number, row in enumerate(tables.rows("hazard_kinds")):
        key = row.key.split(".", 1)[1]
        level: Level = row.words["level"]  # type: ignore[assignment]
        causes[FIRST_HAZARD + number] = Cause(
            FIRST_HAZARD + number, key, level, row.words["action"], f"marked: {row.words['label']}"
        )
    return causes


def hazard_codes(tables: Tables) -> dict[str, int]:
    """Cause code of each hazard kind."""
    return {
        row.key.split(".", 1)[1]: FIRST_HAZARD + number
        for number, row in enumerate(tables.rows("hazard_kinds"))
    }


def severities(causes: dict[int, Cause]) -> NDArray[np.uint8]:
    """How bad each code is, as an array to look codes up in.

    The level comes first; of two causes of one level the one that keeps the machine out is worse,
    since every other action leaves the ground open to it.

    Examples
    --------
    >>> order = severities({0: NONE, 1: STEEP_STOP, 3: SIDE_STOP, 5: NO_ELEVATION})
    >>> bool(order[1] > order[3] > order[5] > order[0])
    True
    """
    order = 2 * level_ranks(causes)
    for code, cause in causes.items():
        order[code] += cause.action == KEEP_OUT
    return order


def level_ranks(causes: dict[int, Cause]) -> NDArray[np.uint8]:
    """Rank of the level behind each code, as an array to look codes up in."""
    ranks = np.zeros(max(causes) + 1, np.uint8)
    for code, cause in causes.items():
        ranks[code] = rank(cause.level)
    return ranks
