"""How much the knives have mown and struck since somebody last had them in hand."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from fieldmap.finding import Finding, Level
from fieldmap.machine import Machine
from fieldmap.read.ledger import CHANGED, LOOKED, MOWN, TURNED
from fieldmap.risk.told import Told
from fieldmap.tables import Tables

MOWN_SINCE = "knives since the last change"
HITS_SINCE = "hits since the last change"
_CAUTION = (
    "WARNING: stop, shut down, take the key out and wait until all stands still before going near "
    "the knives; a cracked one can fly. No interval is published: practice is a daily look, and "
    "a change, in pairs on a disc, of what is rounded, bent, cracked or worn at its hole (from "
    "memory). The machine's manual decides."
)
_WRITE = "Write down mowing and knife changes with 'fieldmap ledger'"

_Bools = NDArray[np.bool_]


class KnifeState(NamedTuple):
    """A machine's knives on a day, as far as ledger and log say.

    ``did`` and ``day`` are the last change or turning; ``mown_ha`` is ``None`` when an area is
    not known, ``hits`` and ``not_looked_at`` (hits since anybody had the knives in hand) when
    there is no log. ``later`` counts the machine's rows of later days, which are left out.
    """

    did: str
    day: date
    mown_ha: float | None
    hits: int | None
    not_looked_at: int | None
    later: int = 0


def knife_state(
    machine_id: str,
    ledger: pd.DataFrame,
    hits: pd.DataFrame | None,
    *,
    day: date,
    area_of: Mapping[str, float],
) -> KnifeState | None:
    """Hectares and hits since the knives were last changed or turned.

    Parameters
    ----------
    machine_id : str
    ledger : DataFrame
        As :func:`fieldmap.read.ledger.read_ledger` gives it, in the order of the file.
    hits : DataFrame or None
        Column ``day`` (NaT when nobody knows) and ``fields``, a tuple of the field ids that the
        place reaches, empty when none; ``None`` without a log.
    day : date
        Rows and hits of later days are left out.
    area_of : mapping
        Hectares of each field, for rows without an area.

    Returns
    -------
    KnifeState or None
        ``None`` when no change is written down up to the day.

    Notes
    -----
    Of one day, a change counts as made before all mowing, unless the rows of that day stand
    together in the file, between no later and no earlier ones: then their order is the order of
    things. A hit of the day of the change counts, unless that order puts all the machine's
    mowing of that day before the change. A hit counts wherever it is, but for one case: the
    ledger says that another machine mowed its field on its day, and that this one has not been
    there since the change. So a row or a hit that is added never makes less of it.

    Examples
    --------
    >>> table = pd.DataFrame(
    ...     {"date": pd.to_datetime(["2026-06-01", "2026-06-02"]), "machine": "m",
    ...      "did": ["knives changed", "mown"], "field_id": ["", "A"], "area_ha": np.nan})
    >>> state = knife_state("m", table, None, day=date(2026, 6, 9), area_of={"A": 4.5})
    >>> state.mown_ha, state.hits
    (4.5, None)
    >>> knife_state("other", table, None, day=date(2026, 6, 9), area_of={}) is None
    True
    """
    whole = ledger.reset_index(drop=True)
    change = _latest(whole, machine_id, (CHANGED, TURNED), day)
    look = _latest(whole, machine_id, (CHANGED, TURNED, LOOKED), day)
    if change is None or look is None:
        return None
    own = ((whole["machine"] == machine_id) & (whole["did"] == MOWN)).to_numpy(bool)
    told_by = _up_to(whole["date"], day)
    later = int(((whole["machine"] == machine_id) & ~told_by).sum())
    own = own & told_by
    since = own & _after(whole["date"], change)
    told = None if hits is None else hits[_up_to(hits["day"], day)].reset_index(drop=True)
    return KnifeState(
        did=str(whole["did"].iloc[change]),
        day=whole["date"].iloc[change].date(),
        mown_ha=_hectares(whole[since], area_of),
        hits=None if told is None else _count(whole, own, change, told, machine_id),
        not_looked_at=None if told is None else _count(whole, own, look, told, machine_id),
        later=later,
    )


def knife_change_findings(
    machine: Machine | None,
    ledger: pd.DataFrame | None,
    hits: pd.DataFrame | None,
    *,
    day: date,
    area_of: Mapping[str, float],
    tables: Tables,
) -> list[Told]:
    """Whether the knives are due: hectares and hits against the owner's own intervals.

    Parameters
    ----------
    machine : Machine or None
        ``knife_interval_ha`` and ``knife_interval_strikes``.
    ledger, hits, day, area_of
        As for :func:`knife_state`; ``None`` when the farm has no ledger, or no log.
    tables : Tables
        ``poor_cut.knives_worn`` and ``poor_cut.knives_broken``: what worn knives look like.

    Returns
    -------
    list of Told
        One about hectares and one about hits, or one that says what is not known.
    """
    where = "no machine" if machine is None else machine.name
    if machine is None:
        why, change = "There is no machine whose knives could be counted.", "Add machines.toml"
    elif ledger is None:
        why, change = "There is no ledger: nobody knows what these knives have mown.", _WRITE
    else:
        state = knife_state(machine.id, ledger, hits, day=day, area_of=area_of)
        if state is not None:
            return [_mown(machine, state, tables), _hits(machine, state, tables)]
        why = "The ledger holds no change of this machine's knives up to this day."
        change = f"Write down when the knives of {machine.name} were changed: 'fieldmap ledger'"
    return [Told(_finding("unknown", MOWN_SINCE, where, why, sources=("practice",)), change)]


def _finding(
    level: Level,
    what: str,
    where: str,
    why: str,
    *,
    sources: tuple[str, ...],
    value: float | None = None,
    limit: float | None = None,
    unit: str = "ha",
) -> Finding:
    return Finding(
        level=level,
        what=what,
        where=where,
        why=why,
        basis="assumed" if value is None else "measured",
        sources=sources,
        value=value,
        limit=limit,
        unit=unit,
        caution=_CAUTION,
    )


def _mown(machine: Machine, state: KnifeState, tables: Tables) -> Told:
    limit, change = machine.knife_interval_ha, ""
    since = f"{state.did[0].upper()}{state.did[1:]} on {state.day.isoformat()}"
    level: Level = "unknown"
    if limit is None:
        why = f"{since}; no interval is given for this machine, and none is published."
        change = "Say in machines.toml after how many hectares the knives are changed"
    elif state.mown_ha is None:
        why = f"{since}; the area of something mown since is not known."
        change = "Write the area_ha into the ledger"
    elif state.mown_ha >= limit:
        level, why = "care", f"{since}; the owner's interval is reached."
        change = "Look at the knives, change or turn them, and write it down"
    else:
        level, why = "ok", f"{since}; the owner's interval is not reached, as the ledger has it."
    if state.later:
        why += f" {state.later} of its rows are of later days and do not count."
    sources = (*tables.source_of("poor_cut.knives_worn"), "farm")
    return Told(
        _finding(
            level,
            MOWN_SINCE,
            machine.name,
            why,
            sources=sources,
            value=state.mown_ha,
            limit=limit,
        ),
        change,
    )


def _hits(machine: Machine, state: KnifeState, tables: Tables) -> Told:
    level, why, change = _hits_words(state, machine.knife_interval_strikes)
    return Told(
        _finding(
            level,
            HITS_SINCE,
            machine.name,
            why,
            sources=(*tables.source_of("poor_cut.knives_broken"), "farm"),
            value=state.hits,
            limit=machine.knife_interval_strikes,
            unit="count",
        ),
        change,
    )


def _hits_words(state: KnifeState, limit: int | None) -> tuple[Level, str, str]:
    """Level, reason and what would change it. A hit calls for a look whatever the interval."""
    if state.hits is None:
        change = "Log what is hit with 'fieldmap hazards add --hit'"
        return "unknown", "There is no hazard log, so nobody knows what was hit.", change
    if state.not_looked_at:
        why = "Something was hit, and nobody wrote down a look at the knives since."
        change = (
            "Look at the knives before going on, and write it down with 'fieldmap ledger' (on the "
            "day of the hit it counts under that day's mowing)"
        )
        return "care", why, change
    if not state.hits:
        return "ok", "No hit is in the log since.", ""
    if limit is None:
        why = "Somebody looked after the last hit; after how many to change, nobody said."
        return "care", why, "Say in machines.toml after how many hits the knives are changed"
    if state.hits >= limit:
        return "care", "The owner's number of hits is reached.", "Change the knives"
    return "ok", "Somebody looked after the last hit; the owner's number is not reached.", ""


def _up_to(days: pd.Series, day: date) -> _Bools:
    """Days that are not later; a day that nobody knows counts."""
    return ~(days > pd.Timestamp(day)).to_numpy(bool)


def _latest(ledger: pd.DataFrame, machine_id: str, dids: tuple[str, ...], day: date) -> int | None:
    """Row of the machine's last such entry up to a day; of one day the lowest in the file."""
    named = ((ledger["machine"] == machine_id) & ledger["did"].isin(dids)).to_numpy(bool)
    rows = np.flatnonzero(named & _up_to(ledger["date"], day))
    if not len(rows):
        return None
    days = ledger["date"].to_numpy()[rows]
    return int(rows[days == days.max()][-1])


def _in_order(days: pd.Series, row: int) -> bool:
    """Whether the rows of this row's day stand in the order in which things were done."""
    held = days.to_numpy()
    same = np.flatnonzero(held == held[row])
    first, last = int(same[0]), int(same[-1])
    together = last - first + 1 == len(same)
    later_above = first > 0 and held[first - 1] > held[row]
    earlier_below = last + 1 < len(held) and held[last + 1] < held[row]
    return together and not later_above and not earlier_below


def _after(days: pd.Series, row: int) -> _Bools:
    """Rows that count as done after a row."""
    held = days.to_numpy()
    same = held == held[row]
    if _in_order(days, row):
        same &= np.arange(len(held)) > row
    return (held > held[row]) | same


def _hectares(mown: pd.DataFrame, area_of: Mapping[str, float]) -> float | None:
    whole = mown["field_id"].map(lambda name: area_of.get(name, np.nan)).astype(float)
    total = float(mown["area_ha"].fillna(whole).sum(skipna=False))
    return None if np.isnan(total) else total


def _count(ledger: pd.DataFrame, own: _Bools, row: int, hits: pd.DataFrame, machine_id: str) -> int:
    """Hits since a row that may be this machine's."""
    then = ledger["date"].iloc[row]
    since = own & _after(ledger["date"], row)
    of_that_day = own & (ledger["date"] == then).to_numpy(bool)
    done_before = bool(of_that_day.any()) and not (of_that_day & since).any()
    counts = ~(hits["day"] < then).to_numpy(bool)
    if done_before:
        counts &= ~(hits["day"] == then).to_numpy(bool)
    been = set(ledger["field_id"][since])
    mown = ledger[(ledger["did"] == MOWN) & (ledger["machine"] != machine_id)]
    others = set(zip(mown["date"], mown["field_id"], strict=True))
    told = zip(hits["day"], hits["fields"], counts, strict=True)
    return sum(bool(held) and not _of_others(when, at, been, others) for when, at, held in told)


def _of_others(
    when: pd.Timestamp,
    at: tuple[str, ...],
    been: set[str],
    others: set[tuple[pd.Timestamp, str]],
) -> bool:
    """Whether the ledger shows that another machine made this hit."""
    return any((when, field) in others for field in at) and "" not in been and been.isdisjoint(at)
