"""What is only to know on a cab sheet: joined when nothing was found against it, else apart."""

from __future__ import annotations

import re
from typing import Any

import page_payloads
import pytest
import sheet_payloads
from hypothesis import given
from hypothesis import strategies as st
from test_pages_sheet import plain_text

from fieldmap.finding import Level
from fieldmap.write.sheet import sheet_page
from fieldmap.write.sheet_entries import entries

PRESSURE = sheet_payloads.PRESSURE


def machine(**levels: Level) -> list[dict[str, Any]]:
    """Three axles with their tyres, and the knives; a level for each by the first word."""
    known = {"load": "ok", "pressure": "ok", "speed": "ok", "knives": "ok", "hits": "ok", **levels}

    def made(what: str, key: str, value: float, unit: str, **more: Any) -> dict[str, Any]:
        held = {"value": value, "low": None, "high": None, "unit": unit, **more}
        if known[key] == "unknown":
            held["value"] = None
        return sheet_payloads.setting(what, known[key], **held) | {"is_setting": True}

    return [
        made("knives since the last change", "knives", 21.04, "ha", sources=("memory",)),
        made("hits since the last change", "hits", 0, "count"),
        *(made(f"axle load, axle {n}", "load", kg, "kg") for n, kg in ((1, 2300.0), (2, 4300.0))),
        *(made(f"tyre pressure, axle {n}", "pressure", kpa, "kPa", high=kpa * 1.4,
               caution=PRESSURE) for n, kpa in ((1, 140.0), (2, 130.0))),
        made("tyre speed", "speed", 30.0, "km/h"),
    ]  # fmt: skip


def joined(found: list[dict[str, Any]], *, apart: bool = False, units: str = "us") -> list[Any]:
    return entries(found, {"units": units}, {"practice": 1, "memory": 2}, 1, apart=apart)


def test_what_is_fine_is_joined_in_two_entries() -> None:
    """By hand: 21.04 ha are 52.0 ac, 2,300 kg 5,071 lb, 140 kPa 20 psi, 30 km/h 19 mph."""
    made = joined(machine())
    assert [(one["number"], one["what"], one["answer"]) for one in made] == [
        (1, "since the last change", "knives 52.0 ac; hits 0"),
        (2, "axles and tyres", "load 5,071 / 9,480 lb; pressure 20 / 19 psi; speed 19 mph"),
    ]
    assert made[0]["notes"] == [1, 2]
    assert made[1]["cautions"] == ["", PRESSURE, ""]
    assert [one["unsaid"] for one in made] == [0, 2]
    metric = joined(machine(), units="metric")[1]["answer"]
    assert metric == "load 2.30 / 4.30 t; pressure 140 / 130 kPa; speed 30 km/h"


@pytest.mark.parametrize("level", ["care", "unknown", "stop"])
@pytest.mark.parametrize("key", ["load", "pressure", "speed", "knives", "hits"])
def test_what_is_not_fine_stands_on_its_own(key: str, level: Level) -> None:
    """By hand: one of five at a time; it keeps its entry, its level and its figure."""
    made = joined(machine(**{key: level}))
    bad = [one for one in made if one["level"] == level]
    assert len(bad) == 1
    assert key in bad[0]["what"]
    assert (bad[0]["answer"].count("unknown") > 0) == (level == "unknown")
    for one in made:
        assert one is bad[0] or key not in one["answer"]


def test_axles_of_which_one_is_not_fine_are_not_joined() -> None:
    """By hand: the second axle is too heavy; the first keeps its number."""
    found = machine()
    found[3]["level"] = "care"
    whats = [one["what"] for one in joined(found)]
    assert whats == ["since the last change", "axle load, axle 1", "axle load, axle 2",
                     "axles and tyres"]  # fmt: skip


def test_with_room_each_has_its_own_entry_and_range() -> None:
    """By hand: apart, the pressures have their high ends, and no range is left out."""
    made = joined(machine(), apart=True)
    assert [one["what"] for one in made] == [
        "knives since the last change", "hits since the last change", "axle load",
        "tyre pressure", "tyre speed",
    ]  # fmt: skip
    assert made[3]["answer"] == "axle 1 20 psi (up to 28 psi); axle 2 19 psi (up to 26 psi)"
    assert sum(one["unsaid"] for one in made) == 0


LEVELS = st.sampled_from(["ok", "care", "unknown", "stop"])


@given(LEVELS, LEVELS, LEVELS, LEVELS, LEVELS, st.booleans())
def test_no_caution_and_no_level_is_lost(
    load: Level, pressure: Level, speed: Level, knives: Level, hits: Level, apart: bool
) -> None:
    """Property: as many levels that are not fine as settings had, and every caution is held."""
    found = machine(load=load, pressure=pressure, speed=speed, knives=knives, hits=hits)
    made = joined(found, apart=apart)
    held = {text for one in made for text in one.get("cautions", [one["caution"]])}
    assert held - {""} == {PRESSURE}
    bad = [level for level in (load, pressure, speed, knives, hits) if level != "ok"]
    assert sorted(one["level"] for one in made if one["level"] != "ok") == sorted(bad)


def test_a_joined_entry_keeps_its_caution_and_counts_its_ranges() -> None:
    """By hand: a full sheet with everything fine on the axles."""
    payload = sheet_payloads.crowded()
    others = [one for one in payload["settings"] if not one["what"].startswith(("axle", "tyre"))]
    payload["settings"] = [*others, *machine()[2:]]
    payload["zones"]["features"] *= 3
    text = plain_text(sheet_page(payload))
    number = re.search(r"(\d+) axles and tyres: load 5,071 / 9,480 lb", text)
    assert number is not None
    assert re.search(rf"WARNING {number[1]}: the tyre maker's table rules\.", text)
    assert re.search(r"More on the field's page: .*\b2 ranges", text)
    quiet = page_payloads.field_payload() | {"settings": machine(), "findings": []}
    assert "axle 1 20 psi (up to 28 psi)" in plain_text(sheet_page(quiet))
