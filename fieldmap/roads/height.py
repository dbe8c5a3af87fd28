"""Does the machine pass under what is above a leg; and is it short enough."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldmap.roads.facts import OnRoad, Places
from fieldmap.roads.tags import length_m
from fieldmap.roads.verdict import (
    ASSUMED,
    MAPPED,
    MEASURED,
    PASS,
    UNKNOWN,
    Floats,
    Mask,
    Rule,
    Verdict,
    figure,
    first_that_holds,
    too_small,
)
from fieldmap.tables import Tables

HEIGHT_KEYS = tuple(
    key + way
    for key in ("maxheight", "maxheight:physical")
    for way in ("", ":forward", ":backward")
)
LENGTH_KEYS = ("maxlength", "maxlength:physical")


def height_check(
    places: Places,
    *,
    under_bridge: Mask,
    under_line: Mask,
    machine: OnRoad,
    measured_m: Floats,
    tables: Tables,
) -> Verdict:
    """Hold each leg's clear height against the machine's with its margin.

    Measured wins; then the least posted or physical figure. A power line, a bridge above, a
    tunnel or a roof without a figure is unknown. With nothing mapped above, a machine up to
    the statutory height passes on an assumption.

    Parameters
    ----------
    places : Places
    under_bridge, under_line : ndarray of bool
        What the map shows crossing above each leg.
    machine : OnRoad
    measured_m : ndarray
        Measured clear heights, NaN where there is none.
    tables : Tables
    """
    tall = machine.height_m
    margin = np.where(
        under_line, tables.number("clearances.line_clear_m"), tables.number("clearances.height_m")
    )
    need = tall + margin
    posted_need = np.full(len(need), tall + tables.number("clearances.height_m"))
    posted = places.least(HEIGHT_KEYS, length_m)
    rules = [
        Rule(np.isnan(need), UNKNOWN, ASSUMED, "The machine's transport height is not known."),
        figure(measured_m, need, MEASURED, "The clear height was measured."),
        too_small(posted.value, posted_need, "A posted or physical height limit is too low."),
        Rule(
            posted.doubt,
            UNKNOWN,
            MAPPED,
            "A height limit stands on the map but gives no figure to hold against.",
        ),
        Rule(
            under_line,
            UNKNOWN,
            ASSUMED,
            "A power line crosses above; its clearance is unknown unless measured.",
        ),
        figure(posted.value, posted_need, MAPPED, "The posted height leaves the margin."),
        *_unposted(places, under_bridge, tall, tables.number("clearances.statutory_height_m")),
    ]
    found = first_that_holds("height", "m", rules, need=need)
    # the statutory height is held against the machine itself, without a margin
    by_law = (found.level == PASS) & (found.basis == ASSUMED)
    return replace(found, need=np.where(by_law, tall, found.need))


def _unposted(places: Places, under_bridge: Mask, tall: float, usual_m: float) -> list[Rule]:
    """What holds where no height is mapped: roofs and bridges above are unknown."""
    roofed = places.has("tunnel", "covered", but=("no", "arcade"))
    usual = np.full(len(roofed), usual_m)
    return [
        Rule(under_bridge, UNKNOWN, ASSUMED, "A bridge crosses above and no height is mapped."),
        Rule(roofed, UNKNOWN, ASSUMED, "The road is roofed and no height is mapped."),
        Rule(
            tall <= usual,
            PASS,
            ASSUMED,
            "Nothing is mapped above and the machine keeps the statutory height.",
            usual,
            usual,
        ),
        Rule(
            tall > usual,
            UNKNOWN,
            ASSUMED,
            "The machine is taller than the statutory height and no height is mapped.",
            usual,
            usual,
        ),
    ]


def length_check(places: Places, *, machine: OnRoad) -> Verdict:
    """Hold the train's length against a posted limit, where there is one."""
    need = np.full(len(places.row), machine.length_m)
    posted = places.least(LENGTH_KEYS, length_m)
    limited = np.isfinite(posted.value)
    rules = [
        Rule(
            limited & np.isnan(need),
            UNKNOWN,
            MAPPED,
            "A length limit is posted and the train's length is not known.",
            posted.value,
            posted.value,
        ),
        too_small(posted.value, need, "A posted length limit is too short."),
        Rule(posted.doubt, UNKNOWN, MAPPED, "A length limit cannot be read."),
        Rule(limited, PASS, MAPPED, "The posted length is kept.", posted.value, posted.value),
        Rule(~limited, PASS, ASSUMED, "No length limit is mapped."),
    ]
    return first_that_holds("length", "m", rules, need=need)
