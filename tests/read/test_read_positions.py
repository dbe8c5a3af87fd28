"""Positions as people write them: shown before use, never guessed."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.read.positions import PositionError, angle, pair

LATS = st.floats(-90, 90, allow_nan=False)
LONS = st.floats(-180, 180, allow_nan=False)
MARKS = [("°", "'", '"'), ("°", "\u2032", "\u2033"), ("d", "m", "s"), (" ", " ", ""),
         (":", ":", ""), (" deg ", " min ", " sec"), ("º", "\u2019", "''"),
         ("° ", "' ", '"')]  # fmt: skip


def minutes_text(degrees: float, marks: tuple[str, str, str], *, parts: int) -> str:
    """The size of an angle in degrees and minutes (2 parts) or with seconds too (3)."""
    unit = 60 ** (parts - 1)
    whole = round(abs(degrees) * unit * 10**6)
    size, fraction = divmod(whole, 10**6)
    if parts == 2:
        return f"{size // 60}{marks[0]}{size % 60}.{fraction:06d}{marks[1]}"
    head = f"{size // 3600}{marks[0]}{size // 60 % 60}{marks[1]}"
    return f"{head}{size % 60}.{fraction:06d}{marks[2]}"


@given(lat=LATS, marks=st.sampled_from(MARKS), parts=st.sampled_from([2, 3]))
def test_property_a_latitude_comes_back_out_of_its_minutes(
    lat: float, marks: tuple[str, str, str], parts: int
) -> None:
    text = minutes_text(lat, marks, parts=parts).rstrip(": ")
    found = angle(f"{text} {'S' if lat < 0 else 'N'}", "lat")
    assert found.degrees == pytest.approx(lat, abs=1e-6)
    assert found.letter == ("S" if lat < 0 else "N")


@given(lat=LATS, lon=LONS, marks=st.sampled_from(MARKS), lead=st.booleans(), turn=st.booleans())
def test_property_a_pair_comes_back_whatever_its_order(
    lat: float, lon: float, marks: tuple[str, str, str], lead: bool, turn: bool
) -> None:
    letters = ("S" if lat < 0 else "N", "W" if lon < 0 else "E")
    texts = [minutes_text(one, marks, parts=3).strip() for one in (lat, lon)]
    both = [f"{a} {t}" if lead else f"{t} {a}" for a, t in zip(letters, texts, strict=True)]
    east, north, sure = pair(", ".join(both[::-1] if turn else both))
    assert sure
    assert (east, north) == (pytest.approx(lon, abs=1e-6), pytest.approx(lat, abs=1e-6))


@given(lon=LONS)
def test_property_a_sign_turns_the_whole_angle(lon: float) -> None:
    sign = "-" if lon < 0 else ""
    found = angle(sign + minutes_text(lon, MARKS[0], parts=3), "lon")
    assert found.degrees == pytest.approx(lon, abs=1e-6)


@given(text=st.text("0123456789°'\" NSEWdms.,;:+-", max_size=30))
def test_property_any_scribble_is_an_angle_or_a_fault_with_its_mend(text: str) -> None:
    for read in (lambda: angle(text, "lat").degrees, lambda: pair(text)[0]):
        found, told = math.nan, ""
        try:
            found = read()
        except PositionError as error:
            told = error.what and error.mend
        assert math.isfinite(found) != bool(told)


def test_referee_one_point_in_three_ways() -> None:
    """Referee: the formats listed at services.dwr.virginia.gov/fwis/Help/VaFWIS_Help_Coordinates
    (read 2026-11-25): 37 05 09 = 37 05.1500 = 37.085833 north. Its longitude, 77 38 11, is printed
    there as 77.636333 too, which is 0.00006 off its own seconds; not used."""
    for text in ("37 05 09", "37 05.1500", "37.085833"):
        assert angle(text, "lat").degrees == pytest.approx(37.085833, abs=5e-7)


@pytest.mark.parametrize(
    ("text", "axis", "degrees"),
    [
        ("40°37'26.5\"N", "lat", 40 + 37 / 60 + 26.5 / 3600),
        ("40° 37\u2032 26,5\u2033 N", "lat", 40 + 37 / 60 + 26.5 / 3600),
        ("N 40 37 26.5", "lat", 40 + 37 / 60 + 26.5 / 3600),
        ("40d37m26.5s", "lat", 40 + 37 / 60 + 26.5 / 3600),
        ("40d37m26.5sS", "lat", -(40 + 37 / 60 + 26.5 / 3600)),
        ("40 deg 37 min 26.5 sec South", "lat", -(40 + 37 / 60 + 26.5 / 3600)),
        ("92°55.9'W", "lon", -(92 + 55.9 / 60)),
        ("-0°30'", "lon", -0.5),
        ("\u22120°30'", "lon", -0.5),
        ("40.62s", "lat", -40.62),
        ("+40.62 n", "lat", 40.62),
    ],
)
def test_by_hand_angles(text: str, axis: str, degrees: float) -> None:
    assert angle(text, axis).degrees == pytest.approx(degrees, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("40°60'N", "60 or more minutes"),
        ("40°59'60\"N", "60 or more seconds"),
        ("40.5°30'N", "a fraction before a smaller part"),
        ("40°37'W", "a letter of the other axis"),
        ("-40°37'N", "a minus sign beside N"),
        ("40 37 26.5s", "seconds or south"),
        ("40d37m26S", "seconds or south"),
        ("40.62.5", "not two numbers"),
        ("40,62,5", "not two numbers"),
        ("4062'", "not two numbers"),
        ("N40°37'N", "not two numbers"),
        ("somewhere", "not two numbers"),
        ("", "not two numbers"),
        ("1" * 200, "not two numbers"),
    ],
)
def test_by_hand_angles_that_are_refused(text: str, what: str) -> None:
    with pytest.raises(PositionError, match=what):
        angle(text, "lat")


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("40.62, -92.93", "nothing says which"),
        ("40°37'N 41°10'S", "hemispheres that clash"),
        ("40°37'26\", 92°55'54\"W", "without its compass letter"),
        ("40.62 N", "not two numbers"),
        ("40 N 92 W 12 E", "not two numbers"),
    ],
)
def test_by_hand_pairs_that_are_refused(text: str, what: str) -> None:
    with pytest.raises(PositionError, match=what):
        pair(text)


def test_by_hand_an_order_that_the_column_names() -> None:
    assert pair("40.62 -92.93", ("lat", "lon")) == (-92.93, 40.62, False)
    assert pair("-92.93;40.62", ("lon", "lat")) == (-92.93, 40.62, False)
    with pytest.raises(PositionError):
        pair("40,62", ("lat", "lon"))  # one number with a comma, or two without a fraction
