"""What to look at, and in which order, when the cut is poor.

The order is the trade's habit: no source was found for it, and it says so.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping, Sequence

from fieldmap.advice.knife_change import HITS_SINCE
from fieldmap.errors import Fault, MisuseError
from fieldmap.finding import Finding
from fieldmap.machine import Machine
from fieldmap.tables import Constant, Tables
from fieldmap.words import plain_words

_LAST = "maker_setting"
_WORN, _BROKEN = "knives_worn", "knives_broken"
_KNIVES = (_WORN, _BROKEN)
_FAST, _SLOW = "too_fast", "too_slow"
_CAUTION = (
    "WARNING: stop, shut down, take the key out and wait until all stands still before touching "
    "knives, discs or drives. The order is common practice, no source; the manual decides."
)


def asked_symptoms(said: Collection[str], tables: Tables) -> tuple[str, ...]:
    """Keys of the symptoms that people's words mean, each once.

    Raises
    ------
    MisuseError
        Nothing was said, or words that mean none of them; every one is named.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> asked_symptoms(["Torn stems", "soil"], load_tables())
    ('ragged', 'soil')
    """
    meant = {plain: key for key, names in _names(tables).items() for plain in names}
    words = [plain_words(word) for word in said]
    strange = [word for word, plain in zip(said, words, strict=True) if plain not in meant]
    if strange or not words:
        raise MisuseError(_no_symptom(word, meant) for word in strange or [""])
    return tuple(dict.fromkeys(meant[plain] for plain in words))


def poor_cut(
    symptoms: Collection[str],
    *,
    speed_kmh: float | None,
    machine: Machine,
    knives: Sequence[Finding] = (),
    tables: Tables,
) -> list[Finding]:
    """The checks to make, in order.

    Knives come first when they are due, or when nobody knows; then what else is known to be off
    and would explain what was seen; then by how much of it a check would explain; last, always,
    back to the manual's own setting.

    Parameters
    ----------
    symptoms : collection of str
        Keys of ``cut_symptoms``.
    speed_kmh : float or None
        How fast it was mown; ``None`` when nobody said.
    machine : Machine
        Its own ``field_speed_kmh`` counts as too fast from there on.
    knives : sequence of Finding
        As :func:`fieldmap.advice.knife_change.knife_change_findings` tells them; none when
        nothing is known, which counts as due.
    tables : Tables
        ``poor_cut`` and ``cut_symptoms``.

    Returns
    -------
    list of Finding
        ``care`` where what is known points to it, else ``unknown``: nobody has looked yet.

    Raises
    ------
    MisuseError
        A symptom that the tables do not have.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> mower = Machine(id="m", name="the mower", kind="pull-type")
    >>> told = poor_cut(["lumps"], speed_kmh=None, machine=mower, tables=load_tables())
    >>> [told[0].what, told[-1].what]
    ['knives worn', "back to the maker's own setting"]
    """
    seen = asked_symptoms(symptoms, tables)
    facts = _knife_facts(knives) | _speed_facts(speed_kmh, machine, tables)
    refuted = _refuted(speed_kmh, machine, tables)
    checks = [
        row for row in tables.rows("poor_cut") if row.words["order"] and _own(row) not in refuted
    ]
    kept = [row for row in checks if _own(row) == _LAST or _own(row) in facts or _met(row, seen)]
    kept.sort(key=lambda row: _place(row, seen, facts))
    return [_finding(row, seen, facts, speed_kmh, machine, tables) for row in kept]


def _own(row: Constant) -> str:
    return row.key.split(".", 1)[1]


def _met(row: Constant, seen: Collection[str]) -> list[str]:
    """What of that which was seen a check would explain."""
    explains = row.words["explains"].split(";")
    return [one for one in seen if one in explains]


def _place(row: Constant, seen: Collection[str], facts: Mapping[str, str]) -> tuple[int, int, int]:
    """Where a check comes; less is earlier."""
    key, met = _own(row), len(_met(row, seen))
    if key == _LAST:
        group = 4
    elif key in facts and key in _KNIVES:
        group = 0
    elif key in facts and met:
        group = 1
    else:
        group = 2 if met else 3
    return group, -met, int(row.words["order"])


def _knife_facts(knives: Sequence[Finding]) -> dict[str, str]:
    """What is known, or not known, of the knives that makes them worth a look before all else."""
    if not knives:
        return dict.fromkeys(_KNIVES, "Nobody knows how much these knives have mown")
    facts: dict[str, str] = {}
    for one in knives:
        if one.level == "ok":
            continue
        of_hits, nothing_known = one.what == HITS_SINCE, one.value is None
        keys = (_BROKEN,) if of_hits else _KNIVES if nothing_known else (_WORN,)
        for key in keys:
            facts.setdefault(key, one.why.rstrip("."))
    return facts


def _speed_facts(speed_kmh: float | None, machine: Machine, tables: Tables) -> dict[str, str]:
    if speed_kmh is None:
        return {}
    limit = _fastest(machine, tables)
    if speed_kmh > limit:
        own = limit == machine.field_speed_kmh
        whose = "this machine's own field speed" if own else "is usual"
        return {_FAST: f"It was mown faster than {whose}"}
    if speed_kmh < tables.number("poor_cut.slowest"):
        return {_SLOW: "It was mown slower than is usual"}
    return {}


def _fastest(machine: Machine, tables: Tables) -> float:
    usual = tables.number("poor_cut.fastest")
    return min(usual, machine.field_speed_kmh or usual)


def _refuted(speed_kmh: float | None, machine: Machine, tables: Tables) -> tuple[str, ...]:
    """The checks that the speed speaks against: at or over the limit it is not too slow."""
    if speed_kmh is None:
        return ()
    if speed_kmh >= _fastest(machine, tables):
        return (_SLOW,)
    return (_FAST,) if speed_kmh < tables.number("poor_cut.slowest") else ()


def _finding(
    row: Constant,
    seen: Collection[str],
    facts: Mapping[str, str],
    speed_kmh: float | None,
    machine: Machine,
    tables: Tables,
) -> Finding:
    key = _own(row)
    met = [tables[f"cut_symptoms.{one}"].words["label"] for one in _met(row, seen)]
    explains = f" It would explain: {', '.join(met)}." if met else ""
    known = f"{facts[key]}. " if key in facts else ""
    limits = {_FAST: _fastest(machine, tables), _SLOW: tables.number("poor_cut.slowest")}
    speed = speed_kmh if key in limits else None
    return Finding(
        level="care" if key in facts else "unknown",
        what=row.words["label"],
        where=machine.name,
        why=f"{known}Check {row.words['look']}.{explains}",
        basis="assumed",
        sources=(row.source, *(_speed_source(key, tables) if speed is not None else ())),
        value=speed,
        limit=limits.get(key),
        unit="km/h" if key in limits else "",
        choice=row.words["do"],
        caution=_CAUTION,
    )


def _speed_source(key: str, tables: Tables) -> tuple[str, ...]:
    return tables.source_of("poor_cut.fastest" if key == _FAST else "poor_cut.slowest")


def _names(tables: Tables) -> dict[str, set[str]]:
    """Key of each symptom -> the words for it."""
    return {
        _own(row): {
            plain_words(name)
            for name in (_own(row), row.words["label"], *row.words["aliases"].split(";"))
        }
        for row in tables.rows("cut_symptoms")
    }


def _no_symptom(said: str, meant: Mapping[str, str]) -> Fault:
    near = difflib.get_close_matches(plain_words(said), meant, n=1)
    mend = (
        f"did you mean {meant[near[0]]}?"
        if near
        else f"say {', '.join(dict.fromkeys(meant.values()))}"
    )
    return Fault(
        "no such fault of a cut" if said else "nothing was said of the cut",
        said or "nothing",
        "the checks go by what was seen",
        mend,
    )
