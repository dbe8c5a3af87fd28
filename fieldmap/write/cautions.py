"""Cautions said once: who needs which, and what one says beyond another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldmap.write.page_findings import SIGNALS, signal

_ORDER = (*SIGNALS, "")


def gathered(told: Iterable[tuple[str, str]]) -> list[dict[str, Any]]:
    """Each caution once, with all it belongs to, what may kill first.

    A caution that begins with the whole of another is said as that one and the rest of it.

    Parameters
    ----------
    told : iterable of (caution, owner)
        An empty caution is none.

    Returns
    -------
    list of dict
        ``word`` (the signal word, may be empty), ``text``, ``of`` (the owners, in order).

    Examples
    --------
    >>> held = gathered([("WARNING: Stop.", "1"), ("", "2"), ("WARNING: Stop. Wait.", "3")])
    >>> [(one["word"], one["text"], one["of"]) for one in held]
    [('WARNING', 'Stop.', ['1', '3']), ('WARNING', 'Wait.', ['3'])]
    """
    pairs = [(text, owner) for text, owner in told if text]
    texts = {text for text, _ in pairs}
    owners: dict[str, list[str]] = {}
    for text, owner in pairs:
        for piece in pieces(text, texts):
            held = owners.setdefault(piece, [])
            held.extend([] if owner in held else [owner])
    return by_signal({**signal(text), "of": held} for text, held in owners.items())


def by_signal(cautions: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Cautions by their signal word, what may kill first, else in the order they came."""
    return sorted(cautions, key=lambda one: _ORDER.index(one["word"]))


def pieces(text: str, texts: Iterable[str]) -> list[str]:
    """A caution as the longest other one it begins with, and what it says beyond that."""
    heads = [one for one in texts if one != text and text.startswith(f"{one} ")]
    if not heads:
        return [text]
    head = max(heads, key=len)
    word, rest = signal(text)["word"], text[len(head) :].strip()
    return [*pieces(head, heads), f"{word}: {rest}" if word else rest]


def brief(text: str) -> str:
    """The first sentence.

    Examples
    --------
    >>> brief("Keep off. It can break away.")
    'Keep off.'
    """
    first, stop, _ = text.partition(". ")
    return first + stop.strip()


def statement(text: str) -> str:
    """The least of a caution that still is a whole statement.

    It ends at the first full stop, or before at a semicolon, since what stands before one is
    whole. It never ends at a comma or a colon: what follows there may be what is to be done.

    Examples
    --------
    >>> statement("Do not touch it; what is inside is not known. Call the supplier.")
    'Do not touch it.'
    >>> statement("Rolls grab twine: never clear them with power on. Wait.")
    'Rolls grab twine: never clear them with power on.'
    >>> statement("Keep 3 m (10 ft; more in rain) off. Wait."), statement("Wait")
    ('Keep 3 m (10 ft; more in rain) off.', 'Wait')
    """
    first = brief(text)
    head, semicolon, _ = first.partition("; ")
    whole = semicolon and head.strip() and head.count("(") == head.count(")")
    return f"{head}." if whole else first


def said_once(
    views: list[dict[str, Any]], mark: str
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Findings with the cautions that several of them need taken out, and those cautions.

    Parameters
    ----------
    views : list of dict
        As :func:`fieldmap.write.page_findings.finding_view` makes them.
    mark : str
        Begins the names of this section's cautions on the page.

    Returns
    -------
    (views, shared)
        Each view has ``see``, the shared cautions it refers to, and keeps in ``caution`` what is
        its own. Each shared one has ``id``, ``letter``, ``word``, ``text`` and ``of``.
    """
    whole = {number: _whole(view["caution"]) for number, view in enumerate(views)}
    told = gathered((text, str(number)) for number, text in whole.items())
    shared: list[dict[str, Any]] = []
    own: dict[str, Mapping[str, Any]] = {}
    see: dict[str, list[dict[str, Any]]] = {}
    for one in told:
        if len(one["of"]) == 1:
            own[one["of"][0]] = one
            continue
        letter = chr(ord("A") + len(shared) % 26) * (1 + len(shared) // 26)
        whats = list(dict.fromkeys(views[int(number)]["what"] for number in one["of"]))
        shared.append({**one, "id": f"{mark}-{letter}", "letter": letter, "of": whats})
        for number in one["of"]:
            see.setdefault(number, []).append(shared[-1])
    nothing = {"word": "", "text": ""}
    return [
        {**view, "caution": own.get(str(number), nothing), "see": see.get(str(number), [])}
        for number, view in enumerate(views)
    ], shared


def _whole(caution: Mapping[str, str]) -> str:
    return f"{caution['word']}: {caution['text']}" if caution["word"] else caution["text"]
