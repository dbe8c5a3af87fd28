"""The page of how wide a machine gets where: words that stay words, nothing that is not known."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fieldmap.roads.wording import CAUTION
from fieldmap.write.widest_page import widest_page

HOSTILE = "<script>window.hit=1</script>"
LANE = {
    "place": "way/12", "name": "Elm Lane", "check": "road width", "low_m": 3.0, "high_m": 4.5,
    "basis": "assumed", "why": "Guessed.", "kind": "width", "measure": "narrowest width",
    "lon": 11.5, "lat": 50.0,
}  # fmt: skip
GATE = LANE | {
    "place": "node/3", "name": "gate", "check": "opening", "low_m": None, "high_m": None,
    "kind": "opening", "measure": "clear opening",
}  # fmt: skip


def bound(limited: str, width_m: float | None, *decides: dict[str, Any]) -> dict[str, Any]:
    return {
        "limited": limited, "width_m": width_m, "length_km": None if limited == "no way" else 2.0,
        "decides": list(decides),
    }  # fmt: skip


def cell(level: str, places: int = 0, **more: Any) -> dict[str, Any]:
    return {
        "machine": "m", "name": "Invented mower", "state": "folded", "level": level,
        "unknown_places": places, "length_km": 2.0, "why": [], **more,
    }  # fmt: skip


def place(name: str, surely: dict[str, Any], possibly: dict[str, Any], *cells: Any) -> dict:
    return {
        "name": name, "lon": 11.5, "lat": 50.0, "far": "", "surely": surely, "possibly": possibly,
        "machines": list(cells),
    }  # fmt: skip


WHY = [
    {"place": f"way/{n}", "name": f"Road {n}", "check": "road width", "level": "stop"}
    for n in range(4)
]
NEAR = place("S1", bound("by width", 2.0, LANE), bound("by width", 3.5, LANE), cell("unknown", 1))
SHUT = place("S2", bound("no machine", 0.0, GATE, LANE, LANE), bound("by nothing known", None),
             cell("stop", why=WHY))  # fmt: skip
FAR = place("S3", bound("no way", None), bound("no way", None), cell("unknown", length_km=None)) | {
    "far": "the S3 is too far from any road: 900 m"
}


def held(*places: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {
        "farm": "Sallow Bottom", "note": "Invented", "day": "2026-06-09", "from": "home",
        "machine": None, "state": None, "places": list(places), "cautions": [CAUTION["way"]],
        "notes": [], **more,
    }  # fmt: skip


def bare(text: str) -> str:
    return " ".join(re.sub(r"<[^>]*>", " ", text).split())


def rows(page: str, number: int) -> list[str]:
    body = re.findall(r"<tbody.*?</tbody>", page, re.DOTALL)[number]
    return [bare(one) for one in re.findall(r"<tr .*?</tr>", body, re.DOTALL)]


def test_by_hand_what_is_sure_what_is_possible_and_where() -> None:
    told = rows(widest_page(held(NEAR, SHUT, FAR), "metric"), 0)
    assert told[0] == (
        "S1 2.00 m Elm Lane (way/12): 3.00 m to 4.50 m, road width "
        "3.50 m Elm Lane (way/12): 3.00 m to 4.50 m, road width narrowest width"
    )
    assert told[1] == (
        "S2 no machine for sure gate (node/3), opening Elm Lane (way/12): 3.00 m to 4.50 m, "
        "road width and 1 more nothing known limits it clear opening narrowest width"
    )
    assert told[2] == "S3 the S3 is too far from any road: 900 m"
    assert "6.6 ft" in rows(widest_page(held(NEAR), "us"), 0)[0]


def test_by_hand_each_machines_answer() -> None:
    told = rows(widest_page(held(NEAR, SHUT, FAR), "metric"), 1)
    assert told[0] == "S1 Invented mower folded unknown 1 place to settle 2.0 km -"
    assert told[1] == (
        "S2 Invented mower folded stop 2.0 km "
        "Road 0 (way/0): road width Road 1 (way/1): road width and 2 more"
    )
    assert told[2] == (
        "S3 Invented mower folded unknown no way the S3 is too far from any road: 900 m"
    )


def test_by_hand_the_caution_stands_before_any_width() -> None:
    page = widest_page(held(NEAR), "us")
    content = page[page.index('<main id="content"') :]
    assert content.index("signs on the ground win") < content.index("Elm Lane")
    assert '<strong class="signal">WARNING</strong>' in content
    assert "safe" not in bare(content).lower()
    assert "any machine, by width alone" in bare(page)
    by_one = widest_page(held(NEAR, machine="m", state="folded"), "us")
    assert "as high and heavy as Invented mower, folded" in bare(by_one)


def test_by_hand_words_of_people_stay_words() -> None:
    answer = cell("stop", name=HOSTILE, state=HOSTILE, why=[WHY[0] | {"name": HOSTILE}])
    width = bound("by width", 2.0, LANE | {"name": HOSTILE})
    hostile = place(HOSTILE, width, bound("no way", None), answer)
    page = widest_page(held(hostile, farm=HOSTILE, notes=[HOSTILE], **{"from": HOSTILE}), "us")
    assert HOSTILE not in page
    assert page.count("&lt;script&gt;window.hit=1&lt;/script&gt;") >= 8


def test_by_hand_nothing_but_its_own_scripts_and_styles() -> None:
    page = widest_page(held(NEAR), "us")
    policy = page[page.index("Content-Security-Policy") :].partition(">")[0]
    for text in re.findall(r"<(?:script|style)>(.*?)</(?:script|style)>", page, re.DOTALL):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert digest in policy.replace("&#43;", "+")


def test_by_hand_no_machines_no_second_table() -> None:
    page = widest_page(held(place("S1", bound("no way", None), bound("no way", None))), "us")
    assert "Which machine gets there" not in page
    assert "no way is open" in page
    assert "No places." in widest_page(held(), "us")


@pytest.fixture
def standing(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """The page opened from disk; whatever it says or asks is an error."""
    path = tmp_path / "widest.html"
    states = [cell("stop", state=f"state {n}", why=WHY) for n in range(6)]
    wide = place("Third Bench above the old tipple", *[bound("by width", 2.0, LANE)] * 2, *states)
    path.write_text(widest_page(held(*[wide] * 12), "us"), encoding="utf-8", newline="")
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
@pytest.mark.parametrize("width", [320, 390, 800, 1280])
def test_by_hand_it_fits_the_screen(standing: Any, width: int) -> None:
    standing.set_viewport_size({"width": width, "height": 844})
    assert standing.evaluate("document.documentElement.scrollWidth") <= width
