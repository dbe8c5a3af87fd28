"""The cautions of a cab sheet: none left out, none cut inside a sentence, what may kill first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldmap.write.cautions import brief, by_signal, gathered, pieces, statement
from fieldmap.write.page_findings import signal
from fieldmap.write.sheet_fit import LEAST, Room, cut

Item = dict[str, Any]
Payload = Mapping[str, Any]

_NOTE = 70  # letters of a mark's note


def with_cautions(lines: list[Item], others: list[Payload], room: Room) -> list[Item]:
    """Lines of the marks, each kind with its caution once, and notes cut.

    Where ``room.each`` is false only the first lines have cautions of their own.

    Parameters
    ----------
    lines : list of dict
        As :func:`fieldmap.write.sheet_items.mark_lines` makes them.
    others : findings
        That of a kind of mark is called as the mark is.
    room : Room
    """
    by_what = {one["what"]: one["caution"] for one in others}
    out = []
    for number, line in enumerate(lines):
        own = room.each or number < LEAST.marks
        caution = signal(by_what.pop(line["title"], "") if own else "")
        told = {**caution, "text": much_of(caution["text"], room.cautions)}
        out.append({**line, "note": cut(line["note"], _NOTE), "caution": told})
    return out


def much_of(text: str, much: int) -> str:
    """All of a caution, its first sentence, or its first whole statement.

    Examples
    --------
    >>> [much_of("Keep off; it can break away. Ask.", much) for much in (2, 1, 0)]
    ['Keep off; it can break away. Ask.', 'Keep off; it can break away.', 'Keep off.']
    """
    if much >= 2:
        return text
    return brief(text) if much == 1 else statement(text)


def cautions_of(made: list[Item], others: list[Payload], room: Room, kinds: set[str]) -> list[Item]:
    """The cautions of a group, each once, with what they belong to, what may kill first.

    Parameters
    ----------
    made : list of dict
        The group's entries; ``cautions`` are those of one that stands for several.
    others : findings
        Those that have no entry.
    room : Room
    kinds : set of str
        What the marks are called: with ``room.each`` false those left share one caution.

    Returns
    -------
    list of dict
        ``word``, ``text``, ``of`` (may be empty) and ``kinds``, how many it stands for.
    """
    settings = {str(one["number"]) for one in made if one["is_setting"]}
    pairs = [
        (text, str(one["number"])) for one in made for text in one.get("cautions", [one["caution"]])
    ]
    unlined = [one for one in others if one["what"] in kinds and one["caution"]]
    shared = unlined if not room.each and len(unlined) > 1 else []
    pairs += [(one["caution"], one["what"]) for one in others if one not in shared]
    held = [
        _shortened(one, room, is_setting=bool(settings & set(one["of"]))) for one in gathered(pairs)
    ]
    told = [{**one, "of": _named(one["of"], room.cautions)} for one in _merged(held)]
    return by_signal([*_for_all(shared), *told])


def _shortened(caution: Item, room: Room, *, is_setting: bool) -> Item:
    """A caution as long as there is room for; one that tells of machines alone gives way first."""
    much = room.of_settings - (caution["word"] == "NOTICE") if is_setting else room.cautions
    return {**caution, "text": much_of(caution["text"], much), "kinds": 0}


def _merged(held: list[Item]) -> list[Item]:
    """Cautions that have become alike by being shortened, as one."""
    made: dict[tuple[str, str], Item] = {}
    for one in held:
        first = made.setdefault((one["word"], one["text"]), {**one, "of": []})
        first["of"] = [*first["of"], *(who for who in one["of"] if who not in first["of"])]
    return list(made.values())


def _named(owners: list[str], much: int) -> list[str]:
    """What a caution belongs to; where room is scarce the first of many, and how many more.

    Examples
    --------
    >>> _named(["hollows", "stones left", "silt"], 0), _named(["1", "2", "3"], 0)
    (['hollows', '2 more'], ['1', '2', '3'])
    """
    if much or len(owners) < 3 or owners[0].isdigit():
        return owners
    return [owners[0], f"{len(owners) - 1} more"]


def _for_all(shared: list[Payload]) -> list[Item]:
    """One caution in the place of those of several kinds of marks, as grave as the gravest."""
    if not shared:
        return []
    gravest = gathered((one["caution"], one["what"]) for one in shared)[0]["word"]
    names = ", ".join(one["what"] for one in shared)
    text = (
        f"{len(shared)} kinds of marks must not be touched before their own cautions on the "
        f"field's page are read: {names}."
    )
    return [{"word": gravest, "text": text, "of": [], "kinds": len(shared)}]


def in_bars(held: list[Item]) -> list[Item]:
    """Cautions as they are printed: each in a bar of its own, those that hurt nobody in one.

    Examples
    --------
    >>> told = [{"word": word, "text": word[:1]} for word in ("WARNING", "NOTICE", "NOTICE")]
    >>> [(bar["word"], len(bar["told"])) for bar in in_bars(told)]
    [('WARNING', 1), ('NOTICE', 2)]
    """
    bars: list[Item] = []
    for one in held:
        if bars and one["word"] == bars[-1]["word"] == "NOTICE":
            bars[-1]["told"].append(one)
        else:
            bars.append({"word": one["word"], "told": [one]})
    return bars


def shortened(told: Iterable[str], here: list[Item]) -> int:
    """How many of the cautions told are not said in full by those that are here."""
    texts = {text for text in told if text}
    words = {one["text"] for one in here}
    missing = sum(
        not all(signal(piece)["text"] in words for piece in pieces(text, texts)) for text in texts
    )
    return missing - sum(one.get("kinds", 0) for one in here)
