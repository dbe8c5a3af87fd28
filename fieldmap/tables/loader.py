"""Reads the tables once, lays the user's own figures over them, and refuses what is unsourced."""

from __future__ import annotations

import csv
import difflib
import functools
import math
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from importlib import resources
from typing import Any, TypeVar

from fieldmap.errors import Fault, MisuseError, raise_all

FARM_SOURCE = "farm"
_PLAIN = ("key", "value", "low", "high", "unit", "source", "place", "note")
_MOST = 1e12
_Made = TypeVar("_Made")


@dataclass(frozen=True, slots=True)
class Source:
    """Where figures come from: title, publisher, year, address and how it was seen."""

    key: str
    title: str
    publisher: str
    year: str
    url: str
    mark: str  # seen | secondary | memory | computed | own | practice


@dataclass(frozen=True, slots=True)
class Constant:
    """One row of a table: a figure or a fact of the trade.

    ``value``, ``low`` and ``high`` are in ``unit`` (SI) or ``None``; ``words`` holds the
    row's other columns; ``overridden`` is true when the farm folder gave its own figure.
    """

    key: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    source: str
    place: str
    note: str
    words: Mapping[str, str]
    overridden: bool = False

    def number(self) -> float:
        """The value, for a row that must have one.

        Raises
        ------
        ValueError
            The row has no value.
        """
        if self.value is None:
            raise ValueError(f"table row {self.key} has no value")
        return self.value


@dataclass(frozen=True, eq=False)
class Tables:
    """All constants by key ``table.row``, and the sources they name.

    ``made`` holds what :func:`kept_by_tables` makes of them; it is not sent to other processes.
    """

    constants: Mapping[str, Constant]
    sources: Mapping[str, Source]
    made: dict[Any, Any] = field(default_factory=dict, init=False, repr=False)

    def __reduce__(self) -> tuple[Any, ...]:
        return Tables, (self.constants, self.sources)

    def __getitem__(self, key: str) -> Constant:
        """The row with this key.

        Raises
        ------
        MisuseError
            There is no such row; the nearest keys are named.
        """
        try:
            return self.constants[key]
        except KeyError:
            near = difflib.get_close_matches(key, self.constants, n=3)
            raise MisuseError(
                Fault(
                    "no such trade constant",
                    key,
                    "an answer cannot rest on a figure that is not there",
                    f"take one of: {', '.join(near)}" if near else "see 'fieldmap values'",
                )
            ) from None

    def number(self, key: str) -> float:
        """The value of the row with this key."""
        return self[key].number()

    def rows(self, table: str) -> Iterator[Constant]:
        """All rows of one table, in the order of its file."""
        return iter(_by_table(self).get(table, ()))

    def source_of(self, *keys: str) -> tuple[str, ...]:
        """Source keys behind these rows, each once, in order."""
        return tuple(dict.fromkeys(self[key].source for key in keys))

    def with_overrides(self, overrides: Mapping[str, Any], *, where: str = "farm.toml") -> Tables:
        """A copy in which the user's own figures win, marked as such.

        A key is ``table.row``, or ``table.row.column`` for another column of the row that holds
        metres, such as ``hazard_kinds.stone.sweep_tall_m``.

        Raises
        ------
        InputError
            A key is not in the tables or a figure is not a finite number.
        """
        faults: list[Fault] = []
        constants = dict(self.constants)
        for key, given in _flat(overrides):
            name, column = _row_and_column(key, constants)
            row = constants.get(name)
            if row is None or (not column and row.value is None):
                faults.append(_unknown_key(key, constants, where))
            elif not _usable(given):
                faults.append(_no_figure(key, given, "m" if column else row.unit, where))
            elif column:
                constants[name] = _with_column(row, column, float(given), where)
            else:
                constants[key] = replace(
                    row,
                    value=float(given),
                    low=None,
                    high=None,
                    source=FARM_SOURCE,
                    place=where,
                    overridden=True,
                )
        raise_all(faults)
        return Tables(constants, self.sources)


def kept_by_tables(make: Callable[[Tables], _Made]) -> Callable[[Tables], _Made]:
    """What a function makes of some tables, made once for each; not to be changed by who gets it.

    Examples
    --------
    >>> told = []
    >>> count = kept_by_tables(lambda tables: told.append("once") or len(tables.constants))
    >>> one = Tables({}, {})
    >>> count(one), count(one), told
    (0, 0, ['once'])
    """

    @functools.wraps(make)
    def once(tables: Tables) -> _Made:
        held = tables.made
        if make not in held:
            held[make] = make(tables)
        return held[make]

    return once


@kept_by_tables
def _by_table(tables: Tables) -> dict[str, tuple[Constant, ...]]:
    """The rows of each table, in the order of its file; a key may have more dots behind."""
    out: dict[str, list[Constant]] = {}
    for key, row in tables.constants.items():
        out.setdefault(key.partition(".")[0], []).append(row)
    return {table: tuple(rows) for table, rows in out.items()}


def _row_and_column(key: str, constants: Mapping[str, Constant]) -> tuple[str, str]:
    """The row's key and, where the key goes on to a column that holds metres, that column."""
    name, _, column = key.rpartition(".")
    row = constants.get(name)
    if key in constants or row is None or not column.endswith("_m"):
        return key, ""
    return (name, column) if _usable(_number(row.words.get(column, ""))) else (key, "")


def _with_column(row: Constant, column: str, figure: float, where: str) -> Constant:
    """The row with the farm's figure in one column; its place says which, and keeps its own."""
    return replace(
        row,
        words={**row.words, column: repr(figure)},
        source=FARM_SOURCE,
        place=f"{where}: {column}; {row.place}",
        overridden=True,
    )


def _unknown_key(key: str, constants: Mapping[str, Constant], where: str) -> Fault:
    near = difflib.get_close_matches(key, _keys(key, constants), n=3)
    return Fault(
        "override of an unknown trade constant",
        key,
        "the figure would be ignored",
        f"use one of {', '.join(near)}" if near else "see 'fieldmap values'",
        where=f"{where} [tables]",
    )


def _keys(key: str, constants: Mapping[str, Constant]) -> list[str]:
    """All keys of rows; of a key with a column also those of the columns that hold metres."""
    if key.count(".") < 2:
        return list(constants)
    columns = [
        f"{row.key}.{column}"
        for row in constants.values()
        for column, held in row.words.items()
        if column.endswith("_m") and _usable(_number(held))
    ]
    return [*columns, *constants]


def _no_figure(key: str, given: Any, unit: str, where: str) -> Fault:
    return Fault(
        f"override of {key} is not a number from 0 up",
        repr(given)[:60],
        "a limit must be a figure",
        f"give a number in {unit or 'plain units'}",
        where=f"{where} [tables]",
    )


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def _flat(overrides: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    """Keys and figures; a table of TOML inside another spells the same key."""
    for key, given in overrides.items():
        if not isinstance(given, Mapping) or "." in str(key):
            yield str(key), given
            continue
        for row, held in given.items():
            if isinstance(held, Mapping) and "." not in str(row):
                yield from ((f"{key}.{row}.{column}", figure) for column, figure in held.items())
            else:
                yield f"{key}.{row}", held


def _usable(given: Any) -> bool:
    if isinstance(given, bool) or not isinstance(given, int | float):
        return False
    return 0 <= given <= _MOST


@functools.cache
def load_tables() -> Tables:
    """The tables that ship with fieldmap.

    Raises
    ------
    InputError
        A row names a source that ``sources.toml`` does not have, or holds a bad figure.
    """
    folder = resources.files(__package__)
    sources = {
        key: Source(key=key, **{k: str(v) for k, v in entry.items()})
        for key, entry in tomllib.loads(folder.joinpath("sources.toml").read_text("utf-8")).items()
    }
    constants: dict[str, Constant] = {}
    faults: list[Fault] = []
    for entry in sorted(folder.iterdir(), key=lambda item: item.name):
        if not entry.name.endswith(".csv"):
            continue
        table = entry.name.removesuffix(".csv")
        lines = csv.DictReader(entry.read_text("utf-8").splitlines())
        for number, line in enumerate(lines, start=2):
            row = {name: (held or "").strip() for name, held in line.items() if name}
            where = f"{entry.name} line {number}"
            constant = _constant(f"{table}.{row.get('key', '')}", row, where, faults)
            if constant.key in constants:
                faults.append(
                    Fault(
                        "a key stands twice",
                        constant.key,
                        "one would hide the other",
                        "give each row its own key",
                        where=where,
                    )
                )
            if constant.source not in sources:
                faults.append(
                    Fault(
                        "a row without a known source",
                        constant.source,
                        "no figure stands without one",
                        "add it to sources.toml",
                        where=where,
                    )
                )
            constants[constant.key] = constant
    raise_all(faults)
    return Tables(constants, sources)


def _constant(key: str, row: dict[str, str], where: str, faults: list[Fault]) -> Constant:
    return Constant(
        key=key,
        value=_figure(row.get("value", ""), where, faults),
        low=_figure(row.get("low", ""), where, faults),
        high=_figure(row.get("high", ""), where, faults),
        unit=row.get("unit", ""),
        source=row.get("source", ""),
        place=row.get("place", ""),
        note=row.get("note", ""),
        words={name: held for name, held in row.items() if name not in _PLAIN},
    )


def _figure(text: str, where: str, faults: list[Fault]) -> float | None:
    if not text:
        return None
    try:
        figure = float(text)
    except ValueError:
        figure = math.nan
    if not math.isfinite(figure):
        faults.append(
            Fault(
                "a figure that is not a number",
                text,
                "it cannot be computed with",
                "write a plain decimal",
                where=where,
            )
        )
    return figure
