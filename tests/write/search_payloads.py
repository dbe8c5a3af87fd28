"""An invented planned search as its page is given it."""

from __future__ import annotations

from typing import Any

from page_payloads import roads
from page_pieces import collection, common, images, line, point, polygon

NOTHING: dict[str, Any] = {"type": "FeatureCollection", "features": []}


def wishes() -> list[dict[str, Any]]:
    """Three invented kinds, two chances; the second of the first is what is planned."""
    rows = (
        ("pebble", "pebble", 3.0, 16.7, 38.4),
        ("plank", "plank", 6.0, 8.3, 19.2),
        ("barge", "barge", 10.0, 0.0, 0.5),
    )
    return [
        {"kind": kind, "label": label, "sweep_width_m": sweep, "chance": chance, "hours": hours}
        for kind, label, sweep, low, high in rows
        for chance, hours in ((0.6, low), (0.9, high))
    ]


def mark(number: int, label: str, call: str, **more: Any) -> dict[str, Any]:
    return {
        "hazard_id": f"hz-{number}",
        "kind": label,
        "label": label,
        "call": call,
        "caution": f"Nobody goes near the {label}.",
        "note": "",
        "keep_m": 40.19,
        "level": "stop",
        **more,
    }


def plot(number: int, name: str, **more: Any) -> dict[str, Any]:
    """One field of 560 x 400 m that nobody has looked at, and a walk over half of it."""
    x, y = 620.0 * (number % 4), 470.0 * (number // 4)

    def put(*places: tuple[float, float]) -> list[tuple[float, float]]:
        return [(x + east, y + north) for east, north in places]

    edge = polygon(*put((0, 0), (540, 20), (560, 400), (20, 380)))
    lines = [line(*put((30, north), (500, north))) for north in range(40, 200, 8)]
    ways = [
        line(*put((0, 0), *((30 if n % 4 in (0, 3) else 500, 40 + 8 * (n // 2)) for n in at)))
        for at in (range(20), range(20, 40))
    ]
    facts = {
        "field_id": f"F{number}",
        "name": name,
        "level": "unknown",
        "why": f"Invented reason of {name}.",
        "kind": "pebble",
        "sweep_width_m": 3.0,
        "chance_wished": 0.9,
        "looked_share": 0.25,
        "done_share": 0.1,
        "chance_now": 0.2996,
        "chance_after": 0.93,
        "left_ha": 20.0 - number,
        "slivers_ha": 0.0,
        "kept_off_ha": 0.5,
        "spacing_m": 8.0,
        "passes": 1,
        "walk_m": 9600.0,
        "walkers": 2,
        "minutes": 144.0,
        "crossings": 0,
        "gate": "south",
        "start_off_m": 0.0,
        "parts": [{"spacing_m": 8.0, "passes": 1}, {"spacing_m": 12.0, "passes": 1}],
        "other_wishes": wishes(),
        "sward_m": 0.3,
        "gpx": f"F{number}.gpx",
        "boundary": collection((edge, {})),
        "ground": collection((polygon(*put((20, 20), (520, 20), (520, 210), (20, 210))), {})),
        "search_lines": collection(*((one, {"n": n}) for n, one in enumerate(lines, 1))),
        "walks": collection(*((way, {"walker": n}) for n, way in enumerate(ways, 1))),
        "avoided_marks": NOTHING,
        "keep_off": NOTHING,
        "gates": collection((point(x, y), {"gate_id": "south", "width_m": 4.0})),
        "start": collection((point(x, y), {})),
    }
    return facts | more


def looked_at(number: int, name: str) -> dict[str, Any]:
    """A field with no ground left that is worth a line."""
    none: dict[str, Any] = dict.fromkeys(("ground", "search_lines", "walks", "start"), NOTHING)
    figures = {"left_ha": 0.0, "kept_off_ha": 0.0, "walk_m": 0.0, "minutes": 0.0}
    rest = {"level": "ok", "looked_share": 1.0, "parts": [], "other_wishes": [], "gpx": ""}
    return plot(number, name, **none, **figures, **rest)


def search_payload() -> dict[str, Any]:
    """Six fields: most to look at in the fifth, nothing left in the first."""
    tank = (point(700, 300), mark(1, "tank", "fire service", note="Blue, closed."))
    drop = (point(300, 330), mark(2, "drop", "landowner"))
    near = (polygon((660, 260), (740, 260), (740, 340), (660, 340)), {"hazard_id": "hz-1"})
    return common("Sallow Bottom: ground to look at") | {
        "walkers": 2,
        "fields": [
            looked_at(0, "Lower Sallow"),
            plot(
                1,
                "Long Acre",
                left_ha=7.5,
                avoided_marks=collection(tank, drop),
                keep_off=collection(near),
            ),
            plot(2, "The Tongue", avoided_marks=collection(tank), sward_m=None),
            plot(3, "Church Piece", gate="", gates=NOTHING, minutes=45.0),
            plot(4, "Upper Sallow", left_ha=33.0, start_off_m=120.0),
            plot(5, "Withy Bed"),
        ],
        "figures": {
            "walk_kmh": 4.0,
            "line_chance": 0.9,
            "enough_chance": 0.6,
            "valid_days": 21.0,
            "stand_off_m": 30.0,
        },
        "cautions": [
            {
                "label": "drop",
                "call": "landowner",
                "caution": "Its edge may go.",
                "sources": ["practice", "invented.roads"],
            }
        ],
        "roads": roads(),
        "images": images(2400, 870),
        "links": {"index": "../index.html"},
        "credit": "Roads: see the sources of the farm folder",
    }
