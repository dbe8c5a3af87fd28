"""The pages as text: the same every time, a policy that fits, and words that stay words."""

from __future__ import annotations

import base64
import copy
import hashlib
import json
import re
from html.parser import HTMLParser
from typing import Any

import move_payloads
import page_payloads
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldmap.write.frame import json_block
from fieldmap.write.page_findings import finding_view
from fieldmap.write.pages import field_page, index_page, move_page

KINDS = ("index", "field", "move", "search")
VOID = {"meta", "link", "input", "br"}


class Reader(HTMLParser):
    """Collects elements, scripts, styles and the text under each class of interest."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.inside: list[tuple[str, str]] = []
        self.held: dict[str, list[str]] = {}
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        found = dict(attrs)
        self.elements.append((tag, found))
        name = f"{tag}.{found.get('class') or found.get('type') or ''}"
        if tag in {"script", "style", "td", "div", "h1"}:
            self.held.setdefault(name, []).append("")
        if tag not in VOID:
            self.inside.append((tag, name))

    def handle_endtag(self, tag: str) -> None:
        while self.inside and self.inside.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if self.inside and self.inside[-1][1] in self.held:
            self.held[self.inside[-1][1]][-1] += data


@pytest.mark.parametrize("kind", KINDS)
def test_same_payload_gives_the_same_page(kind: str, payloads: Any, made: Any) -> None:
    """Property: order of keys and the run do not matter."""
    payload = payloads[kind]
    turned = dict(reversed(copy.deepcopy(payload).items()))
    assert made[kind](payload) == made[kind](turned)


@pytest.mark.parametrize("kind", KINDS)
def test_payload_is_left_as_it_was(kind: str, payloads: Any, made: Any) -> None:
    """Property: a page only reads."""
    before = copy.deepcopy(payloads[kind])
    made[kind](payloads[kind])
    assert payloads[kind] == before


@pytest.mark.parametrize("kind", KINDS)
def test_policy_names_the_scripts_and_styles_that_stand_there(
    kind: str, payloads: Any, made: Any
) -> None:
    """By hand: each hash computed again from the finished page's own text."""
    reader = Reader(made[kind](payloads[kind]))
    policy = next(
        found["content"]
        for tag, found in reader.elements
        if tag == "meta" and found.get("http-equiv") == "Content-Security-Policy"
    )
    parts = dict(part.split(" ", 1) for part in policy.split("; "))
    for directive, name in (("script-src", "script."), ("style-src", "style.")):
        digests = {
            f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
            for text in reader.held[name]
        }
        assert digests == set(parts[directive].split())
    assert parts["default-src"] == "'none'"
    assert parts["img-src"] == "data:"


@pytest.mark.parametrize("kind", KINDS)
def test_page_names_nothing_to_fetch(kind: str, payloads: Any, made: Any) -> None:
    """By hand: addresses stand in anchors only; no inline style, no handler in an attribute."""
    reader = Reader(made[kind](payloads[kind]))
    for tag, found in reader.elements:
        assert str(found.get("src") or "data:image/jpeg;base64,").startswith(
            "data:image/jpeg;base64,"
        )
        assert not [name for name in found if name.startswith("on") or name == "style"]
        if tag == "link":
            assert found["href"] == "data:,"
        elif tag == "use":
            assert str(found["href"]).startswith("#")
    for style in reader.held["style."]:
        assert "url(" not in style
        assert "@import" not in style
    assert not [text for text in reader.held["script."] if "sourceMappingURL" in text]


def test_licence_of_the_map_library_stays_in_the_page(payloads: Any) -> None:
    """By hand: BSD 2-Clause asks for notice, conditions and disclaimer."""
    text = field_page(payloads["field"])
    assert "Leaflet 1.9.3, a JS library" in text
    assert "Redistributions in binary form must reproduce" in text
    assert 'PROVIDED BY THE COPYRIGHT HOLDERS AND CONTRIBUTORS "AS IS"' in text


@pytest.mark.parametrize("kind", KINDS)
def test_page_says_neither_safe_nor_danger(kind: str, payloads: Any, made: Any) -> None:
    """By hand: the words the tool never says, looked for in what a person reads."""
    text = re.sub(r"<(script|style).*?</\1>", "", made[kind](payloads[kind]), flags=re.DOTALL)
    assert not re.search(r"\bsafe\b|\bdanger\b", text, re.IGNORECASE)
    assert "nothing found against it" in text


WORDS = st.text(st.characters(), max_size=60) | st.sampled_from(
    ["</script><script>alert(1)</script>", "<!--<script>", "]]>", "${7*7}`\\", "\u2028\u2029",
     "{{ 7 * 7 }}", "{% raw %}", "\ud800", "&lt;b&gt;", "' onclick=x '"]
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(note=WORDS, label=WORDS)
def test_no_words_break_out(note: str, label: str) -> None:
    """Property: any note comes back from the JSON block, and the page keeps its elements."""
    payload = page_payloads.field_payload()
    payload["images"] = []
    props = payload["hazards"]["features"][0]["properties"]
    plain = [tag for tag, _ in Reader(field_page(payload)).elements]
    props["note"], props["label"] = note, label
    reader = Reader(field_page(payload))
    assert [tag for tag, _ in reader.elements] == plain
    data = json.loads(reader.held["script.application/json"][0])
    item = next(g for g in data["groups"] if g["key"] == "hazards")["items"][0]
    assert dict(item["lines"]).get("Note", "") == note
    assert item["title"] == (label or "wire")
    shown = note.encode("utf-8", "replace").decode()
    assert reader.held["div.note"][0] == shown.replace("\r\n", "\n").replace("\r", "\n") or (
        reader.held["div.note"][0] == shown
    )


@given(data=st.dictionaries(st.text(st.characters()), st.text(st.characters()), max_size=4))
def test_json_block_comes_back(data: dict[str, str]) -> None:
    """Property: escaping changes the spelling, never the value."""
    text = str(json_block(data))
    assert json.loads(text) == data
    assert not set(text) & set("<>&\u2028\u2029")


def test_json_block_refuses_nan() -> None:
    """By hand: JSON has no NaN, and a page with one would show nothing."""
    with pytest.raises(ValueError, match="JSON compliant"):
        json_block({"value": float("nan")})


def test_address_that_is_not_ours_is_no_link(payloads: Any) -> None:
    """By hand: a script or another machine behind a field's page or a source."""
    payload = payloads["index"]
    payload["fields"]["features"][0]["properties"]["page"] = "javascript:alert(1)"
    payload["fields"]["features"][1]["properties"]["page"] = "//elsewhere.example/x"
    payload["moves"][0]["page"] = "data:text/html,x"
    payload["sources"]["practice"]["url"] = "javascript:alert(2)"
    links = [found.get("href") for tag, found in Reader(index_page(payload)).elements if tag == "a"]
    assert "fields/F2.html" in links
    assert not [href for href in links if href and re.match(r"(javascript|data):|//", href)]


def test_finding_says_value_range_and_limit() -> None:
    """By hand: 17 % (14 to 20 %) held against 15 %; 0.1016 m of cut is 4 in."""
    slope = finding_view(page_payloads.findings()[3], units="us",
                         notes={"invented.mower": 4, "practice": 2})  # fmt: skip
    assert (slope["answer"], slope["range"], slope["limit"]) == ("17%", "14% to 20%", "15%")
    assert slope["notes"] == [4, 2]
    assert slope["caution"]["word"] == "WARNING"
    cut = finding_view(page_payloads.settings()[0], units="us", notes={})
    assert (cut["answer"], cut["range"]) == ("4.0 in", "3.0 to 5.0 in")
    assert (
        finding_view(page_payloads.settings()[0], units="metric", notes={})["answer"] == "10.2 cm"
    )


def test_missing_figure_is_said_to_be_unknown() -> None:
    """By hand: no speed was found, so the answer is the word, not a blank and not nought."""
    speed = finding_view(page_payloads.settings()[4], units="us", notes={})
    assert (speed["level"], speed["answer"]) == ("unknown", "unknown")
    payload = page_payloads.field_payload()
    payload["gates"]["features"][0]["properties"]["width_m"] = None
    groups = json.loads(Reader(field_page(payload)).held["script.application/json"][0])["groups"]
    gate = next(group for group in groups if group["key"] == "gates")["items"][0]
    assert (gate["level"], gate["lines"]) == ("unknown", [["Width", "unknown"]])


def test_empty_field_and_move_still_make_a_page() -> None:
    """By hand: nothing known is said, not left out."""
    field, move = page_payloads.field_payload(), move_payloads.move_payload()
    for key in ("zones", "hazards", "boundary", "gates", "tracks", "roads"):
        field[key] = {"features": []}
    field |= {"findings": [], "settings": [], "to_change": [], "images": [], "ground": []}
    text = field_page(field)
    assert "Nothing was looked at, so nothing is known." in text
    assert "That says nothing about ground nobody has looked at." in text
    move |= {"legs": {"features": []}, "direct": {"features": []}, "survey": [], "findings": []}
    assert "No way was found." in move_page(move)
