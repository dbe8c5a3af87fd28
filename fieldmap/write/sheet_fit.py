"""How much of a cab sheet goes on one page: text measured, and the room shared out.

Heights are reckoned for the wide letters of a plain screen font, so that a page that fits here
fits with narrower ones. All in millimetres of paper.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, NamedTuple

#: Width and height of A4 and of Letter without the margins of ``sheet.css``.
PAPERS = ((196.0, 283.0), (201.9, 265.4))
#: The narrower of the two, and the shorter.
WIDTH_MM, HEIGHT_MM = 196.0, 265.4
#: Height of a line of 9 pt, the least size on the sheet.
EM_MM = 9.0 * 25.4 / 72.0
LINE_MM = 1.15 * EM_MM
GAP_MM = 6.0
MAP_WIDTH_MM = 90.0
SPARE_MM = 1.0  # kept free for what a browser rounds

# Widths in em of a wide plain font (DejaVu Sans), by kind of letter; others are given 0.65.
_WIDTHS = {
    **dict.fromkeys("'ijlIJ", 0.29),
    **dict.fromkeys("., :;|/f-", 0.34),
    **dict.fromkeys("t()[]r!", 0.4),
    **dict.fromkeys('szc?"*', 0.53),
    **dict.fromkeys("kvxyLFaoTeP", 0.6),
    **dict.fromkeys("ABCDEGHKNOQRSUVXYZ&", 0.73),
    **dict.fromkeys("mwMW@%#+<=>^~", 0.93),
}
_OTHER_EM, _WIDE_EM = 0.64, 1.3
#: How much wider bold is.
BOLD = 1.13
_WIDE_FROM = 0x1100  # from here on a letter may be as wide as it is high, or wider


class Room(NamedTuple):
    """How much of each part is printed, in the order in which the parts get what is left over.

    ``cautions`` of findings are 2 for whole, 1 for the first sentence, 0 for its first whole
    statement; ``of_settings`` the same, with 3 for whole ones of every signal word, since those
    that tell of machines alone are a step shorter;
    ``each`` gives every kind of mark that has no line its own caution, else one stands for all;
    ``reasons`` 3 for all, 2 for what is not ok, 1 for its first sentence, 0 for entries that have
    no figure; ``single`` gives marks with a note a line of their own; ``apart`` what is only to
    know; ``source_columns`` are 0 where the sources run on, one after another.
    """

    cautions: int
    zone_words: int
    steps: int
    marks: int
    reasons: int
    single: bool
    of_settings: int
    source_columns: int
    others: int
    map_mm: float
    each: bool
    apart: bool


#: What is always printed, however full the page.
LEAST = Room(
    0, 0, 1, 3, 0, single=False, of_settings=0, source_columns=0, others=0, map_mm=34.0,
    each=False, apart=False,
)  # fmt: skip
#: What is added when it fits, one after another.
MORE: tuple[tuple[str, Any], ...] = (
    ("each", True), ("marks", 8), ("marks", 14), ("steps", 2), ("map_mm", 40.0), ("steps", 3),
    ("of_settings", 1), ("map_mm", 44.0), ("cautions", 1), ("zone_words", 24), ("others", 8),
    ("steps", 5), ("zone_words", 40), ("source_columns", 3), ("of_settings", 2), ("map_mm", 54.0),
    ("steps", 8), ("of_settings", 3), ("source_columns", 2), ("reasons", 1), ("cautions", 2),
    ("apart", True), ("zone_words", 80), ("marks", 30), ("single", True), ("steps", 14),
    ("map_mm", 66.0), ("zone_words", 200), ("others", 20), ("reasons", 2), ("map_mm", 80.0),
    ("reasons", 3),
)  # fmt: skip


def fullest(height: Callable[[Room], float], most_mm: float) -> tuple[Room, float]:
    """The fullest room whose page fits, and its height; the least one when none does.

    Examples
    --------
    >>> room, high = fullest(lambda room: 10.0 * room.steps, 55.0)
    >>> room.steps, room.map_mm, high
    (5, 80.0, 50.0)
    """
    room, high = LEAST, height(LEAST)
    if high > most_mm:
        return room, high
    for name, much in MORE:
        fuller = room._replace(**{name: much})
        tall = height(fuller)
        if tall <= most_mm:
            room, high = fuller, tall
    return room, high


@functools.lru_cache(maxsize=20_000)
def em(text: str) -> float:
    """Width of a text in em, rather too much than too little."""
    return sum(
        _WIDTHS.get(sign, _WIDE_EM if ord(sign) >= _WIDE_FROM else _OTHER_EM) for sign in text
    )


def lines(text: str | Sequence[tuple[str, float]], width_mm: float, *, scale: float = 1.0) -> int:
    """Lines that a text takes; words longer than a line are broken.

    Parameters
    ----------
    text : str, or pieces of text with how much wider each is than plain 9 pt
    width_mm : float
    scale : float
        How much wider all of it is than plain 9 pt.

    Examples
    --------
    >>> lines("", 90.0), lines("one two", 90.0), lines("w" * 100, 90.0)
    (0, 1, 4)
    >>> lines([("one", 1.0), ("two", 1.0)], 10.0), lines([("one", 1.0), ("two", 9.0)], 10.0)
    (2, 7)
    """
    parts = [(text, 1.0)] if isinstance(text, str) else text
    words = [(word, wider) for words, wider in parts for word in words.split()]
    count, left = 0, 0.0
    for word, wider in words:
        wide = em(word) * EM_MM * scale * wider
        if count == 0 or wide > left:
            count += math.ceil(wide / width_mm)
            left = width_mm - wide % width_mm if wide % width_mm else 0.0
        else:
            left -= wide
        left -= em(" ") * EM_MM * scale
    return count


def cut(text: str, most: int) -> str:
    """A text of so many letters at most, cut at a word.

    Examples
    --------
    >>> cut("short", 20), cut("too steep even straight up", 16), cut("anything", 0)
    ('short', 'too steep ...', '')
    """
    if len(text) <= most:
        return text
    if most < 5:
        return ""
    head = text[: most - 3]
    return f"{head.rpartition(' ')[0] or head} ..."


def one_line(text: str, width_mm: float) -> str:
    """A text cut so that it takes one line."""
    most = len(text)
    while most > 5 and em(cut(text, most)) * EM_MM > width_mm:
        most -= 1
    return cut(text, most)


def flowed(heights: Sequence[float], columns: int = 2) -> float:
    """Height of pieces that flow into columns one after another, none broken.

    Examples
    --------
    >>> flowed([4.0, 4.0, 4.0]), flowed([]), flowed([9.0, 1.0, 1.0])
    (8.0, 0.0, 9.0)
    """
    if not heights:
        return 0.0
    return next(high for high in _tried(heights, columns) if _columns(heights, high) <= columns)


def _tried(heights: Sequence[float], columns: int) -> Iterator[float]:
    """Heights a column may have: those at which a run of pieces just fits."""
    least = max(*heights, sum(heights) / columns)
    runs = {sum(heights[a:b]) for a in range(len(heights)) for b in range(a + 1, len(heights) + 1)}
    yield from sorted(run for run in runs if run >= least - 1e-9)


def _columns(heights: Iterable[float], high: float) -> int:
    count, left = 1, high
    for one in heights:
        if one > left + 1e-9:
            count, left = count + 1, high
        left -= one
    return count
