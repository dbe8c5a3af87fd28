"""The page of a move: steps, corners, heights, both ways, and the form for what was measured."""

from __future__ import annotations

import csv
import io
import math
import re
from typing import Any

import move_payloads
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from fieldmap.finding import LEVELS, rank
from fieldmap.read.road_checks import read_road_checks
from fieldmap.read.road_kinds import KINDS
from fieldmap.write.corner_drawing import MOST, SIDE, corner_drawing, corner_views
from fieldmap.write.move_items import asked, driven, headline, light_view, step_views
from fieldmap.write.pages import move_page
from fieldmap.write.profile_drawing import HEIGHT, WIDTH, profile_view

HOSTILE = "<script>window.hit=1</script><img src=x onerror=window.hit=2>{{7*7}}"


def plain_text(page: str) -> str:
    """What a reader sees, in one line."""
    body = re.sub(
        r"<style.*?</style>|<script.*?</script>|<svg.*?</svg>", " ", page, flags=re.DOTALL
    )
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body)).replace("&#39;", "'")


def test_the_answer_comes_first_then_map_steps_and_the_rest() -> None:
    """By hand: order of the sections, and the head of a move that is not settled."""
    page = move_page(move_payloads.whole_move())
    order = ["answer-title", "measure-short", "map-title", "steps-title", "ways-title",
             "corners-title", "heights-title", "meeting-title", "legs-title", "survey-title",
             "notes-title", "findings-title"]  # fmt: skip
    places = [page.index(f'id="{name}"') for name in order]
    assert places == sorted(places)
    assert "NOT SETTLED: 1 place to measure first" in page
    assert "Sheet for the cab" in page


@pytest.mark.parametrize(
    ("level", "count", "words"),
    [
        ("stop", 3, "REFUSED"),
        ("unknown", 3, "NOT SETTLED: 3 places to measure first"),
        ("unknown", 1, "NOT SETTLED: 1 place to measure first"),
        ("unknown", 0, "NOT SETTLED"),
        ("care", 1, ""),
        ("ok", 0, ""),
    ],
)
def test_what_is_not_settled_says_so(level: str, count: int, words: str) -> None:
    """By hand: a refused move is refused whatever could be measured."""
    payload = {"move": {"level": level}, "survey": [{}] * count}
    assert headline(payload) == words


def test_steps_say_how_far_what_is_met_and_what_to_measure() -> None:
    """By hand: 640 m are 0.4 mi, 60 m into the step 200 ft."""
    one, two, three, end = step_views(move_payloads.whole_move())
    assert (one["from"], one["length"], one["met"]) == ("", "0.4 mi", [])
    assert (two["from"], two["length"], two["measure"]) == ("after 0.4 mi", "0.8 mi", ["M1"])
    assert [(met["what"], met["at"], met["for"]) for met in two["met"]] == [
        ("road width", "", "for 0.8 mi"),
        ("gate", "at 200 ft", ""),
        ("clear height", "at 850 ft", ""),
    ]  # fmt: skip
    assert two["met"][2]["caution"]["word"] == "WARNING"
    assert [met["what"] for met in three["met"]] == ["single file", "steep descent"]
    assert end["arrival"]
    text = plain_text(move_page(move_payloads.whole_move()))
    assert "Turn left onto Bank lane" in text
    assert "Measure first: M1." in text
    assert "Ask: power line's owner." in text


def test_what_says_the_same_is_said_once_with_all_its_places() -> None:
    """By hand: two corners and a bend with one reason; the gate says something else."""
    payload = move_payloads.whole_move()
    said = ("unknown", "corner to the left", "It depends on the width.")
    payload["steps"][1]["met"] = [
        move_payloads.met(640.0, *said),
        move_payloads.met(700.0, "unknown", "bend to the right", "It depends on the width."),
        move_payloads.met(730.0, *said),
        move_payloads.met(740.0, "ok", "gate", "Open it."),
    ]
    met = step_views(payload)[1]["met"]
    assert [one["what"] for one in met] == [
        "corner to the left where it begins, at 300 ft; bend to the right at 200 ft", "gate"
    ]  # fmt: skip
    assert met[1]["at"] == "at 330 ft"


def test_whom_to_ask_is_said_once_with_all_its_steps() -> None:
    """By hand: one authority, one thing at two steps; what passes is not asked about."""
    payload = {
        "steps": [
            {"n": n, "met": [{"ask": "railway", "what": "level crossing", "level": level}]}
            for n, level in ((1, "care"), (2, "ok"), (4, "unknown"))
        ]
    }
    assert asked(payload) == [("railway", "level crossing (steps 1, 4)")]


@given(st.floats(0.0, 299.0), st.sampled_from(["us", "metric"]))
def test_a_short_way_is_told_to_ten_feet_or_five_metres(length_m: float, units: Any) -> None:
    """Property: what is said is no further from the truth than half a step, and never 0."""
    figure, unit = driven(length_m, units).split(" ")
    told = float(figure.replace(",", "")) * (0.3048 if unit == "ft" else 1.0)
    assert told > 0
    assert abs(told - length_m) <= (3.1 if unit == "ft" else 5.0)


def test_corners_are_drawn_worst_first_and_no_more_than_twelve() -> None:
    """By hand: 15 corners, the stop first; three are left to the table, none is lost."""
    levels = ["ok"] * 7 + ["stop"] + ["unknown"] * 7
    corners = [move_payloads.corner(n, level) for n, level in enumerate(levels)]
    views = corner_views(corners, "us")
    assert [one["level"] for one in views] == ["stop", *["unknown"] * 7, *["ok"] * 7]
    assert [bool(one["drawing"]) for one in views] == [True] * MOST + [False] * 3
    page = move_page(move_payloads.whole_move() | {"corners": corners})
    assert page.count('class="corner"') == MOST == 12
    table = page.split('id="corner-table"')[1].split("</table>")[0]
    assert table.count("<tr") == 1 + 3
    text = plain_text(page)
    for number in range(15):
        assert f"Mill road into Bank lane {number}" in text


def test_a_corner_keeps_its_shape_and_points_north() -> None:
    """By hand: the lane of 8 m is as wide as 8 m of the scale; the lane out goes to the right."""
    drawn = corner_drawing(move_payloads.corner(1, "unknown"), "metric")
    lane = _shape(drawn["lane_low"])
    metres = float(drawn["scale"]["words"].split()[0]) / drawn["scale"]["px"]
    assert lane.area * metres**2 == pytest.approx(8 * 24 + 16 * 8, rel=0.01)
    inner = shapely.Point(lane.bounds[2], lane.bounds[1])
    assert lane.distance(inner) == pytest.approx(0.0)  # the north-east end of the lane out
    assert not lane.contains(shapely.Point(lane.bounds[2] - 2, lane.bounds[3] - 2))  # south-east
    # swept beyond the widest lane: the triangle at the inner edge, x 3..8 and y -9..-3
    over = _shape(drawn["over"])
    assert 0 < over.area * metres**2 < 10
    assert over.within(_shape(drawn["swept"]).buffer(0.2))


def _shape(d: str) -> Any:
    """A drawing's path as a polygon again."""
    rings = [
        [tuple(map(float, xy.split())) for xy in re.split("[ML]", part) if xy]
        for part in d.split("Z")
        if part
    ]
    return shapely.union_all([shapely.Polygon(ring) for ring in rings])


@given(st.lists(st.tuples(st.floats(-60, 60, width=32), st.floats(-60, 60, width=32)), max_size=9))
def test_no_outline_breaks_a_drawing(outline: list[tuple[float, float]]) -> None:
    """Property: any points at all; nothing stands outside the frame of the drawing."""
    held = move_payloads.corner(1, "unknown", swept=[list(xy) for xy in outline], path=[])
    drawn = corner_drawing(held, "us")
    figures = [float(one) for one in re.findall(r"-?[\d.]+", drawn["swept"] + drawn["over"])]
    assert all(-0.06 <= one <= SIDE + 0.06 for one in figures)


def test_a_corner_without_figures_says_unknown() -> None:
    """By hand: nothing is known, so nothing is drawn and nothing looks fine."""
    blank = dict.fromkeys(("low_m", "high_m", "need_m", "deflection_deg"))
    outlines = {key: [] for key in ("lane_low", "lane_high", "swept", "path")}
    (view,) = corner_views([move_payloads.corner(1, "unknown", **blank, **outlines)], "us")
    assert (view["room"], view["need"], view["turn"]) == ("unknown", "unknown", "unknown")
    assert (view["level"], view["drawing"]) == ("unknown", None)


def test_a_level_nobody_knows_is_unknown_and_ranks_as_such() -> None:
    """By hand: a word that is no level is drawn and sorted as unknown."""
    views = corner_views([move_payloads.corner(n, lv) for n, lv in enumerate(["ok", "fine"])], "us")
    assert [one["level"] for one in views] == ["unknown", "ok"]
    assert rank("unknown") > rank("ok") == 0
    assert len(LEVELS) == 4


def test_heights_are_drawn_to_scale_with_gaps_and_steep_parts() -> None:
    """By hand: 4,200 m in 7 pieces; pieces 3 to 5 lack a height, piece 6 falls by 8 %."""
    payload = move_payloads.whole_move()
    drawn = profile_view(payload["profile"], 6.0, "us")
    assert drawn["gaps"] == [{"x": pytest.approx(2 / 7 * WIDTH, abs=0.1),
                              "width": pytest.approx(3 / 7 * WIDTH, abs=0.1)}]  # fmt: skip
    assert drawn["line"].count("M") == 2
    start, end = (tuple(map(float, one.split())) for one in drawn["steep"][1:].split("L"))
    assert (start[0], end[0]) == (pytest.approx(5 / 7 * WIDTH, abs=0.1),
                                  pytest.approx(6 / 7 * WIDTH, abs=0.1))  # fmt: skip
    assert 0 < start[1] < end[1] < HEIGHT  # falling
    assert drawn["ends"] == ["689 ft", "617 ft"]
    assert "steepest 1% up, 8% down" in drawn["words"]


def test_heights_that_nobody_knows_are_no_flat_line() -> None:
    """By hand: without a height there is no drawing; without grades they are unknown."""
    blank = {"chainage_m": [0.0, 9.0], "height_m": [None, math.nan], "grade_pct": [None, None]}
    assert profile_view(blank, 6.0, "us") is None
    assert (
        "the grades are unknown" in profile_view(blank | {"height_m": [1, 2]}, 6.0, "us")["words"]
    )


def test_both_ways_states_and_light_are_told() -> None:
    """By hand: 4.3 km are 2.7 mi, 3.1 km 1.9 mi; the refusal is named; the state swung stops."""
    text = plain_text(move_page(move_payloads.whole_move()))
    assert (
        "The way told here: 2.7 mi, with 1 place to measure. The direct way: 1.9 mi, refused"
        in text
    )
    assert "mass limit at Old bridge" in text
    assert re.search(r"stop swung 14\.4 ft wide, unknown high, 26\.2 ft long", text)
    assert re.search(r"heaviest axle unknown", text)
    assert "0.4 mi from 1.2 mi on, Ash hill; 78 s at road speed; surely on 660 ft of it" in text
    assert "after 1.2 mi: side road, Ash hill (possibly; look first)" in text
    assert "after 1.6 mi, Ash hill: crest, cars from behind; seen over 200 ft," in text
    assert "needed 390 ft (possibly)" in text
    assert light_view(move_payloads.whole_move()) == [("sunrise", "05:36"), ("sunset", "20:41")]


def test_a_caution_of_several_findings_is_said_once() -> None:
    """By hand: three turns with one warning; what passed is folded away."""
    payload = move_payloads.whole_move()
    turn = payload["findings"][0] | {"what": "turn", "level": "unknown"}
    turn["caution"] = "WARNING: drive it on trial."
    payload["findings"] = [turn, turn, turn | {"what": "gate"}, turn | {"level": "ok"}]
    page = move_page(payload)
    assert page.count("drive it on trial.") == 1
    assert "For: turn, gate." in page
    assert "1 looked at, nothing found against it" in page


def test_words_of_people_stay_words() -> None:
    """By hand: markup in every text a person may have written; the page runs none of it."""
    payload = move_payloads.whole_move()
    payload["steps"][1]["met"][0] |= {"words": HOSTILE, "what": HOSTILE, "ask": HOSTILE}
    payload["steps"][0]["words"] = payload["corners"][0]["where"] = HOSTILE
    payload["survey"][0] |= {"place": HOSTILE, "measure": HOSTILE}
    payload["states"][0]["name"] = payload["refusals"][0]["where"] = HOSTILE
    payload["meeting"]["pull_ins"][0]["where"] = payload["machine_key"] = HOSTILE
    page = move_page(payload)
    assert "<script>window.hit" not in page
    assert "<img src=x" not in page
    assert "49" not in re.findall(r'<p class="turn">(.*?)</p>', page)[0]
    bare = re.sub(r'"[^"]*"', '""', page.split('<script type="application/json"')[0])
    assert not re.search(r"<[^>]+\s(on\w+|style)=", bare)


def test_the_form_offers_what_can_be_noted() -> None:
    """By hand: the place to measure with its kind and figure, each way once, every kind."""
    page = move_page(move_payloads.whole_move())
    form = page.split('id="note-form"')[1].split("</form>")[0]
    assert 'value="way/9002" data-kind="width" data-beat="Must beat 11.2 ft (3.40 m)."' in form
    assert form.count('value="way/9001"') == 1
    for key, kind in KINDS.items():
        option = re.search(
            rf'<option value="{key}" data-units="([^"]*)" data-machine="(\w+)"', form
        )
        assert option is not None
        assert bool(option[1]) == bool(kind.unit)
        assert (option[2] == "yes") == kind.needs_machine
    assert 'data-units="ft m in"' in form
    metric = move_page(move_payloads.whole_move() | {"units": "metric"})
    assert 'data-units="m ft in"' in metric
    assert 'data-units="t kg lb st"' in metric


def test_a_gate_of_the_farm_is_no_road_check() -> None:
    """By hand: a farm gate stands in the farm's own file; the form does not offer it."""
    payload = move_payloads.whole_move()
    payload["survey"][0]["where"] = "gate/G3"
    assert 'value="gate/G3"' not in move_page(payload)


def noted(page: Any, **filled: str) -> None:
    for name, text in filled.items():
        box = page.locator(f'[data-note="{name}"]')
        if box.evaluate("e => e.tagName") == "SELECT":
            box.select_option(text)
        else:
            box.fill(text)
    page.get_by_role("button", name="Note it").click()


def test_notes_are_saved_as_a_file_that_reads_back(opened: Any, tmp_path: Any) -> None:
    """By hand: three notes, one with a comma and quotes in the name, one a yes; then the file."""
    who = 'Ines "the tape", yard'
    with opened(move_page(move_payloads.whole_move())) as (page, seen):
        assert page.locator('[data-note="kind"]').input_value() == "width"
        assert "Must beat 11.2 ft (3.40 m)" in page.locator("#note-beat").inner_text()
        noted(page, value="13.5", who=who, when="2026-05-02")
        noted(page, place="way/9003", kind="mass", value="20", unit="st")
        noted(page, kind="grade", answer="yes")
        assert page.locator("#note-rows li").count() == 3
        page.locator("#note-rows li").nth(1).get_by_role("button").click()
        assert page.locator("#note-rows li").count() == 2
        with page.expect_download() as held:
            page.get_by_role("button", name="Save the notes").click()
        file = tmp_path / "notes.csv"
        held.value.save_as(file)
        assert held.value.suggested_filename == "road-checks-2026-06-09.csv"
        assert "2 in it" in page.locator("#note-said").inner_text()
        assert page.evaluate("window.broken") == []
        assert [one for one in seen.said if "blob" not in one] == []
    read = read_road_checks(file)
    assert read["value"].tolist() == pytest.approx([13.5 * 0.3048, 1.0])
    assert read["machine"].tolist() == ["", "pull-9/folded"]
    rows = list(csv.DictReader(io.StringIO(file.read_text("utf-8"))))
    assert rows == [
        {"place": "way/9002", "kind": "width", "value": "13.5", "unit": "ft", "who": who,
         "when": "2026-05-02", "machine": ""},
        {"place": "way/9003", "kind": "grade", "value": "yes", "unit": "", "who": who,
         "when": "2026-05-02", "machine": "pull-9/folded"},
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("filled", "words"),
    [
        ({"value": "4,2"}, "plain figure"),
        ({"value": "13'6"}, "plain figure"),
        ({"value": "0"}, "above 0"),
        ({"value": ""}, "plain figure"),
        ({"value": "4", "who": " "}, "who measured"),
        ({"value": "4", "who": "=cmd()"}, "with a letter"),
        ({"value": "4", "who": "Ines", "when": ""}, "Choose the day"),
        ({"value": "4", "who": "Ines", "when": "2100-01-01"}, "has not come yet"),
        ({"kind": "access"}, "yes or no"),
        ({"kind": "turn", "answer": "yes"}, "not noted for such a place"),
        ({"kind": ""}, "what was measured"),
    ],
)
def test_a_note_that_would_mislead_is_refused_in_words(
    opened: Any, filled: dict[str, str], words: str
) -> None:
    """By hand: nothing is noted, the sentence says why, and the field is marked."""
    with opened(move_page(move_payloads.whole_move())) as (page, _):
        noted(page, **filled)
        assert words in page.locator("#note-said").inner_text()
        assert page.locator("#note-rows li").count() == 0
        assert page.locator("[aria-invalid]").count() == 1


def test_words_in_a_note_stay_words(opened: Any) -> None:
    """By hand: markup in a name is read out on the page."""
    with opened(move_page(move_payloads.whole_move())) as (page, seen):
        noted(page, value="4.2", who=f"Ines {HOSTILE}"[:80], when="2026-05-02")
        assert "<script>" in page.locator("#note-rows li span").text_content()
        assert page.evaluate("window.hit") is None
        assert seen.dialogs == []


def test_a_long_way_folds_its_legs_away_and_keeps_its_steps(opened: Any) -> None:
    """By hand: 13 legs are folded, the steps stand open; a page of before has no steps at all."""
    payload = move_payloads.whole_move()
    legs = payload["legs"]["features"]
    payload["legs"] = payload["legs"] | {"features": [*legs, *legs, *legs, legs[0]]}
    with opened(move_page(payload)) as (page, _):
        assert not page.locator("#leg-table").is_visible()
        assert page.locator(".drive > li:visible").count() == 4
    bare = move_page(move_payloads.move_payload())
    assert "steps-title" not in bare
