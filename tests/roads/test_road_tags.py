"""The tag grammar against the map wiki's own rules.

Referee: https://wiki.openstreetmap.org/wiki/Map_Features/Units , Key:maxweight, Key:maxheight.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.roads.tags import length_m, mass_kg


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("3.8", 3.8),
        ("12'6\"", 3.810),
        ("7'4\"", 2.2352),
        ("16'3\"", 4.9530),
        ("7 ft", 2.1336),
        ("0.6 mi", 965.6064),
        ("3 m", 3.0),
        ("16'", 4.8768),
        ("0.2 km", 200.0),
        ("7'4.5\"", 2.2479),
    ],
)
def test_referee_lengths(text, metres):
    assert length_m(text).value == pytest.approx(metres, abs=1e-9)
    assert length_m(text).word == "figure"


@pytest.mark.parametrize(
    ("text", "tonnes"),
    [
        ("8 t", 8.0),
        ("5 st", 4.53592370),
        ("16000 lbs", 7.25747792),
        ("16000 lb", 7.25747792),
        ("5500 kg", 5.5),
        ("3.5", 3.5),
    ],
)
def test_referee_masses(text, tonnes):
    assert mass_kg(text).value == pytest.approx(tonnes * 1000.0, abs=1e-6)


@pytest.mark.parametrize(
    "text",
    [
        "12' 6\"",
        "0,6",
        "2km",
        "narrow",
        "",
        " 3",
        "3  m",
        "12'13\"",
        "12'12\"",
        "0",
        "-3",
        "3;4",
        "3.5 @ (hgv)",
        "3.5m",
        "3.5 metres",
        "3,50 m",
        "3.5 M",
        "~3",
        "3-4",
        "12 '6\"",
        '6"',
        "unknown",
        "5 t",
        "1e3",
        "nan",
        "inf",
        "٣",
    ],
)
def test_referee_lengths_that_are_wrong_are_unreadable(text):
    assert (length_m(text).value, length_m(text).word) == (None, "unreadable")


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("default", "none"),
        ("none", "none"),
        ("unsigned", "none"),
        ("no_sign", "none"),
        ("below_default", "below_default"),
        (None, "missing"),
    ],
)
def test_referee_words_that_are_no_figure(text, word):
    assert (length_m(text).value, length_m(text).word) == (None, word)
    assert (mass_kg(text).value, mass_kg(text).word) == (None, word)


@pytest.mark.parametrize(
    "text",
    ["7,5", "7.5t", "7.5 tons", "3 m", "7.5;12", "7.5 @ (hgv)", "0", "-1", "", "heavy", "7.5 T"],
)
def test_referee_masses_that_are_wrong_are_unreadable(text):
    assert (mass_kg(text).value, mass_kg(text).word) == (None, "unreadable")


@given(st.text(max_size=12))
def test_property_whatever_stands_there_is_a_positive_figure_or_none(text):
    for read in (length_m, mass_kg):
        found = read(text)
        assert (found.value is None) == (found.word != "figure")
        assert found.value is None or 0 < found.value < float("inf")
