"""Cautions on the cab sheet: whole statements, none left out, what may kill first."""

from __future__ import annotations

import html
import re
from typing import Any

import page_payloads
import pytest
import sheet_payloads
from hypothesis import given
from hypothesis import strategies as st
from page_pieces import collection, point
from test_pages_sheet import plain_text, printed

from fieldmap.finding import Finding
from fieldmap.tables import load_tables
from fieldmap.write import sheet
from fieldmap.write.cautions import statement
from fieldmap.write.page_findings import signal
from fieldmap.write.sheet import sheet_page
from fieldmap.write.sheet_cautions import cautions_of, shortened
from fieldmap.write.sheet_fit import LEAST
from fieldmap.write.sheet_height import height_mm

TOLD = [row.words["caution"] for row in load_tables().rows("hazard_kinds")]


def kinds(count: int) -> dict[str, Any]:
    """A field with so many kinds of marks; their cautions are those of the hazard table."""
    names = [f"kind {n} of what the flood left" for n in range(count)]
    marks = [
        (
            point(40 + 30 * (n % 14), 60 + 70 * (n // 14)),
            page_payloads.hazard(n, name, name, "stop", call="landowner", action="keep out"),
        )
        for n, name in enumerate(names)
    ]
    findings = [
        Finding("stop", name, "LS-1", "Marked.", "measured", ("log",), 1.0,
                caution=f"{'WARNING' if n else 'CAUTION'}: {TOLD[n % len(TOLD)]}")
        for n, name in enumerate(names)
    ]  # fmt: skip
    return sheet_payloads.crowded() | {
        "hazards": collection(*marks),
        "findings": [one.as_dict() for one in findings],
    }


def on_sheet(page: str) -> list[tuple[str, str]]:
    """Signal word and text of every caution on a sheet, in order."""
    found = []
    for bar in re.findall(r'<li class="caution.*?</li>|<span class="told">.*?</span>', page):
        word = re.search(r"<strong>(\w+)</strong>", bar)
        body = re.sub(r"<strong>.*?</strong>", "", bar)
        for text in re.split(r'<span class="of">.*?</span>', body):
            plain = html.unescape(re.sub(r"<[^>]+>", "", text)).strip()
            found += [(word[1] if word else "", plain)] if plain else []
    return found


def is_whole(text: str, told: list[str]) -> bool:
    """Whether a text is a piece of one of those told that begins and ends with a statement."""
    for one in told:
        at = one.find(text.removesuffix("."))
        if at < 0:
            continue
        before, after = one[:at], one[at + len(text.removesuffix(".")) :]
        starts = not before or before.endswith((": ", ". "))
        if starts and re.match(r"$|\.$|\. |; ", after):
            return True
    return False


def test_a_statement_ends_where_the_hazard_table_ends_one() -> None:
    """By hand: three cautions of the table, and none of all that are in it is cut at a comma."""
    assert statement(TOLD[0]) in TOLD[0]
    said = {
        "Do not touch, roll or open it.": "Do not touch, roll or open it; what is inside",
        "Torn metal cuts hands and sidewalls, and shredded metal in hay can pierce a cow's "
        "stomach.": "Torn metal",
    }
    for short, begins in said.items():
        assert [statement(one) for one in TOLD if one.startswith(begins)] == [short]
    assert all(is_whole(statement(one), [one]) for one in TOLD)


@given(st.text(alphabet="ab ;:.,()", max_size=60))
def test_a_statement_is_the_beginning_of_what_was_told(text: str) -> None:
    """Property: nothing is made up, and a second one adds nothing."""
    short = statement(text)
    assert text.startswith((short, f"{short[:-1]}; "))
    assert bool(short.strip()) or not text.partition(". ")[0].strip()


@pytest.mark.parametrize("payload", [sheet_payloads.crowded(), kinds(5), kinds(14), kinds(40)])
def test_every_caution_is_a_whole_statement(payload: dict[str, Any]) -> None:
    """By hand: full sheets; each caution is found in what was told, from a start to an end."""
    told = [signal(one["caution"])["text"] for key in ("findings", "settings")
            for one in payload[key]]  # fmt: skip
    page = sheet_page(payload)
    found = on_sheet(page)
    assert len(found) > 10
    own = [text for _, text in found if "kinds of marks must not be touched" not in text]
    assert [text for text in own if not is_whole(text, told)] == []
    assert not any("..." in text for _, text in found)


def test_what_may_kill_stands_first_in_every_group() -> None:
    """By hand: WARNING, CAUTION, NOTICE, then those without a word; of machines all in one bar."""
    page = sheet_page(sheet_payloads.crowded())
    order = ["WARNING", "CAUTION", "NOTICE", ""]
    groups = page.split('<section class="group"')[1:]
    for group in groups:
        words = [
            (re.findall(r"<strong>(\w+)</strong>", bar) or [""])[0]
            for bar in re.findall(r'<li class="caution.*?</li>', group)
        ]
        assert words == sorted(words, key=order.index)
        assert words.count("NOTICE") <= 1
    notice = re.search(r'<li class="caution caution-notice">(.*?)</li>', page)
    assert notice is not None
    assert notice[1].count('class="of"') == 4  # tilt, axle load, power and money


def test_one_caution_stands_for_the_kinds_that_have_no_room() -> None:
    """By hand: 40 kinds, of which three have their own; it names the others and counts them."""
    payload = kinds(40)
    text = plain_text(sheet_page(payload))
    found = re.search(
        r"WARNING (\d+) kinds of marks must not be touched before their own cautions on the "
        r"field's page are read: (.*?)\.",
        text,
    )
    assert found is not None
    names = found[2].split(", ")
    assert len(names) == int(found[1]) == 37
    lined = re.findall(r"(kind \d+ of what the flood left): keep out \(landowner\) \w+ [A-Z]", text)
    assert {*names, *lined} == {one["what"] for one in payload["findings"]}


def test_where_there_is_room_each_kind_has_its_own_caution() -> None:
    """By hand: five kinds on an else quiet sheet; no one stands for another."""
    payload = kinds(5) | {"settings": [], "to_change": []}
    text = plain_text(sheet_page(payload))
    assert "kinds of marks must not be touched" not in text
    for one in TOLD[:5]:
        assert statement(one).removesuffix(".") in text


def test_the_shared_caution_is_as_grave_as_the_gravest() -> None:
    """By hand: a CAUTION and a WARNING make a WARNING; a single kind keeps its own."""
    told = [{"what": "silt", "caution": "CAUTION: a."}, {"what": "wire", "caution": "WARNING: b."}]
    held = cautions_of([], told, LEAST, {"silt", "wire"})
    assert [(one["word"], one["of"], one["kinds"]) for one in held] == [("WARNING", [], 2)]
    assert held[0]["text"].endswith("are read: silt, wire.")
    assert shortened([one["caution"] for one in told], held) == 0
    alone = cautions_of([], told[:1], LEAST, {"silt", "wire"})
    assert [(one["word"], one["text"]) for one in alone] == [("CAUTION", "a.")]
    apart = cautions_of([], told, LEAST._replace(each=True), {"silt", "wire"})
    assert [one["text"] for one in apart] == ["b.", "a."]
    other = cautions_of([], told, LEAST, {"silt"})
    assert [one["of"] for one in other] == [["wire"], ["silt"]]


def test_alike_once_shortened_is_said_once() -> None:
    """By hand: two cautions with the same first statement; both owners are named."""
    made = [
        {"number": 1, "is_setting": True, "caution": "WARNING: shut down; wait."},
        {"number": 2, "is_setting": True, "caution": "WARNING: shut down; a cracked one can fly."},
    ]
    held = cautions_of(made, [], LEAST, set())
    assert [(one["text"], one["of"]) for one in held] == [("shut down.", ["1", "2"])]


@pytest.mark.browser
@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("count", [0, 12, 40])
def test_many_kinds_are_one_page(count: int, units: str, browser: Any, tmp_path: Any) -> None:
    """By hand: no kind of mark and forty of them, each with the words of the hazard table."""
    page = sheet_page(kinds(count) | {"units": units})
    assert printed(browser, page, tmp_path) == {"A4": 1, "Letter": 1}


@pytest.mark.browser
@pytest.mark.parametrize("kind", ["plain", "crowded", "kinds"])
def test_height_is_never_reckoned_too_low(kind: str, browser: Any, tmp_path: Any) -> None:
    """Referee: Chromium lays the same sheet out on Letter, 201.9 mm wide (763 px of 96 dpi)."""
    made = {"plain": page_payloads.field_payload, "crowded": sheet_payloads.crowded}
    payload = made.get(kind, lambda: kinds(12))()
    view = sheet._fitted(payload, sheet._held(payload))
    drawn = view["drawing"]
    reckoned = height_mm(view, drawn["height"] / drawn["width"] * 90.0)
    path = tmp_path / "sheet.html"
    path.write_text(sheet_page(payload), encoding="utf-8")
    page = browser.new_page(viewport={"width": 763, "height": 1000})
    page.goto(path.as_uri())
    page.emulate_media(media="print")
    bottom = page.evaluate("document.querySelector('footer').getBoundingClientRect().bottom")
    page.close()
    assert 0.85 * reckoned < bottom / 96.0 * 25.4 <= reckoned + 0.5
