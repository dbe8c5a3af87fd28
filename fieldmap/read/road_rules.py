"""``[road_rules]`` of farm.toml: what a person looked up, held to the keys that something reads."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

from fieldmap.hours import hours_of

Rule = str | float | list[str]

#: Widths (m) over which a rule asks for something.
WIDTH_RULES = (
    "notice_over_width_m",
    "escort_over_width_m",
    "barred_over_width_m",
    "flags_over_width_m",
    "lights_over_width_m",
    "daylight_only_over_width_m",
    "barred_hours_over_width_m",
)
KNOWN = ("source", *WIDTH_RULES, "notice_days", "barred_hours")
_WIDEST_M = 60.0
_MOST_DAYS = 366


def checked_rules(given: Mapping[str, Any]) -> dict[str, Rule]:
    """The rules as given, when every key is known and every value can be read.

    ``barred_hours`` may be one text or a list; it comes back as a list.

    Raises
    ------
    ValueError
        All that is wrong, in one sentence each.

    Examples
    --------
    >>> checked_rules({"source": "county office", "barred_hours": "Mo-Fr 07:00-09:00"})
    {'source': 'county office', 'barred_hours': ['Mo-Fr 07:00-09:00']}
    >>> checked_rules({})
    {}
    """
    wrong: list[str] = []
    out: dict[str, Rule] = {}
    for key, value in given.items():
        if key not in KNOWN:
            wrong.append(_unknown(key))
        elif key == "barred_hours":
            out[key] = _hours(value, wrong)
        elif key == "source":
            out[key] = _source(value, wrong)
        else:
            out[key] = _figure(key, value, wrong)
    wrong += _left_alone(given)
    if wrong:
        raise ValueError("; ".join(wrong))
    return out


def _unknown(key: str) -> str:
    near = difflib.get_close_matches(key, KNOWN, n=1)
    meant = f"did you mean {near[0]}? " if near else ""
    return f"{key}: nothing reads this rule; {meant}Known: {', '.join(KNOWN)}"


def _hours(value: Any, wrong: list[str]) -> list[str]:
    texts = [value] if isinstance(value, str) else value
    if not isinstance(texts, list) or not all(isinstance(one, str) for one in texts) or not texts:
        wrong.append(f"barred_hours: {value!r:.40} is no text or list of texts")
        return []
    for text in texts:
        try:
            hours_of(text)
        except ValueError as error:
            wrong.append(f"barred_hours: {error}")
    return texts


def _source(value: Any, wrong: list[str]) -> str:
    if isinstance(value, str):
        return value
    wrong.append(f"source: {value!r:.40} is no text; write where you read the rules and when")
    return ""


def _figure(key: str, value: Any, wrong: list[str]) -> float:
    most = _MOST_DAYS if key == "notice_days" else _WIDEST_M
    plain = isinstance(value, int | float) and not isinstance(value, bool)
    if plain and 0 < value < most:
        return float(value)
    unit = "days" if key == "notice_days" else "metres"
    wrong.append(f"{key}: {value!r:.40} is no figure in {unit} over 0 and under {most:g}")
    return 0.0


def _left_alone(given: Mapping[str, Any]) -> list[str]:
    """Rules that say nothing without another one."""
    needs = {"notice_days": "notice_over_width_m", "barred_hours_over_width_m": "barred_hours"}
    return [
        f"{key} says nothing without {other}"
        for key, other in needs.items()
        if key in given and other not in given
    ]
