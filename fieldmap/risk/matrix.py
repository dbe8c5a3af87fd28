"""How grave and how likely: the risk matrix of a public-domain standard, for the order of work.

The ratings are ordinal. They say what to do first; nothing is multiplied, and no rating is a
chance.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from fieldmap.tables import Constant, Tables

#: From the least to the gravest.
ORDER = ("Eliminated", "Low", "Medium", "Serious", "High")
#: The rating that asks for care by itself.
GRAVE = "High"
SEVERITIES = (1, 2, 3, 4)
_BANDS = ("A", "B", "C", "D", "E")


class Rated(NamedTuple):
    """A kind of thing with its severity (1 the gravest to 4), likelihood (A to F) and rating."""

    kind: str
    severity: int
    likelihood: str
    rating: str

    @property
    def words(self) -> str:
        """As a person reads it.

        Examples
        --------
        >>> Rated("stone", 1, "A", "High").words
        'high by the risk matrix (1A)'
        """
        return f"{self.rating.lower()} by the risk matrix ({self.severity}{self.likelihood})"

    @property
    def rank(self) -> tuple[int, int, str]:
        """To sort by, the gravest last: rating, then severity, then likelihood."""
        return ORDER.index(self.rating), -self.severity, _reversed(self.likelihood)


def _reversed(likelihood: str) -> str:
    return chr(ord("A") + ord("F") - ord(likelihood))


def likelihood(number: float, *, high: float | None = None, tables: Tables) -> str:
    """Likelihood level of an expected number of mishaps in one cut of a field.

    Parameters
    ----------
    number : float
        Mishaps to be expected; not known (NaN) is taken for frequent.
    high : float, optional
        Upper end of the number. Only where not even this is above none is the thing taken
        away, level F.
    tables : Tables
        ``risk_matrix.likelihood_*``: the least number of each band, which belongs to it.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> [likelihood(n, tables=load_tables()) for n in (3.0, 0.1, 0.05, 2e-3, 1e-5, 1e-9)]
    ['A', 'A', 'B', 'C', 'D', 'E']
    >>> likelihood(0.0, high=0.2, tables=load_tables()), likelihood(0.0, tables=load_tables())
    ('E', 'F')
    >>> likelihood(float("nan"), tables=load_tables())
    'A'
    """
    end = number if high is None else high
    if math.isnan(number + end):
        return "A"
    if max(number, end) <= 0.0:
        return "F"
    bands = (tables[f"risk_matrix.likelihood_{band.lower()}"] for band in _BANDS)
    return next((row.words["likelihood"] for row in bands if number >= row.number()), "E")


def rating(severity: int, likelihood: str, *, tables: Tables) -> str:
    """The matrix: one of :data:`ORDER`.

    Parameters
    ----------
    severity : int
        1 catastrophic, 2 critical, 3 marginal, 4 negligible.
    likelihood : str
        "A" frequent to "E" improbable, "F" eliminated.
    tables : Tables
        ``risk_matrix.*``; where two readings of a cell are about, the graver.

    Raises
    ------
    MisuseError
        There is no such cell.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> rating(1, "A", tables=load_tables()), rating(4, "E", tables=load_tables())
    ('High', 'Low')
    """
    words = tables[f"risk_matrix.{likelihood.lower()}_{severity}"].words
    readings = [words["rating"], words["other_reading"]]
    return max((one for one in readings if one), key=ORDER.index)


def severity_of(row: Constant) -> int:
    """Severity of a row of ``hazard_kinds.csv``; a row that does not say one counts as 1."""
    said = row.words.get("severity", "")
    return int(said) if said else SEVERITIES[0]


def rated(kind: str, number: float, *, high: float | None = None, tables: Tables) -> Rated:
    """A kind with its rating, by the number of such things met in one cut.

    Severity and likelihood are of one and the same mishap: that a thing which is met comes to the
    harm of its kind, and not only that it is met.

    Parameters
    ----------
    kind : str
        Row of ``hazard_kinds.csv``.
    number, high : float
        Things met in one cut, and the upper end of that; unknown (NaN) is taken for frequent.
    tables : Tables
        ``strikes.harm_*``, ``risk_matrix.*``.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> rated("stone", 2.0, tables=load_tables())
    Rated(kind='stone', severity=1, likelihood='C', rating='High')
    >>> rated("stone", 0.02, tables=load_tables())
    Rated(kind='stone', severity=1, likelihood='D', rating='Serious')
    """
    severity = severity_of(tables[f"hazard_kinds.{kind}"])
    share = tables.number(f"strikes.harm_{severity}")
    most = None if high is None else share * high
    level = likelihood(share * number, high=most, tables=tables)
    return Rated(kind, severity, level, rating(severity, level, tables=tables))
