"""Positions as people write them: degrees, minutes and seconds, with the letters of the compass."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from fieldmap.read.cells import CellError, figure

_NUMBER = r"\d+(?:[.,]\d+)?"
#: Letter, sign, degrees, minutes, seconds, letter behind; marks as left by :func:`_plain`.
_ANGLE = (
    r"(?:(?P<lead{0}>[NSEWnsew])\s?)?(?P<sign{0}>[+-])?\s?(?P<deg{0}>{1})"
    r"(?:(?P<dmark{0}>\s?[°:dD]\s?|\s)(?P<min{0}>{1})"
    r"(?:(?:\s?[':mM]\s?|\s)(?P<sec{0}>{1})(?P<smark{0}>\s?\"|s)?|\s?['mM])?|\s?[°dD])?"
    r"(?P<gap{0}>\s?)(?(lead{0})|(?P<tail{0}>[NSEWnsew])?)"
)
_APART = r"(?:[\s,;/]+|(?<=[NSEWnsew])|(?=[NSEWnsew]))"
_ONE = re.compile(_ANGLE.replace("{0}", "").replace("{1}", _NUMBER), re.ASCII)
_TWO = re.compile(
    _APART.join(_ANGLE.replace("{0}", which).replace("{1}", _NUMBER) for which in "12"), re.ASCII
)
_BARE = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*[,;\s/]\s*([+-]?\d+(?:\.\d+)?)", re.ASCII)
_SIGNS = str.maketrans(
    dict.fromkeys("\u00ba\u02da", "°")
    | dict.fromkeys("\u2019\u2018\u00b4`\u2032\u02b9", "'")  # quotes, accents, primes
    | dict.fromkeys("\u201d\u201c\u2033\u02ba", '"')
    | dict.fromkeys("\u2212\u2013", "-")
)
_WORDS = (
    (re.compile(r"\s*(?<![a-z])deg(rees?)?\.?(?![a-z])", re.IGNORECASE), "°"),
    (re.compile(r"\s*(?<![a-z])min(utes?)?\.?(?![a-z])", re.IGNORECASE), "'"),
    (re.compile(r"\s*(?<![a-z])sec(onds?)?\.?(?![a-z])", re.IGNORECASE), '"'),
    (re.compile(r"(?<![a-z])(n)orth(?![a-z])", re.IGNORECASE), "N"),
    (re.compile(r"(?<![a-z])(s)outh(?![a-z])", re.IGNORECASE), "S"),
    (re.compile(r"(?<![a-z])(e)ast(?![a-z])", re.IGNORECASE), "E"),
    (re.compile(r"(?<![a-z])(w)est(?![a-z])", re.IGNORECASE), "W"),
)
_MOST_CHARACTERS = 80  # no position is longer; it also bounds the search
_AXES = {"N": "lat", "S": "lat", "E": "lon", "W": "lon"}
_NAMES = {"lat": "latitude", "lon": "longitude"}


class PositionError(ValueError):
    """Words that are no position, or that may mean two; says which, and how to mend it."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what, self.mend = what, mend


class Angle(NamedTuple):
    """An angle in degrees, positive north and east, and the compass letter that it named."""

    degrees: float
    letter: str


def angle(text: str, axis: str) -> Angle:
    r"""One angle: ``lat`` or ``lon``, in degrees, degrees and minutes, or with seconds too.

    Raises
    ------
    PositionError
        Not an angle, 60 or more minutes or seconds, a letter of the other axis, a sign beside
        a letter that turns it round, or an ``s`` that may be south or seconds.

    Examples
    --------
    >>> round(angle("40°37'26.5\"N", "lat").degrees, 6)
    40.624028
    >>> angle("-92 30", "lon"), angle("92d30m W", "lon")
    (Angle(degrees=-92.5, letter=''), Angle(degrees=-92.5, letter='W'))
    >>> angle("40°75'N", "lat")
    Traceback (most recent call last):
    ...
    fieldmap.read.positions.PositionError: 60 or more minutes
    """
    found = _ONE.fullmatch(_plain(text))
    if found is None:
        raise _no_angle()
    read = _angle(found, "")
    if read.letter and _AXES[read.letter] != axis:
        raise PositionError(
            f"a letter of the other axis ({read.letter} in the {_NAMES[axis]})",
            "put it into the other column",
        )
    return read


def degrees(text: str, axis: str) -> float:
    """Degrees of one axis, written as a plain number or as an angle with its marks.

    Raises
    ------
    PositionError
        As for :func:`angle`.

    Examples
    --------
    >>> degrees("-92,93", "lon"), degrees("11.5", "lon"), degrees("92 30 W", "lon")
    (-92.93, 11.5, -92.5)
    """
    try:
        held = figure(text, degrees=True)
    except CellError:
        return angle(text, axis).degrees
    if not math.isfinite(held):
        raise _no_angle()
    return held


def pair(text: str, order: tuple[str, str] | None = None) -> tuple[float, float, bool]:
    r"""Longitude, latitude, and whether the words said which is which.

    Parameters
    ----------
    text : str
        Two angles with their compass letters; or two plain numbers when ``order`` is given.
    order : tuple of str, optional
        ``("lat", "lon")`` or ``("lon", "lat")``, from the name of the column.

    Raises
    ------
    PositionError
        As for :func:`angle`; two angles of the same axis; numbers without letters or order.

    Examples
    --------
    >>> lon, lat, sure = pair("40°37'26.5\"N 92°55'54\"W")
    >>> round(lon, 6), round(lat, 6), sure
    (-92.931667, 40.624028, True)
    >>> pair("40.5, -92.25", ("lat", "lon"))
    (-92.25, 40.5, False)
    """
    plain = _plain(text)
    bare = _BARE.fullmatch(plain)
    if bare is not None and ("." in plain or "," not in plain or " " in plain):
        if order is None:
            raise PositionError(
                "two numbers, and nothing says which is the latitude",
                "write 40.62 N, 92.93 W, or give two columns lon and lat",
            )
        held = dict(zip(order, (float(bare[1]), float(bare[2])), strict=True))
        return held["lon"], held["lat"], False
    found = _TWO.fullmatch(plain)
    if found is None:
        raise _no_angle()
    first, second = _angle(found, "1"), _angle(found, "2")
    if not first.letter or not second.letter:
        raise PositionError(
            "an angle without its compass letter", "write N or S, and E or W, behind each"
        )
    by_axis = {_AXES[one.letter]: one.degrees for one in (first, second)}
    if len(by_axis) < 2:
        raise PositionError(
            f"two hemispheres that clash ({first.letter} and {second.letter})",
            "give one latitude (N or S) and one longitude (E or W)",
        )
    return by_axis["lon"], by_axis["lat"], True


def _plain(text: str) -> str:
    """The text with one sign for each mark."""
    out = " ".join(text.translate(_SIGNS).replace("''", '"').split())
    if len(out) > _MOST_CHARACTERS:
        raise _no_angle()
    for words, mark in _WORDS:
        out = words.sub(mark, out)
    return out


def _angle(found: re.Match[str], which: str) -> Angle:
    parts = {name[: len(name) - len(which)] if which else name: held
             for name, held in found.groupdict().items() if name.endswith(which)}  # fmt: skip
    letter = _letter(parts)
    degrees, minutes, seconds = (_part(parts[name]) for name in ("deg", "min", "sec"))
    _whole_before_a_part(parts)
    for name, held in (("minutes", minutes), ("seconds", seconds)):
        if held >= 60:
            raise PositionError(f"60 or more {name}", "minutes and seconds run from 0 to 59")
    size = degrees + minutes / 60 + seconds / 3600
    turned = parts["sign"] == "-" or letter in ("S", "W")
    return Angle(-size if turned else size, letter)


def _part(held: str | None) -> float:
    return float(held.replace(",", ".")) if held else 0.0


def _whole_before_a_part(parts: dict[str, str | None]) -> None:
    """Only the last of degrees, minutes and seconds may have a fraction."""
    given = [held for name in ("deg", "min", "sec") if (held := parts[name])]
    if any(re.search(r"[.,]", held) for held in given[:-1]):
        raise PositionError(
            "a fraction before a smaller part", "give the fraction to the last part only"
        )


def _letter(parts: dict[str, str | None]) -> str:
    letter = (parts["lead"] or parts["tail"] or "").upper()
    if _seconds_or_south(parts):
        raise PositionError(
            "an s that may be seconds or south", 'write S apart from the number, or " for seconds'
        )
    if letter and parts["sign"] == "-":
        raise PositionError(f"a minus sign beside {letter}", "leave one of them out")
    return letter


def _seconds_or_south(parts: dict[str, str | None]) -> bool:
    """Whether an s right behind the third number may be read both ways."""
    by_letters = "d" in (parts["dmark"] or "").lower()
    if parts["smark"] == "s" and not (parts["lead"] or parts["tail"]):
        return not by_letters
    bare_south = parts["tail"] == "S" and parts["sec"] is not None
    return bare_south and parts["smark"] is None and parts["gap"] == "" and by_letters


def _no_angle() -> PositionError:
    return PositionError(
        "a position that is not two numbers",
        "give decimal degrees with a point, or degrees, minutes and seconds such as 40°37'26.5\"N",
    )
