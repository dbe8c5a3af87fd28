"""Invented payloads for the farm's page and a field's."""

from __future__ import annotations

import math
from typing import Any

from page_pieces import collection, common, images, line, point, polygon

from fieldmap.finding import Finding


def hazard(number: int, kind: str, label: str, level: str, **more: Any) -> dict[str, Any]:
    return {
        "hazard_id": f"hz-{number}",
        "kind": kind,
        "label": label,
        "level": level,
        "note": "",
        "who": "R. Marsh",
        "time": "2026-06-07",
        "call": "",
        "radius_m": 4.0,
        "action": "pick up",
        **more,
    }


def hazards() -> dict[str, Any]:
    return collection(
        (
            point(210, 120),
            hazard(
                1,
                "wire",
                "Loose wire",
                "stop",
                note="Old fence, both ends buried.",
                action="pick up first",
            ),
        ),
        (
            point(330, 300),
            hazard(
                2,
                "cylinder",
                "Gas cylinder",
                "stop",
                radius_m=12.0,
                note="Not touched.",
                action="leave it; mark off 50 m",
                call="fire service",
            ),
        ),
        (point(120, 330), hazard(3, "stone", "Stones, about 20 cm", "care", action="pick up")),
        (
            line((30, 60), (150, 40), (300, 70)),
            hazard(4, "silt", "Wrack line", "unknown", radius_m=None, action="walk it"),
        ),
        (
            polygon((430, 60), (500, 70), (490, 130), (440, 120)),
            hazard(5, "washout", "Washout", "care", action="keep 3 m off the lip"),
        ),
        (point(470, 330), hazard(6, "post", "Steel post", "care", who="", time="", radius_m=None)),
    )


def settings() -> list[dict[str, Any]]:
    rows = [
        Finding(
            "care",
            "Cut height",
            "Lower Sallow",
            "Stones and wrack argue for a higher cut.",
            "assumed",
            ("practice", "invented.mower"),
            0.1016,
            0.0762,
            0.127,
            None,
            "m cut",
            "NOTICE: Measure the stubble after the first round; the manual decides.",
        ),
        Finding(
            "ok",
            "Skid shoe",
            "Lower Sallow",
            "It carries the cut height above.",
            "measured",
            ("invented.mower",),
            choice="high, 4 in",
        ),
        Finding(
            "care",
            "Knife",
            "Lower Sallow",
            "Silt and stones: less lift takes up less soil.",
            "assumed",
            ("practice",),
            choice="low lift",
        ),
        Finding(
            "ok",
            "Conditioner",
            "Lower Sallow",
            "Grasses lose least to tines.",
            "assumed",
            ("practice",),
            choice="tine",
        ),
        Finding(
            "unknown",
            "Field speed",
            "Lower Sallow",
            "The sight ahead is not known in the north-east corner.",
            "mapped",
            ("invented.mower",),
            None,
            8.0,
            12.0,
            None,
            "km/h",
            "CAUTION: Slow before the crest; you cannot see a person behind it.",
        ),
    ]
    return [row.as_dict() for row in rows]


def findings() -> list[dict[str, Any]]:
    rows = [
        Finding(
            "ok",
            "Hollows",
            "Lower Sallow",
            "None deeper than the threshold was found.",
            "mapped",
            (),
            0.0,
            unit="count",
        ),
        Finding(
            "stop",
            "Wire in the crop",
            "210 m from the gate",
            "Wire wraps the rotor and can start a fire.",
            "measured",
            ("invented.mower",),
            choice="loose wire",
            caution="WARNING: Stop the machine and wait until all is still before you reach "
            "in. The manual decides how.",
        ),
        Finding(
            "unknown",
            "Ground nobody looked at",
            "north-east corner",
            "The water stood there and no track crosses it since.",
            "measured",
            (),
            1.9,
            None,
            None,
            0.0,
            "ha",
        ),
        Finding(
            "care",
            "Side slope",
            "west bank",
            "Across the best heading the bank is steep.",
            "mapped",
            ("invented.mower", "practice"),
            17.0,
            14.0,
            20.0,
            15.0,
            "%",
            "WARNING: A machine can tip below its static angle. Who drives decides.",
        ),
    ]
    return [row.as_dict() for row in rows]


def field_payload() -> dict[str, Any]:
    zone = {"area_ha": 1.0, "cause": ""}
    edge = polygon((0, 0), (540, 20), (560, 400), (260, 430), (20, 380))
    return common("Lower Sallow: fit to mow?") | {
        "field": {
            "field_id": "LS-1",
            "name": "Lower Sallow",
            "crop": "meadow grass, second cutting",
            "area_ha": 21.4,
            "level": "stop",
            "reason": "Loose wire and a gas cylinder lie in it, and 4.7 ac were not looked "
            "at since the flood.",
        },
        "findings": findings(),
        "settings": settings(),
        "to_change": [
            "Pick up the loose wire (1).",
            "Have the gas cylinder (2) taken away; call the fire service.",
            "Walk the north-east corner, 4.7 ac nobody has looked at.",
        ],
        "zones": collection(
            (
                polygon((400, 230), (548, 240), (558, 398), (420, 412)),
                {
                    **zone,
                    "action": "Go and look",
                    "level": "unknown",
                    "area_ha": 1.9,
                    "reason": "Flooded, not looked at since.",
                    "cause": "not looked at",
                },
            ),
            (
                polygon((295, 265), (370, 265), (370, 335), (295, 335)),
                {
                    **zone,
                    "action": "Keep out",
                    "level": "stop",
                    "area_ha": 0.5,
                    "reason": "Gas cylinder.",
                    "cause": "hazard",
                },
            ),
            (
                polygon((10, 120), (90, 120), (110, 340), (22, 360)),
                {
                    **zone,
                    "action": "Up and down only",
                    "level": "care",
                    "area_ha": 1.8,
                    "reason": "Side slope 17 %.",
                    "cause": "side slope",
                },
            ),
            (
                polygon((130, 90), (390, 60), (390, 220), (130, 250)),
                {
                    **zone,
                    "action": "Mow",
                    "level": "ok",
                    "area_ha": 4.1,
                    "reason": "Nothing found against it.",
                    "cause": "none",
                },
            ),
        ),
        "hazards": hazards(),
        "boundary": collection((edge, {})),
        "gates": collection(
            (point(0, 0), {"gate_id": "south", "width_m": 4.2}),
            (point(545, 150), {"gate_id": "east", "width_m": None}),
        ),
        "tracks": collection(
            (line((5, 5), (200, 110), (330, 150), (200, 240), (120, 325), (60, 200)), {})
        ),
        "roads": roads(),
        "images": images(560, 430),
        "lie": lie(),
        "machine": {"id": "m1", "name": "Invented 9 ft trailed mower"},
        "ground": [
            "The elevation is from 2019 in cells of 1 m: a washout of this spring is not in it.",
            "A stone, a post or a wire cannot be seen in it.",
        ],
        "links": {"index": "../index.html", "gpx": "S3.gpx"},
        "credit": "Roads: see the sources of the farm folder",
    }


def lie() -> dict[str, Any]:
    """Lines of travel, runs, a hollow of each sort, a highwall and a bank, places to look at."""
    runs = {
        "type": "MultiLineString",
        "coordinates": [
            line((40, 40 + 4 * n), (500, 40 + 4 * n))["coordinates"] for n in range(80)
        ],
    }
    few = {**runs, "coordinates": runs["coordinates"][::4]}
    drop = {"height_m": 7.5, "highwall": True, "keep_m": 30.0, "open": True}
    look = {"area_m2": None, "length_m": None, "flood_day": "2026-05-30"}
    return {
        "known": True,
        "travel": travel(),
        "runs": collection(
            (runs, {"degrees": 90.0, "count": 160, "every": 2, "spacing_m": 8.0,
                    "sketch_m": 32.0, "sketch": few}),
        ),
        "headland": collection((polygon((0, 0), (540, 20), (560, 400), (20, 380)), {})),
        "hollows": collection(
            (polygon((100, 100), (140, 100), (140, 130)),
             {"depth_m": 0.9144, "area_m2": 600.0, "open": True, "looked": False}),
            (polygon((200, 100), (240, 100), (240, 130)),
             {"depth_m": 0.45, "area_m2": 8093.7, "open": False, "looked": True}),
        ),
        "drop_offs": collection(
            (polygon((500, 300), (560, 300), (560, 380), (500, 380)),
             {**drop, "crest": line((530, 310), (532, 370))}),
            (polygon((20, 300), (40, 300), (40, 380), (20, 380)),
             {**drop, "height_m": 2.0, "highwall": False, "keep_m": 5.0, "open": False,
              "crest": line((30, 310), (32, 370))}),
        ),
        "first_places": collection(
            (polygon((60, 60), (90, 60), (90, 200)),
             {**look, "kind": "wrack band", "reason": "Left along the edge.", "area_m2": 2500.0}),
            (line((540, 20), (560, 400)),
             {**look, "kind": "line across the flow", "reason": "Caught.", "length_m": 381.0}),
        ),
    }  # fmt: skip


def travel() -> dict[str, Any]:
    """Four lines of travel in the order the page lists them."""
    lines = [
        {"deg": 90.0, "stop_share": 0.0, "care_share": 0.05, "runs": 160, "turns": 159},
        {"deg": 45.0, "stop_share": 0.0, "care_share": 0.05, "runs": 160, "turns": 159},
        {"deg": 135.0, "stop_share": 0.004, "care_share": 0.1, "runs": 90, "turns": 89},
        {"deg": 0.0, "stop_share": 0.08, "care_share": 0.2, "runs": 120, "turns": 119},
    ]
    return {
        "lines": [{**one, "minutes": 61.0} for one in lines],
        "ties": [45.0, 90.0],
        "care_pct": 15.0,
        "stop_pct": 25.0,
        "limit": "this tool's own default",
        "laps": 2,
    }


def roads() -> dict[str, Any]:
    return collection(
        (line((-140, -30), (100, -40), (400, -25), (690, -60)), {"name": "Mill road"}),
        (line((600, -40), (610, 200), (640, 520)), {"name": "Bank lane"}),
    )


def index_payload(count: int = 8) -> dict[str, Any]:
    """A farm of ``count`` fields in a square of plots."""
    levels = ("stop", "care", "unknown", "ok")
    names = (
        "Lower Sallow",
        "Long Acre",
        "The Tongue",
        "Church Piece",
        "Upper Sallow",
        "Withy Bed",
        "Cold Ash",
        "Drover's Rest",
    )
    wide = math.ceil(math.sqrt(count))
    rows = []
    for number in range(count):
        x, y = 620.0 * (number % wide), 470.0 * (number // wide)
        level = levels[number % 4]
        name = names[number] if number < len(names) else f"Plot {number}"
        rows.append(
            (
                polygon((x, y), (x + 540, y + 20), (x + 560, y + 400), (x + 20, y + 380)),
                {
                    "field_id": f"F{number}",
                    "name": name,
                    "crop": "meadow grass",
                    "area_ha": 20.0,
                    "level": level,
                    "reason": f"Invented reason of {name}.",
                    "page": f"fields/F{number}.html",
                    "slope_max_pct": 12.5 if number % 3 else None,
                    "slope_known_share": 0.5 * (number % 3),
                    "hazards": number % 5,
                },
            )
        )
    return common("Sallow Bottom: fields") | {
        "fields": collection(*rows),
        "counts": {level: sum(row[1]["level"] == level for row in rows) for level in levels},
        "search": "search/index.html",
        "moves": [
            {"name": "Yard to Cold Ash", "level": "unknown", "page": "moves/a.html"},
            {"name": "Yard to Lower Sallow", "level": "ok", "page": "moves/b.html"},
        ],
        "hazards": hazards(),
        "roads": roads(),
        "images": images(620 * wide, 470 * wide),
        "machine": {"id": "m1", "name": "Invented 9 ft trailed mower"},
        "ground": ["A stone, a post or a wire cannot be seen in the elevation."],
    }
