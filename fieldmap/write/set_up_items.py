"""The options for setting the mower on the field's page: a row each, the advised first."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from fieldmap.units import System, shown
from fieldmap.write.page_findings import spread

Item = dict[str, Any]
Payload = Mapping[str, Any]

KNIVES = {"low_lift": "low-lift knives", "high_lift": "high-lift knives"}
#: Columns of the table: key of the option, heading, unit inside.
COLUMNS = (
    ("strikes", "Strikes", "things"),
    ("wraps", "Wraps", "things"),
    ("forage", "Pieces in the forage", "things"),
    ("yield_t", "Yield given up", "t"),
    ("ash_points", "Ash, points", "points"),
    ("tdn_points", "TDN lost, points", "points"),
    ("stand_left_pct", "Stand left", "%"),
    ("cost", "Cost in all", "money"),
)
_MONEY = re.compile(r"\bmoney\b")


def set_up_view(held: Payload, units: System) -> Item | None:
    """What the template shows of the options; ``None`` when nothing was compared.

    Parameters
    ----------
    held : mapping
        ``options`` (each ``shoe``, ``knife``, ``cut_m``, ``inside``, ``why_not``, ``best``, the
        columns as [low, value, high] or ``None``, ``parts``), ``margin``, ``second``, ``flips``,
        ``unknown``, ``currency``; or nothing.
    units : {"us", "metric"}

    Returns
    -------
    dict or None
        ``columns`` (those that any option has), ``rows`` (advised, inside the limits by cost,
        then outside), ``margin`` (a sentence), ``flips``, ``unknown``, ``parted``.
    """
    if not held or not held.get("options"):
        return None
    currency = str(held.get("currency", ""))
    options = sorted(held["options"], key=_order)
    columns = [one for one in COLUMNS if any(option.get(one[0]) for option in options)]
    rows = [_row(option, columns, units, currency) for option in options]
    return {
        "columns": [name for _, name, _ in columns],
        "rows": rows,
        "margin": _margin(held, rows, units, currency),
        "flips": list(held["flips"]),
        "unknown": list(held["unknown"]),
        "parted": any(row["parts"] for row in rows),
    }


def _order(option: Payload) -> tuple[bool, bool, float]:
    cost = option["cost"]
    return not option["best"], not option["inside"], cost[1] if cost else float("inf")


def _row(
    option: Payload, columns: Sequence[tuple[str, str, str]], units: System, currency: str
) -> Item:
    parts = option.get("parts") or {}
    return {
        "name": str(option.get("name") or option_name(option)),
        "cut": shown(option["cut_m"], "m cut", units),
        "advised": bool(option["best"]),
        "inside": bool(option["inside"]),
        "why_not": option["why_not"],
        "cells": [
            {"name": name, **figure(option.get(key), unit, units, currency)}
            for key, name, unit in columns
        ],
        "parts": [
            {"name": name, **figure(three, "money", units, currency)}
            for name, three in parts.items()
        ],
    }


def option_name(option: Payload) -> str:
    """Shoe and knives in trade words.

    Examples
    --------
    >>> option_name({"shoe": "high", "knife": "low_lift"})
    'high shoe, low-lift knives'
    """
    shoe = str(option["shoe"])
    named = shoe if "shoe" in shoe.lower() else f"{shoe} shoe"
    return f"{named}, {KNIVES.get(option['knife'], option['knife'])}"


def figure(
    three: Sequence[float | None] | None, unit: str, units: System, currency: str
) -> dict[str, str]:
    """A value and the range under it; unknown when there is none.

    Examples
    --------
    >>> figure([1.0, 2.0, 4.5], "things", "us", "")
    {'value': '2.0', 'range': '1.0 to 4.5'}
    >>> figure(None, "t", "us", "")["value"]
    'unknown'
    """
    if three is None:
        return {"value": "unknown", "range": ""}
    low, value, high = three
    words = {
        "value": shown(value, unit, units),
        "range": spread(low, high, unit, units) if high is not None else "upper end unknown",
    }
    if unit in ("things", "points"):
        words = {key: text.replace(f" {unit}", "") for key, text in words.items()}
    return in_currency(words, unit, currency)


def in_currency(words: Mapping[str, str], unit: str, currency: str) -> dict[str, str]:
    """Words about money with the farm's own currency in them."""
    if not unit.startswith("money") or not currency:
        return dict(words)
    return {key: _MONEY.sub(currency, text) for key, text in words.items()}


def priced(view: Item, unit: str, currency: str) -> Item:
    """A finding's view with the farm's own currency where it speaks of money."""
    return {
        **view,
        **in_currency({k: view[k] for k in ("answer", "range", "limit")}, unit, currency),
    }


def _margin(held: Payload, rows: list[Item], units: System, currency: str) -> str:
    """The advised option beside the next one, in a sentence."""
    advised = next((row["name"] for row in rows if row["advised"]), "")
    if not advised:
        return "No option is advised."
    if held["margin"] is None or not held["second"]:
        return "No second option lies inside the limits, so there is nothing to hold it against."
    words = figure(held["margin"], "money", units, currency)
    second = str(held["second"])
    return f"Over the second, {second}, it saves {words['value']} (range {words['range']})."
