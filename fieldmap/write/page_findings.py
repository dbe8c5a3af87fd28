"""How a finding is said on a page: level, answer, range, limit, basis, footnotes, caution."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldmap.finding import LEVEL_WORDS, LEVELS, Level, rank
from fieldmap.units import System, shown

#: Signal words, by what may follow (people killed or maimed, people hurt, machines broken).
SIGNALS = ("WARNING", "CAUTION", "NOTICE")
BASIS_WORDS = {"measured": "measured", "mapped": "from the map", "assumed": "assumed"}
MARK_WORDS = {
    "seen": "",
    "secondary": "read at second hand",
    "memory": "from memory",
    "computed": "computed",
    "own": "the tool's own",
    "practice": "common practice, no source",
}


def said(level: str) -> dict[str, str]:
    """Level and its word; a level nobody knows is unknown.

    Examples
    --------
    >>> said("ok")
    {'level': 'ok', 'word': 'nothing found against it'}
    >>> said("fine")["level"]
    'unknown'
    """
    known: Level = level if level in LEVEL_WORDS else "unknown"
    return {"level": known, "word": LEVEL_WORDS[known]}


def worst_first(rows: Iterable[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Rows with a ``level``, the worst first, else in the order they came."""
    return sorted(rows, key=lambda row: -rank(said(row["level"])["level"]))  # type: ignore[arg-type]


def signal(text: str) -> dict[str, str]:
    """A caution's signal word and what follows it.

    Examples
    --------
    >>> signal("WARNING: stay off the line.")
    {'word': 'WARNING', 'text': 'stay off the line.'}
    >>> signal("The manual decides.")
    {'word': '', 'text': 'The manual decides.'}
    """
    head, colon, rest = text.partition(":")
    if colon and head in SIGNALS:
        return {"word": head, "text": rest.strip()}
    return {"word": "", "text": text}


def spread(low: float | None, high: float | None, unit: str, units: System) -> str:
    """A range as a person reads it, the unit said once.

    Examples
    --------
    >>> spread(0.0508, 0.1016, "m cut", "us")
    '2.0 to 4.0 in'
    >>> spread(0.0, 4.0, "t", "us")
    '0.0 to 4.4 short tons'
    >>> spread(None, 12.0, "%", "us"), spread(None, None, "%", "us")
    ('up to 12%', '')
    """
    if low is None and high is None:
        return ""
    if low is None:
        return f"up to {shown(high, unit, units)}"
    if high is None:
        return f"{shown(low, unit, units)} or more"
    least, most = shown(low, unit, units), shown(high, unit, units)
    first, gap, name = least.partition(" ")
    return f"{first} to {most}" if gap and most.endswith(f" {name}") else f"{least} to {most}"


def answer(finding: Mapping[str, Any], units: System) -> str:
    """The choice, the figure or both; ``unknown`` when one is missing; nothing for a plain fact.

    An ``ok`` finding with a limit and no figure found nothing to hold against it. Money beside
    a choice is its lead over the second, no price.

    Examples
    --------
    >>> one = {"level": "ok", "choice": "", "value": None, "limit": 2.0, "unit": "m"}
    >>> answer(one, "metric"), answer({**one, "level": "care"}, "metric")
    ('', 'unknown')
    >>> answer({**one, "choice": "base shoe", "value": 34.0, "unit": "money"}, "metric")
    'base shoe (ahead by 34 money)'
    """
    figure = ""
    level, limit = finding["level"], finding["limit"]
    if finding["value"] is not None:
        figure = shown(finding["value"], finding["unit"], units)
    elif not finding["choice"] and (level == "unknown" or (limit is not None and level != "ok")):
        figure = "unknown"
    if finding["choice"] and figure:
        ahead = "ahead by " if finding["unit"] == "money" else ""
        return f"{finding['choice']} ({ahead}{figure})"
    return finding["choice"] or figure


def footnotes(findings: Iterable[Mapping[str, Any]]) -> dict[str, int]:
    """Number of each source, in the order in which the findings cite them.

    Examples
    --------
    >>> footnotes([{"sources": ["b", "a"]}, {"sources": ["a", "c"]}])
    {'b': 1, 'a': 2, 'c': 3}
    """
    keys = dict.fromkeys(key for finding in findings for key in finding["sources"])
    return {key: number for number, key in enumerate(keys, start=1)}


def finding_view(
    finding: Mapping[str, Any], *, units: System, notes: Mapping[str, int]
) -> dict[str, Any]:
    """What the template shows of one finding; ``notes`` is :func:`footnotes`' answer."""
    limit = finding["limit"]
    return {
        **said(finding["level"]),
        "what": finding["what"],
        "where": finding["where"],
        "answer": answer(finding, units),
        "range": spread(finding["low"], finding["high"], finding["unit"], units),
        "limit": "" if limit is None else shown(limit, finding["unit"], units),
        "why": finding["why"],
        "basis": BASIS_WORDS.get(finding["basis"], finding["basis"]),
        "notes": [notes[key] for key in dict.fromkeys(finding["sources"]) if key in notes],
        "caution": signal(finding["caution"]),
    }


def source_list(
    notes: Mapping[str, int], sources: Mapping[str, Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """The sources at a page's end: those cited, by number, then any others that came along."""
    keys = [*notes, *(key for key in sorted(sources) if key not in notes)]
    return [_source(number, key, sources.get(key)) for number, key in enumerate(keys, start=1)]


def _source(number: int, key: str, source: Mapping[str, Any] | None) -> dict[str, Any]:
    if source is None:
        return {"number": number, "words": f"{key}: not described", "url": "", "link": False}
    parts = [source["title"], source["publisher"], source["year"]]
    parts.append(MARK_WORDS.get(source["mark"], source["mark"]))
    url = str(source["url"] or "")
    return {
        "number": number,
        "words": ", ".join(str(part) for part in parts if part),
        "url": url,
        "link": url.startswith(("https://", "http://")),
    }


#: Levels from the worst to the least, as pages list them.
WORST_FIRST = tuple(reversed(LEVELS))
