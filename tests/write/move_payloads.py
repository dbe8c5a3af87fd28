"""An invented road move as the page of a move is given it."""

from __future__ import annotations

from typing import Any

from page_payloads import findings, roads
from page_pieces import at, collection, common, images, line


def met(at_m: float, level: str, what: str, words: str, **more: Any) -> dict[str, Any]:
    """One thing met; it lies on the road to the east, as many metres from the start."""
    lon, lat = at(at_m, 0)
    blank = {"caution": "", "ask": "", "long_m": 0.0, "lon": lon, "lat": lat}
    return blank | {"at_m": at_m, "level": level, "what": what, "words": words} | more


def step(n: int, words: str, road: str, span: tuple[float, float], level: str, *held: Any) -> Any:
    """A step from so many metres on, for so many."""
    lon, lat = at(span[0], 0)
    return {
        "n": n,
        "words": words,
        "road": road,
        "ways": [9000 + n] if road else [],
        "legs": [n - 1, n],
        "from_m": span[0],
        "length_m": span[1],
        "level": level,
        "met": list(held),
        "lon": lon,
        "lat": lat,
        "bearing_deg": 90.0,
        "turn_deg": None,
    }


def steps() -> list[dict[str, Any]]:
    """Four steps: a fine one, one to be measured, one with care, and the arrival."""
    lines = "WARNING: the line's owner answers for lines."
    return [
        step(1, "From Yard go east on Mill road", "Mill road", (0.0, 640.0), "ok"),
        step(
            2, "Turn left onto Bank lane", "Bank lane", (640.0, 1280.0), "unknown",
            met(640.0, "unknown", "road width", "No width is mapped.", ask="road authority",
                caution="CAUTION: the road authority decides on wide loads.", long_m=1280.0),
            met(700.0, "ok", "gate", "Stop; open the gate, drive through, close it."),
            met(900.0, "unknown", "clear height", "Lines cross the road.", caution=lines,
                ask="power line's owner"),
        ),
        step(
            3, "At the roundabout take the 2nd exit onto Ash hill", "Ash hill", (1920.0, 2380.0),
            "care",
            met(1920.0, "care", "single file", "No room for a car beside the machine.",
                long_m=640.0),
            met(2500.0, "care", "steep descent", "Low gear before the descent, not in it."),
        ),
        step(4, "Arrive at Cold Ash", "", (4300.0, 0.0), "ok"),
    ]  # fmt: skip


def corner(number: int, level: str, **more: Any) -> dict[str, Any]:
    """A right turn of a lane 8 m wide, or 11 m, with ground swept over its inner edge."""
    held = {
        "place": f"node/{number}",
        "where": f"Mill road into Bank lane {number}",
        "level": level,
        "why": "The trailing wheels cut the corner.",
        "deflection_deg": 90.0,
        "low_m": 8.0,
        "high_m": 11.0,
        "need_m": 9.0,
        "lon": at(600, 40)[0],
        "lat": at(600, 40)[1],
        "lane_low": [[-4, -20], [4, -20], [4, -4], [20, -4], [20, 4], [-4, 4]],
        "lane_high": [[-5, -20], [5, -20], [5, -5], [20, -5], [20, 6], [-5, 6]],
        "swept": [[-2, -20], [2, -20], [3, -9], [8, -3], [20, -2], [20, 2], [4, 3], [-2, -4]],
        "path": [[0, -20], [0, -8], [4, -1], [20, 0]],
    }
    return held | more


def whole_move() -> dict[str, Any]:
    """A move with all a page can show: steps, corners, heights, light, states, refusals."""
    heights = [200.0, 204.0, 210.0, None, None, 205.0, 190.0, 188.0]
    refusal = findings()[0] | {"level": "stop", "what": "mass limit", "where": "Old bridge"}
    return move_payload() | {
        "steps": steps(),
        "places": [[2]],
        "size": {"width_m": 3.0, "height_m": 3.4, "length_m": 9.0, "mass_kg": 8500.0,
                 "axle_kg": None},
        "machine_key": "pull-9/folded",
        "states": [
            {"name": "folded", "level": "unknown", "here": True, "width_m": 3.0, "height_m": 3.4,
             "length_m": 9.0},
            {"name": "swung", "level": "stop", "here": False, "width_m": 4.4, "height_m": None,
             "length_m": 8.0},
        ],
        "throughout": [findings()[0] | {"level": "unknown", "what": "axle limit",
                                         "why": "The axle masses of the machine are not known."}],
        "corners": [corner(1, "ok"), corner(2, "stop"), corner(3, "unknown")],
        "meeting": {
            "runs": [
                {"sure": "surely", "where": "Ash hill", "from_m": 2000.0, "to_m": 2200.0,
                 "length_m": 200.0, "minutes": 0.4, "lon": -92.1, "lat": 41.6},
                {"sure": "possibly", "where": "Ash hill", "from_m": 1920.0, "to_m": 2560.0,
                 "length_m": 640.0, "minutes": 1.3, "lon": -92.1, "lat": 41.6},
            ],
            "pull_ins": [{"sure": "possibly", "kind": "side road", "where": "Ash hill",
                          "at_m": 2000.0, "lon": -92.1, "lat": 41.6}],
            "sight": [
                {"sure": "possibly", "kind": "crest", "who": "behind", "where": "Ash hill",
                 "from_m": 2500.0, "to_m": 2520.0, "sight_m": 60.0, "need_m": 120.0, "lon": None,
                 "lat": None},
            ],
        },
        "sun": {"sunrise": "2026-06-09T05:36:00-05:00", "sunset": "2026-06-09T20:41:00-05:00",
                "dawn": None},
        "profile": {"chainage_m": [600.0 * n for n in range(8)], "height_m": heights,
                    "grade_pct": [1.0, 1.0, None, None, None, -8.0, -1.0, None]},
        "steep_pct": 6.0,
        "direct_km": 3.1,
        "is_direct": False,
        "refusals": [refusal],
        "links": {"index": "../index.html", "sheet": "yard-sheet.html", "page": "yard.html",
                  "gpx": "yard.gpx"},
    }  # fmt: skip


def move_payload() -> dict[str, Any]:
    def check(level: str, value: Any, need: Any, why: str = "") -> dict[str, Any]:
        return {
            "check": "width",
            "level": level,
            "value": value,
            "need": need,
            "unit": "m",
            "basis": "mapped",
            "why": why,
        }

    def leg(n: int, name: str, level: str, what: str, *checks: dict[str, Any]) -> dict[str, Any]:
        return {
            "n": n,
            "name": name,
            "way_id": 9000 + n,
            "length_m": 640.0,
            "level": level,
            "what": what,
            "checks": list(checks),
        }

    return common("Yard to Cold Ash") | {
        "move": {
            "name": "Yard to Cold Ash",
            "from": "Yard",
            "to": "Cold Ash",
            "machine": "Invented 9 ft trailed mower",
            "state": "folded",
            "level": "unknown",
            "length_km": 4.3,
            "minutes": 14.0,
            "reason": "The width of Bank lane at the culvert is not known.",
        },
        "legs": collection(
            (line((0, 0), (600, 40)), leg(1, "Mill road", "ok", "", check("ok", 6.2, 3.4))),
            (
                line((600, 40), (650, 400), (600, 700)),
                leg(
                    2,
                    "Bank lane",
                    "unknown",
                    "Measure between the culvert's rails.",
                    check("ok", 4.0, 3.4),
                    check("unknown", None, 3.4, "No width is mapped."),
                ),
            ),
            (
                line((600, 700), (1200, 760)),
                leg(
                    3,
                    "",
                    "care",
                    "Single file for 640 m; look for who comes.",
                    check("care", 4.1, 3.4, "No room for a car beside the mower."),
                ),
            ),
            (
                line((1200, 760), (1500, 1100)),
                leg(4, "Ash hill", "ok", "Low gear.", check("ok", 5.0, 3.4)),
            ),
        ),
        "direct": collection((line((600, 40), (1300, 300), (1500, 1100)), {})),
        "findings": findings(),
        "images": images(1500, 1100),
        "roads": roads(),
        "survey": [
            {
                "place": "Culvert on Bank lane",
                "where": "way/9002",
                "unit": "m",
                "measure": "width between the rails",
                "must_beat": 3.4,
                "why": "It decides the only way in.",
                "kind": "width",
                "lon": at(650, 400)[0],
                "lat": at(650, 400)[1],
            }
        ],
        "cautions": [
            "WARNING: Lines cross the road at the foot of Ash hill; their height is not known.",
            "Escort and lights: the road authority decides.",
        ],
    }
