"""Does the machine pass under what is above a leg; do signs let its height and length pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldmap.roads.facts import WAYS, OnRoad, Places
from fieldmap.roads.limits import Words, limit_of, limit_rules, unposted, what_fits
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
    worse_of,
)
from fieldmap.tables import Tables

LIMIT = Words("height limit", "transport height")
_PHYSICAL_LENGTH = tuple(f"maxlength:physical{way}" for way in WAYS)
LENGTH = Words("length limit", "length")


def height_check(
    places: Places,
    *,
    under_bridge: Mask,
    under_line: Mask,
    machine: OnRoad,
    measured_m: Floats,
    sign_m: Floats,
    tables: Tables,
) -> Verdict:
    """Hold each leg's clear height against the machine's with its margin.

    Measured wins; then the physical figure, or the posted one where it stands alone. A power
    line, a bridge above, a tunnel or a roof without a figure is unknown. With nothing mapped
    above, a machine up to the statutory height passes on an assumption.

    Parameters
    ----------
    places : Places
    under_bridge, under_line : ndarray of bool
        What the map shows crossing above each leg.
    machine : OnRoad
    measured_m : ndarray
        Measured clear heights, NaN where there is none.
    sign_m : ndarray
        Limits read off signs on the spot, NaN where nobody read one.
    tables : Tables
    """
    tall = machine.height_m
    margin = np.where(
        under_line, tables.number("clearances.line_clear_m"), tables.number("clearances.height_m")
    )
    need = tall + margin
    under_it = np.full(len(need), tall + tables.number("clearances.height_m"))
    posted = what_fits(places, "maxheight", length_m, machine, read_off=sign_m)
    rules = [
        Rule(np.isnan(need), UNKNOWN, ASSUMED, "The machine's transport height is not known."),
        figure(measured_m, need, MEASURED, "The clear height was measured."),
        replace(
            too_small(posted.value, under_it, "A height limit leaves no margin.", tag=posted.tag),
            need=under_it,
        ),
        Rule(
            posted.doubt,
            UNKNOWN,
            MAPPED,
            "A height limit stands on the map but gives no figure to hold against.",
            tag=posted.tag,
        ),
        Rule(
            under_line,
            UNKNOWN,
            ASSUMED,
            "A power line crosses above; its clearance is unknown unless measured.",
        ),
        figure(posted.value, need, MAPPED, "The mapped height leaves the margin.", tag=posted.tag),
        *_unposted(places, under_bridge, tall, tables.number("clearances.statutory_height_m")),
    ]
    return first_that_holds("height", "m", rules, need=need)


def _unposted(places: Places, under_bridge: Mask, tall: float, usual_m: float) -> list[Rule]:
    """What holds where no height is mapped: roofs and bridges above are unknown."""
    roofed = places.has("tunnel", "covered", but=frozenset(("no", "arcade")))
    usual = np.full(len(roofed), usual_m)
    return [
        Rule(under_bridge, UNKNOWN, ASSUMED, "A bridge crosses above and no height is mapped."),
        Rule(
            roofed,
            UNKNOWN,
            ASSUMED,
            "The road is roofed and no height is mapped.",
            tag=places.texts("tunnel", "covered"),
        ),
        Rule(
            tall <= usual,
            PASS,
            ASSUMED,
            "Nothing is mapped above and the machine keeps the statutory height.",
            usual,
            usual,
            need=tall,  # held against the machine itself, without a margin
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


def height_limit_check(places: Places, *, machine: OnRoad, measured_m: Floats) -> Verdict:
    """Hold posted height limits against the machine's transport height, without a margin.

    Parameters
    ----------
    places : Places
        Directed legs or nodes.
    machine : OnRoad
    measured_m : ndarray
        Limits read off signs, NaN where nobody read one.
    """
    need = np.full(len(places.row), machine.height_m)
    limit = limit_of(places, "maxheight", length_m, machine)
    rules = [*limit_rules(limit, need, measured_m, LIMIT), *unposted(limit, LIMIT)]
    return first_that_holds("height_limit", "m", rules, need=need)


def length_check(places: Places, *, machine: OnRoad, measured_m: Floats) -> Verdict:
    """Hold the train's length against posted limits and what fits, where a tag says so.

    Parameters
    ----------
    places : Places
        Directed legs or nodes.
    machine : OnRoad
    measured_m : ndarray
        Limits read off signs, NaN where nobody read one.
    """
    need = np.full(len(places.row), machine.length_m)
    limit = limit_of(places, "maxlength", length_m, machine)
    fits = places.least(_PHYSICAL_LENGTH, length_m)
    there = np.isfinite(fits.value) | fits.doubt
    what = "A tag says how long a machine fits"
    physical = [
        too_small(fits.value, need, f"{what}, and it is too long.", tag=fits.tag),
        Rule(
            there & (fits.doubt | np.isnan(need)),
            UNKNOWN,
            MAPPED,
            f"{what}, but nothing can be held against it.",
            tag=fits.tag,
        ),
        Rule(there, PASS, MAPPED, f"{what}, and it is kept.", fits.value, fits.value, fits.tag),
        Rule(~there, PASS, ASSUMED, "No length is mapped."),
    ]
    posted = [*limit_rules(limit, need, measured_m, LENGTH), *unposted(limit, LENGTH)]
    return worse_of(
        first_that_holds("length", "m", posted, need=need),
        first_that_holds("length", "m", physical, need=need),
    )
