"""Which hazard kind a person's words name."""

from __future__ import annotations

import difflib
import functools
import re
from collections.abc import Callable, Sequence

from fieldmap.errors import Fault, MisuseError
from fieldmap.tables import Tables
from fieldmap.words import plain_words

UNKNOWN_KIND = "unknown"
_NEAR = 3
_DENIED = re.compile(r"\b(no|not|none|without|removed|cleared|gone|picked up|taken away)\b")
_Names = tuple[tuple[str, str], ...]


def kind_of(words: str, tables: Tables) -> str:
    """The hazard kind that a person's words name, ``unknown`` when none is named.

    The longest kind name, label or alias found as whole words wins. Words that say a thing is
    gone or was not there name no kind.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> kind_of("loose wire", load_tables())
    'loose_wire'
    >>> kind_of("odd thing by the gate", load_tables())
    'unknown'
    >>> kind_of("propane bottle", load_tables()), kind_of("no wire left", load_tables())
    ('drum', 'unknown')
    >>> kind_of("", load_tables())
    'unknown'
    """
    return _matcher(_names(tables))(plain_words(words))


def kinds_of(said: Sequence[str], tables: Tables) -> list[str]:
    """The kind that each of these words names; the same words are looked up once."""
    match = _matcher(_names(tables))
    known = {words: match(plain_words(words)) for words in set(said)}
    return [known[words] for words in said]


def asked_kind(words: str, tables: Tables) -> str:
    """The kind that words name, where a kind must be named; ``unknown`` only by its own names.

    Raises
    ------
    MisuseError
        The words name no kind; those that look most like them are told.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> asked_kind("wire", load_tables()), asked_kind("unknown", load_tables())
    ('loose_wire', 'unknown')
    """
    found = kind_of(words, tables)
    names = _names(tables)
    if found != UNKNOWN_KIND or (plain_words(words), UNKNOWN_KIND) in names:
        return found
    near = near_kinds(words, tables)
    kinds = dict.fromkeys(key for _, key in names)
    raise MisuseError(
        Fault(
            "no such kind of hazard",
            words,
            "nothing says what it endangers",
            (f"perhaps {' or '.join(near)}; " if near else "") + f"use one of {', '.join(kinds)}",
        )
    )


def near_kinds(words: str, tables: Tables) -> list[str]:
    """Kinds whose names look like words that name none, the likest first; at most three.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> near_kinds("wier", load_tables()), near_kinds("zzzz", load_tables())
    (['loose_wire', 'twine', 'well'], [])
    """
    kinds = {said: key for said, key in reversed(_names(tables)) if key != UNKNOWN_KIND}
    plain = plain_words(words)
    asked = dict.fromkeys([plain, *plain.split()])
    found = [kinds[name] for one in asked for name in difflib.get_close_matches(one, kinds, n=3)]
    return list(dict.fromkeys(found))[:_NEAR]


def _names(tables: Tables) -> _Names:
    """Every name of every kind, made plain, with the kind it stands for."""
    return tuple(
        (plain_words(name), row.key.split(".", 1)[1])
        for row in tables.rows("hazard_kinds")
        for name in (
            row.key.split(".", 1)[1],
            row.words["label"],
            *row.words["aliases"].split(";"),
        )
    )


@functools.lru_cache(maxsize=8)
def _matcher(names: _Names) -> Callable[[str], str]:
    """A function from plain words to a kind: one pass over the words, whatever the kinds."""
    kinds: dict[str, str] = {}
    for said, key in names:
        if said:
            kinds.setdefault(said, key)
    order = {said: place for place, said in enumerate(kinds)}
    longest_first = sorted(kinds, key=len, reverse=True)
    # a look-ahead: names that overlap are all seen
    every = re.compile(rf"(?=\b({'|'.join(map(re.escape, longest_first))})s?\b)")

    def match(text: str) -> str:
        if not kinds or _DENIED.search(text):
            return UNKNOWN_KIND
        found = every.findall(text)
        if not found:
            return UNKNOWN_KIND
        return kinds[min(found, key=lambda said: (-len(said), order[said]))]

    return match


def says_more(words: str, kind: str, tables: Tables) -> bool:
    """Whether words tell more than the kind's own name or label.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> says_more("Loose wire", "loose_wire", load_tables())
    False
    >>> says_more("old fence wire", "loose_wire", load_tables())
    True
    """
    label = tables[f"hazard_kinds.{kind}"].words["label"]
    told = plain_words(words)
    return bool(told) and told not in (plain_words(kind), plain_words(label))


def with_words(note: str, words: str, kind: str, tables: Tables) -> str:
    """The note, with the finder's own words for the kind before it where they say more."""
    if not says_more(words, kind, tables) or plain_words(words) in plain_words(note):
        return note
    return f"{words.strip()} - {note}" if note else words.strip()


def kind_notes(said: Sequence[str], kinds: Sequence[str], where: str) -> list[str]:
    """How many rows of which words were taken as which kind."""
    counts: dict[tuple[str, str], int] = {}
    for words, kind in zip(said, kinds, strict=True):
        if words != kind:
            counts[words, kind] = counts.get((words, kind), 0) + 1
    return [
        f"{where}: {number} x '{words}' taken as {kind}"
        if words
        else f"{where}: {number} without a kind, logged as {kind}"
        for (words, kind), number in counts.items()
    ]
