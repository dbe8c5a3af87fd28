"""The page of all fields' slopes: bars that add up, an order that unknown cannot improve."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import math
import re
from collections.abc import Iterator, Mapping
from datetime import date
from html import unescape
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import page_payloads
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from fieldmap.machine import Machine
from fieldmap.risk.told import SLOPE_CAUTION
from fieldmap.tables import load_tables
from fieldmap.write import tints
from fieldmap.write.pages import index_page
from fieldmap.write.slopes import slopes_csv, slopes_page, slopes_payload

TABLES = load_tables()
SLOPES = [f"share_slope_{number}" for number in range(6)]
USES = [f"share_use_{number}" for number in range(4)]
MOWER = Machine.model_validate({"id": "m", "name": "Invented mower", "kind": "pull-type"})


def row(
    name: str, slope: list[float] | None, use: list[float] | None, **more: Any
) -> dict[str, Any]:
    known = 0.0 if slope is None else sum(slope)
    figure = math.nan if slope is None else 10.0
    return {
        "field_id": name, "area_ha": 10.0, "slope_known_share": known, "slope_mean_pct": figure,
        "slope_p95_pct": figure * 2, "slope_max_pct": figure * 3,
        **dict(zip(SLOPES, slope or [math.nan] * 6, strict=True)),
        **dict(zip(USES, use or [math.nan] * 4, strict=True)),
        "cell_m": figure, **more,
    }  # fmt: skip


def farm(names: Mapping[str, str | None], units: str = "us") -> Any:
    """What the payload asks of a farm."""
    files = SimpleNamespace(elevation="heights.tif")
    return SimpleNamespace(
        fields=pd.DataFrame({"field_id": list(names), "name": list(names.values())}),
        tables=TABLES,
        settings=SimpleNamespace(name="Sallow Bottom", note="Invented", units=units, files=files),
    )


STEEP_SHARES = [0.1, 0.1, 0.1, 0.2, 0.3, 0.2]
STEEP = row("A1", STEEP_SHARES, [0.4, 0.3, 0.2, 0.1])
GENTLE = row("A2", [0.9, 0.1, 0, 0, 0, 0], [1, 0, 0, 0])
PART = row("A3", [0.5, 0.1, 0, 0, 0, 0], [0.6, 0, 0, 0])
NONE = row("A4", None, None)
NAMES: dict[str, str | None] = {
    "A1": "Hang <b>",
    "A2": None,
    "A3": "Mill Piece",
    "A4": "Far Tongue",
}


def payload(*rows: dict[str, Any], **more: Any) -> dict[str, Any]:
    given = {"machine": MOWER, "day": date(2026, 6, 9), "best_heading": True, **more}
    units = given.pop("units", "us")
    return slopes_payload(farm(NAMES, units), pd.DataFrame(rows), **given)


def four(**more: Any) -> dict[str, Any]:
    return payload(GENTLE, PART, STEEP, NONE, **more)


def titles(page: str) -> list[str]:
    """The fields in the order of the table."""
    body = page[page.index("<tbody") : page.index("</tbody")]
    heads = re.findall(r'<th role="rowheader"[^>]*>(.*?)</th>', body, re.DOTALL)
    return [unescape(re.sub(r"<[^>]*>", "", head)) for head in heads]


def bars(page: str, number: int) -> list[list[tuple[float, float, str]]]:
    """Both bars of a field: where each piece begins, how wide it is, its fill."""
    at = page.index(f'id="row-f{number}"')
    text = page[at : page.index("</tr>", at)]
    return [
        [
            (float(x), float(width), unescape(fill))
            for x, width, fill in re.findall(
                r'x="([\d.]+)%" width="([\d.]+)%" height="18" fill="([^"]*)"', bar
            )
        ]
        for bar in re.findall(r'<svg class="bar".*?</svg>', text, re.DOTALL)
    ]


def test_bars_add_up_to_the_whole_field() -> None:
    """By hand: pieces follow each other from 0 to 100 percent, unknown last and hatched."""
    page = slopes_page(four())
    assert titles(page) == ["Far Tongue (A4)", "Mill Piece (A3)", "Hang <b> (A1)", "A2"]
    for number in range(1, 5):
        for pieces in bars(page, number):
            ends = [0.0]
            for x, width, _ in pieces:
                assert x == pytest.approx(ends[-1], abs=0.02)
                ends.append(x + width)
            assert ends[-1] == pytest.approx(100, abs=0.02)
    assert bars(page, 1) == [[(0.0, 100.0, "url(#hatch-unknown)")]] * 2
    slope, use = bars(page, 2)
    assert slope == [
        (0.0, 50.0, tints.hex_of(tints.SLOPE[0])),
        (50.0, 10.0, tints.hex_of(tints.SLOPE[1])),
        (60.0, 40.0, "url(#hatch-unknown)"),
    ]
    assert use[-1][2] == "url(#hatch-unknown)"
    assert [piece[2] for piece in bars(page, 3)[0]] == [tints.hex_of(one) for one in tints.SLOPE]


def test_bars_are_told_in_words() -> None:
    """By hand: the same shares for those who do not see the bar."""
    page = slopes_page(four())
    assert 'aria-label="0 to 3% (0 to 2 deg): 50%; 3 to 8% (2 to 5 deg): 10%; unknown: 40%"' in page
    assert "60% and more: 20%" in page
    assert "30% or more" in page  # the steepest of a field that is known in part
    assert page.count(">unknown<") >= 2


def test_page_says_which_heading_which_machine_and_the_caution() -> None:
    """By hand: the best line, any heading, and a machine of which too little is known."""
    best, any_way = slopes_page(four()), slopes_page(four(best_heading=False))
    blind = slopes_page(payload(row("A1", STEEP_SHARES, None)))
    assert "Invented mower on each field's <b>best line of travel</b>" in best
    assert "whatever the heading" not in best
    assert "Invented mower <b>whatever the heading</b>" in any_way
    assert "Side-slope use is unknown: it needs the track width" in blind
    words = SLOPE_CAUTION.partition(": ")[2]
    for page in (best, any_way, blind):
        assert words in unescape(page)
        assert "WARNING" in page
        assert not re.search(
            r"\bsafe\b", re.sub(r"<(script|style).*?</\1>", "", page, flags=re.DOTALL)
        )


def test_all_ground_is_weighted_by_area() -> None:
    """By hand: 30 ha of class 0 and 10 ha unknown: three quarters and a quarter."""
    wide = row("A1", [1, 0, 0, 0, 0, 0], [1, 0, 0, 0], area_ha=30.0, slope_mean_pct=1.0)
    page = slopes_page(payload(wide, NONE))
    foot = page[page.index("<tfoot") : page.index("</tfoot")]
    assert 'width="75.00%"' in foot
    assert 'x="75.00%" width="25.00%" height="18" fill="url(#hatch-unknown)"' in foot
    assert "98.8 ac" in foot
    assert "30% or more" in foot


def test_levels_and_links_come_only_with_an_assessment() -> None:
    """By hand."""
    page = slopes_page(four(levels={"A1": "stop"}))
    assert 'href="fields/A1.html"' in page
    assert 'href="index.html"' in page
    assert "not assessed" in page
    bare = slopes_page(four())
    assert "fields/" not in bare
    assert "index.html" not in bare


def test_page_is_text_that_asks_nobody() -> None:
    """By hand: hashes fit, no style in an attribute, no map library, people's words escaped."""
    page = slopes_page(four())
    assert "Hang &lt;b&gt; (A1)" in page
    assert not re.search(r"<[a-z]+[^>]*\s(style|on\w+)=", page)
    assert "Leaflet 1.9.3" not in page
    found = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    assert found
    for tag, directive in (("script", "script-src"), ("style", "style-src")):
        texts = re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.DOTALL)
        digests = {base64.b64encode(hashlib.sha256(t.encode()).digest()).decode() for t in texts}
        stated = re.search(rf"{directive} ([^;]*)", unescape(found[1]))
        assert stated
        assert {one.strip("'").removeprefix("sha256-") for one in stated[1].split()} == digests


def test_payload_is_json_and_the_page_the_same_every_time() -> None:
    """Property: order of keys does not matter; what is unknown is null."""
    made = four()
    back = json.loads(json.dumps(made, allow_nan=False))
    assert slopes_page(back) == slopes_page(dict(reversed(made.items())))
    assert made["fields"][3]["slope_shares"] is None
    assert made["slope_breaks_pct"] == [3, 8, 16, 30, 60]
    assert len(made["use_breaks"]) == 3
    assert {"heights.tif", "nrcs_slopes", "own"} <= set(made["sources"])


def test_csv_keeps_columns_and_leaves_unknown_empty() -> None:
    """Referee: pandas reads it back."""
    table = pd.DataFrame([STEEP, NONE])
    text = slopes_csv(table)
    back = pd.read_csv(io.StringIO(text))
    assert list(back.columns) == list(table.columns)
    assert back[SLOPES].iloc[0].tolist() == STEEP_SHARES
    assert back[SLOPES].iloc[1].isna().all()
    assert text.splitlines()[2] == "A4,10.0,0.0" + "," * 14


shares = st.lists(st.floats(0.01, 1), min_size=6, max_size=6).map(
    lambda held: [one / sum(held) for one in held]
)


@settings(max_examples=60, deadline=None)
@example(one=[1 / 6] * 6, other=[1 / 6] * 6, kept=0.9999999999999999)
@given(one=shares, other=shares, kept=st.floats(0, 1))
def test_less_knowledge_never_moves_a_field_down(
    one: list[float], other: list[float], kept: float
) -> None:
    """Property: with part of its ground unknown a field stands no lower than before."""
    use = [0.25] * 4
    rows = [row("A1", one, use), row("A2", other, use)]
    before = titles(slopes_page(payload(*rows))).index("Hang <b> (A1)")
    fewer = [share * kept for share in one]
    rows[0] = row("A1", fewer, use, slope_known_share=kept)
    after = titles(slopes_page(payload(*rows))).index("Hang <b> (A1)")
    assert after <= before


def test_little_steep_ground_outweighs_much_gentle_ground() -> None:
    """By hand, weights 1, 3, 9, 27, 81, 243: 0.1 x 81 + 0.9 beats 0.6 x 9 + 0.4 x 3, half not."""
    hill = row("A2", [0, 0.4, 0.6, 0, 0, 0], [1, 0, 0, 0])
    bank = row("A1", [0.9, 0, 0, 0, 0.1, 0], [1, 0, 0, 0])
    assert titles(slopes_page(payload(hill, bank))) == ["Hang <b> (A1)", "A2"]
    low = row("A1", [0.95, 0, 0, 0, 0.05, 0], [1, 0, 0, 0])
    assert titles(slopes_page(payload(hill, low))) == ["A2", "Hang <b> (A1)"]


def test_index_leads_to_the_page_where_there_is_one() -> None:
    """By hand: our own address is a link, another machine's is none."""
    index = page_payloads.index_payload()
    assert "slopes.html" not in index_page(index)
    assert 'href="slopes.html"' in index_page(index | {"slopes": "slopes.html"})
    assert "elsewhere" not in index_page(index | {"slopes": "//elsewhere.example/x"})


def test_order_can_go_by_use() -> None:
    """By hand: A2 is gentler, but the machine is nearer its limit there."""
    near = row("A2", [0.9, 0.1, 0, 0, 0, 0], [0, 0, 0, 1])
    assert titles(slopes_page(payload(STEEP, near)))[0] == "Hang <b> (A1)"
    page = slopes_page(payload(STEEP, near, order="use"))
    assert titles(page)[0] == "A2"
    assert "the most side-slope use or least known first" in page


@pytest.fixture
def standing(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """A page of 500 fields opened from disk; whatever it says or asks is an error."""
    rng = np.random.default_rng(5)
    slope, use = rng.dirichlet([5, 4, 3, 2, 1, 1], 500), rng.dirichlet([4, 2, 1, 1], 500)
    rows = [row(f"F{n}", slope[n].tolist(), use[n].tolist()) for n in range(500)]
    names = {f"F{n}": f"Plot {n}" for n in range(500)}
    made = slopes_payload(
        farm(names), pd.DataFrame(rows), machine=MOWER, day=date(2026, 6, 9), best_heading=False
    )
    path = tmp_path / "slopes.html"
    path.write_text(slopes_page(made), encoding="utf-8", newline="")
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: said.append(request.url))
    page.goto(path.as_uri())
    yield page
    page.close()
    assert [one for one in said if one != path.as_uri()] == []


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 390, 1280])
def test_five_hundred_fields_fit_the_screen(width: int, standing: Any) -> None:
    """By hand: no sideways scroll, and both bars of a row can be seen."""
    standing.set_viewport_size({"width": width, "height": 800})
    assert standing.evaluate("document.documentElement.scrollWidth") <= width
    assert standing.locator("#slope-table tbody tr").count() == 500
    for number in (0, 1):
        bar = standing.locator("#row-f1 .bar").nth(number)
        bar.scroll_into_view_if_needed()
        box = bar.bounding_box()
        assert box["width"] > 150
        assert box["x"] + box["width"] <= width
    pieces = standing.evaluate(
        "[...document.querySelectorAll('#row-f1 .bar')[0].children]"
        ".reduce((sum, one) => sum + one.getBoundingClientRect().width, 0)"
    )
    inner = standing.evaluate("document.querySelector('#row-f1 .bar').clientWidth")
    assert pieces == pytest.approx(inner, abs=8)  # rims between the pieces


@pytest.mark.browser
def test_fields_are_sifted_without_levels(standing: Any) -> None:
    """By hand: one of 500 is named Plot 77."""
    standing.fill('[data-sift="slope-table"] input[type=search]', "plot 77 ")
    standing.wait_for_timeout(250)
    assert standing.locator("#slope-table tbody tr:visible").count() == 1
    assert "1 of 500 shown" in standing.locator(".sift-count").inner_text()


@pytest.mark.browser
def test_paper_lies_across_and_cuts_no_bar(standing: Any) -> None:
    """By hand: a landscape sheet; bars end on it; a row is not split."""
    sheet = standing.pdf(prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", sheet)
    assert boxes
    assert all(float(width) > float(height) for width, height in boxes)
    standing.set_viewport_size({"width": 1030, "height": 700})
    standing.emulate_media(media="print")
    rights = standing.evaluate(
        "[...document.querySelectorAll('.bar')].map(e => e.getBoundingClientRect().right)"
    )
    assert len(rights) == 1002
    assert max(rights) <= 1030
    assert standing.evaluate("getComputedStyle(document.querySelector('#row-f1')).breakInside") == (
        "avoid"
    )
