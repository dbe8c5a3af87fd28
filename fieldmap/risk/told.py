"""A finding with the sentence that says what would change it."""

from __future__ import annotations

from typing import NamedTuple

from fieldmap.finding import Finding

SLOPE_CAUTION = (
    "WARNING: a slope worked out from a map is never leave to drive there. Elevation is old and "
    "does not show ruts, holes, washouts or new settling; wet grass slides before a machine tips. "
    "The machine's manual and the person who walked the ground decide; roll bar up, belt on."
)
GROUND_CAUTION = (
    "WARNING: a clear log is not a clear field. Somebody has to look before each cut; what is "
    "hidden in the sward is missed even where people walked."
)


class Told(NamedTuple):
    """What the tool tells, and what a person can do that would change it ("" when nothing).

    ``echo``: it follows from another finding and need not be named again beside it.
    """

    finding: Finding
    change: str = ""
    echo: bool = False
