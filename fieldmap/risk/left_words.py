"""The count of things left as a finding, and how it is said to a person."""

from __future__ import annotations

from fieldmap.finding import Finding, Level
from fieldmap.hazards.density import Estimate
from fieldmap.risk.told import GROUND_CAUTION, Told
from fieldmap.tables import Constant, Tables

STONES = "stones_"
#: What cannot be reckoned, and why.
NO_LOG = "all that lies there, for there is no hazard log"
NO_LOG_BUT_STONES = "all but the stones of the class told, for there is no hazard log"
NO_CLASS = "stones, for nobody said the stoniness class"
NO_ROADS = "litter by a road, for no road network reaches round the field"


def left_finding(
    field_id: str,
    what: str,
    one: Estimate,
    most: Estimate,
    hardest: str,
    seen_by: tuple[str, ...],
    log_name: str,
    tables: Tables,
) -> Told:
    """What is left of one source of things.

    Parameters
    ----------
    field_id, what : str
    one, most : Estimate
        Without and with what nobody could name counted too.
    hardest : str
        How often the kind that is hardest to see is seen, in words; may be empty.
    seen_by : tuple of str
        Sources of how well such things are seen.
    log_name : str
    tables : Tables
        ``density.*``, ``looking.enough_chance``.
    """
    row = tables[f"density.{one.source_of_things}"]
    enough, care = tables["looking.enough_chance"], tables["density.care_left_per_ha"]
    share, limit = one.looked_ha / one.area_ha, care.number() * one.area_ha
    level: Level = "ok"
    change = ""
    unlooked = share < enough.number()
    if unlooked:
        level = "unknown"
    elif most.found > one.found and most.left >= limit:
        level, change = "unknown", f"Say what the marks of unknown kind are, for {what}"
    elif max(one.left, _class_leaves(one, row)) >= limit:
        level, change = "care", f"Walk {one.zone} once more and pick up what is found: {what}"
    names, systems = class_words(one, tables)
    sources = (log_name, "tracks", *one.sources, *systems, *seen_by, enough.source)
    why = reckoned_words(one, row, share, hardest) + nameless_words(one, most) + names
    return Told(
        Finding(
            level=level,
            what=what,
            where=field_id,
            why=why,
            basis="assumed",
            sources=tuple(dict.fromkeys((*sources, care.source))),
            value=one.left,
            low=one.left_low,
            high=max(one.left, most.left, one.left_high, most.left_high),
            limit=limit,
            unit="count",
            caution=GROUND_CAUTION,
        ),
        change,
        echo=unlooked,
    )


def _class_leaves(one: Estimate, row: Constant) -> float:
    """Things a look leaves unseen of the least that a stoniness class stands for.

    The class was told by somebody who knows the ground: a log without stones does not undo it.
    The farm's own density in place of the class promises no least number.
    """
    if not one.source_of_things.startswith(STONES) or row.low is None:
        return 0.0
    return row.low * (one.area_ha - one.looked_ha)


def reckoned_words(one: Estimate, row: Constant, share: float, hardest: str) -> str:
    """What was found, how hard the look was, what is left and what was assumed.

    Parameters
    ----------
    one : Estimate
    row : Constant
        The row of ``density.csv`` it began from.
    share : float
        Share of such things that the walks see.
    hardest : str
        The same of the kind that is hardest to see, in words; may be empty.
    """
    hits = f", hits by a machine: {one.hits}" if one.hits else ""
    before = row.number() * one.area_ha
    span = ""
    if row.low is not None and row.high is not None:
        span = f" ({few(row.low * one.area_ha)} to {few(row.high * one.area_ha)})"
    most = ""
    if row.high is not None and one.density >= row.high:
        most = (
            f" Marks without walks to match would make it more than the {few(row.high)} a hectare "
            "that is the most reckoned with before looking."
        )
    least = f"The true number is at least the {one.found} found; what" if one.found else "What"
    return (
        f"{one.zone.capitalize()}: {one.found} found{hits}; the walks that count see "
        f"{100 * share:.0f}% of such things{hardest}. About {few(one.left)} ({few(one.left_low)} "
        f"to {few(one.left_high)}) are reckoned to lie unseen; {few(before)}{span} were assumed "
        f"before looking.{most} {least} is buried is never seen."
    )


def nameless_words(one: Estimate, most: Estimate) -> str:
    """What marks of unknown kind would change; nothing where there are none.

    Parameters
    ----------
    one, most : Estimate
        Without them, and with them counted as found.
    """
    count = most.found - one.found
    if count == 0:
        return ""
    what = "1 mark of unknown kind counts" if count == 1 else f"{count} marks of unknown kind count"
    return (
        f" {what} for none of these: counted too, {few(most.left)} (up to {few(most.left_high)}) "
        "would be reckoned to lie unseen."
    )


def class_words(one: Estimate, tables: Tables) -> tuple[str, tuple[str, ...]]:
    """What a stoniness class is called in the two systems, with their sources.

    Nothing for what is no stones. The names differ for the same cover, so both are given.
    """
    if not one.source_of_things.startswith(STONES):
        return "", ()
    number = one.source_of_things.removeprefix(STONES)
    here, there = tables[f"density.cansis_{number}"], tables[f"density.nrcs_{number}"]
    names = f"{here.words['label']} in CanSIS"
    if there.words["label"]:
        names += f", the same cover is {there.words['label']} in NRCS"
    words = f" Stoniness class {number} is {names}."
    least = tables[f"density.{one.source_of_things}"].low
    if least is not None and one.density_high < least:
        words += (
            " Fewer were written down than the class stands for: it may be of other ground, or "
            "stones were passed by unwritten."
        )
    return words, (here.source, there.source)


def few(count: float) -> str:
    """A count as a person reads it.

    Examples
    --------
    >>> few(0.0), few(0.04), few(3.21), few(9.97), few(1234.5)
    ('0', '0.04', '3.2', '10', '1,234')
    """
    if count < 0.1:
        return f"{count:.2g}"
    return f"{count:.1f}".removesuffix(".0") if count < 10 else f"{count:,.0f}"


def no_log(field_id: str, log_name: str) -> Told:
    """Without a log nothing can be reckoned."""
    why = "There is no hazard log: without what was found nobody can reckon what is left."
    change = "Log what is found with 'fieldmap hazards import'"
    return Told(_unknown(field_id, "things left", why, (log_name,)), change)


def no_class(field_id: str) -> Told:
    """Without a stoniness class nobody knows how many stones to reckon with."""
    why = "Nobody said the stoniness class, so how many stones to reckon with is not known."
    change = "Say the stoniness class of the field, 0 when it is clean"
    return Told(_unknown(field_id, "stones left", why, ("own",)), change)


def no_roads(field_id: str) -> Told:
    """Without roads round the field nobody knows where litter gathers."""
    why = (
        "No road network reaches round this field: whether a public road runs by it, and what "
        "was thrown out there, is not known."
    )
    change = "Give roads in farm.toml that reach round the fields"
    return Told(_unknown(field_id, "road litter left", why, ("own",)), change)


def _unknown(field_id: str, what: str, why: str, sources: tuple[str, ...]) -> Finding:
    return Finding(
        level="unknown",
        what=what,
        where=field_id,
        why=why,
        basis="assumed",
        sources=sources,
        unit="count",
        caution=GROUND_CAUTION,
    )
