"""The page of how wide a machine gets where, and which of the farm's machines does."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldmap import __version__
from fieldmap.units import System, shown
from fieldmap.write.frame import render
from fieldmap.write.page_findings import said, signal, source_list

_TOLD = 2  # places that decide, in a cell; the files beside the page have all
_NO_WIDTH = {
    "no way": "no way is open",
    "no machine": "no machine for sure",
    "by nothing known": "nothing known limits it",
}


def widest_page(held: Mapping[str, Any], units: System) -> str:
    """One page: how wide a machine gets to each place, then each machine's answer.

    Parameters
    ----------
    held : mapping
        As :func:`fieldmap.write.widest.widest_json` makes it.
    units : {"us", "metric"}
    """
    page = {
        "title": f"{held['farm']}: how wide from {held['from']}",
        "farm": held["farm"],
        "note": held["note"],
        "from": held["from"],
        "whom": _whom(held),
        "made": {"date": held["day"], "version": __version__},
        "map": "",
        "credit": "",
        "cautions": [signal(text) for text in held["cautions"]],
        "notes": held["notes"],
        "places": [_place(one, units) for one in held["places"]],
        "answers": [
            _answer(one, cell, units) for one in held["places"] for cell in one["machines"]
        ],
        "ground": [],
        "sources": source_list({}, {}),
    }
    return render("widest.html.j2", page, {"units": units}, mapped=False)


def _whom(held: Mapping[str, Any]) -> str:
    if held["machine"] is None:
        return "any machine, by width alone"
    cells = [cell for one in held["places"] for cell in one["machines"]]
    name = next((cell["name"] for cell in cells), held["machine"])
    return f"as high and heavy as {name}, {held['state']}"


def _place(one: Mapping[str, Any], units: System) -> dict[str, Any]:
    return {
        "name": one["name"],
        "far": one["far"],
        "sides": [_side(one[side], units) for side in ("surely", "possibly")],
    }


def _side(bound: Mapping[str, Any], units: System) -> dict[str, Any]:
    figure = shown(bound["width_m"], "m", units)
    decides = [_deciding(one, units) for one in bound["decides"]]
    return {
        "figure": _NO_WIDTH.get(bound["limited"], figure),
        "limited": bound["limited"] == "by width",
        "decides": decides[:_TOLD],
        "more": max(len(decides) - _TOLD, 0),
        "measure": list(dict.fromkeys(one["measure"] for one in decides if one["measure"])),
    }


def _deciding(one: Mapping[str, Any], units: System) -> dict[str, str]:
    return {
        "where": f"{one['name']} ({one['place']})",
        "there": _there(one["low_m"], one["high_m"], units),
        "check": one["check"],
        "measure": one["measure"] if one["basis"] != "measured" else "",
    }


def _there(low_m: float | None, high_m: float | None, units: System) -> str:
    """What is there, as a figure or a range; "" where no width is told."""
    if low_m is None and high_m is None:
        return ""
    if low_m is None or high_m is None or low_m == high_m:
        return shown(high_m if low_m is None else low_m, "m", units)
    return f"{shown(low_m, 'm', units)} to {shown(high_m, 'm', units)}"


def _answer(place: Mapping[str, Any], one: Mapping[str, Any], units: System) -> dict[str, Any]:
    count = one["unknown_places"]
    why = [f"{each['name']} ({each['place']}): {each['check']}" for each in one["why"]]
    return {
        **said(one["level"]),
        "place": place["name"],
        "machine": one["name"],
        "state": one["state"],
        "settle": f"{count} {'place' if count == 1 else 'places'} to settle" if count else "",
        "way": "no way" if one["length_km"] is None else shown(one["length_km"], "km", units),
        "why": why[:_TOLD] or ([place["far"]] if place["far"] else []),
        "more": max(len(why) - _TOLD, 0),
    }
