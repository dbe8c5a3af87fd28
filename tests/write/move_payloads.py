"""An invented road move as the page of a move is given it."""

from __future__ import annotations

from typing import Any

from page_payloads import findings, roads
from page_pieces import at, collection, common, images, line


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
                "where": "way 9002",
                "unit": "m",
                "measure": "width between the rails",
                "must_beat": 3.4,
                "why": "It decides the only way in.",
                "lon": at(650, 400)[0],
                "lat": at(650, 400)[1],
            }
        ],
        "cautions": [
            "WARNING: Lines cross the road at the foot of Ash hill; their height is not known.",
            "Escort and lights: the road authority decides.",
        ],
    }
