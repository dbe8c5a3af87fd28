"""What of two answers is not the same, as people read it: on the screen and on the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldmap.finding import LEVEL_WORDS
from fieldmap.units import System, shown
from fieldmap.what_changed import CHOICES, Figure, shared_choices, shared_figures
from fieldmap.write.files import plain
from fieldmap.write.set_up_items import in_currency


def level_words(level: str) -> str:
    """How a level is said; a finding that is not there says so.

    Examples
    --------
    >>> level_words("ok"), level_words("")
    ('nothing found against it', 'not there')
    """
    return next((said for held, said in LEVEL_WORDS.items() if held == level), "not there")


def figures_shown(
    row: Mapping[Any, Any], units: System, *, currency: str = ""
) -> list[tuple[str, str, str, str]]:
    """What of a field's figures is not the same, as people read it.

    Parameters
    ----------
    row : mapping
        A row of ``WhatIf.table``.
    units : {"us", "metric"}
    currency : str
        The farm's own; without one it says ``money``.

    Returns
    -------
    list of tuple of str
        What it is called, as it is, then, and the difference with its sign; the difference of a
        word is empty. What is the same once it is rounded is left out.
    """
    told = [_shown(figure, row, units, currency) for figure in figures_of(row)]
    for column in choices_of(row):
        pair = (str(row[f"{column}_before"] or "unknown"), str(row[f"{column}_after"] or "unknown"))
        told.append((CHOICES[column], *pair, ""))
    return [one for one in told if one[1] != one[2]]


def _shown(
    figure: Figure, row: Mapping[Any, Any], units: System, currency: str
) -> tuple[str, str, str, str]:
    held = {
        when: _scaled(row[f"{figure.column}_{when}"], figure.scale)
        for when in ("before", "after", "difference")
    }
    words = {when: shown(known, figure.unit, units) for when, known in held.items()}
    words = in_currency(words, figure.unit, currency)
    sign = "+" if (held["difference"] or 0.0) > 0 else ""
    return figure.words, words["before"], words["after"], f"{sign}{words['difference']}"


def _scaled(held: Any, scale: float) -> float | None:
    known = plain(held)
    return None if known is None else scale * float(known)


def _columns(row: Mapping[Any, Any]) -> list[str]:
    """Columns of the two assessments that a row holds both of."""
    return [str(key).removesuffix("_after") for key in row if str(key).endswith("_after")]


def figures_of(row: Mapping[Any, Any]) -> list[Figure]:
    """The figures that a row of ``WhatIf.table`` holds."""
    return shared_figures(_columns(row), _columns(row))


def choices_of(row: Mapping[Any, Any]) -> list[str]:
    """The columns of words that a row of ``WhatIf.table`` holds."""
    return shared_choices(_columns(row), _columns(row))
