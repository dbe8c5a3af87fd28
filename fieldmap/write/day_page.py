"""The page of a day: cautions, the map, each machine's timetable, what is left out and why."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldmap.units import System, shown
from fieldmap.write import page_items as on_map
from fieldmap.write.frame import render
from fieldmap.write.page_findings import (
    WORST_FIRST,
    footnotes,
    said,
    signal,
    source_list,
    worst_first,
)
from fieldmap.write.payload import named

Payload = Mapping[str, Any]

#: Kinds of reasons, as they are said.
KINDS = {
    "ground": "the ground",
    "road": "the road",
    "mowing time": "the mowing",
    "time": "the hours",
}
#: Places and reasons of one kind that are named; the sheets of the drives have all.
_PLACES, _REASONS = 6, 2
_SUN = {
    "sun never sets": "the sun does not set",
    "sun never rises": "the sun does not rise",
}


def day_page(payload: Payload) -> str:
    """One page: the order of the fields with its times and ways, and what does not fit.

    Parameters
    ----------
    payload : mapping
        As :func:`fieldmap.write.day_payload.day_payload` makes it.
    """
    units = payload["units"]
    groups = _groups(payload)
    drives, survey = (
        next(group["items"] for group in groups if group["key"] == key)
        for key in ("drives", "survey")
    )
    findings = worst_first(payload["findings"])
    notes = footnotes(findings)
    layers = [group for group in groups if group["items"]]
    levels = {item["level"] for group in layers for item in group["items"]}
    page = {key: payload[key] for key in ("title", "farm", "note", "made", "notes", "ground")}
    page |= {
        "links": payload["links"],
        "credit": payload["credit"],
        "day": _day(payload["day"], units),
        "cautions": [signal(text) for text in payload["cautions"]],
        "machines": [_machine(one, units) for one in payload["machines"]],
        "left": [_left(one, units) for one in payload["left"]],
        "survey": survey,
        "drives": drives,
        "findings": _together(findings, notes),
        "layers": layers,
        "images": payload["images"],
        "key": [said(level) for level in WORST_FIRST if level in levels],
        "sources": source_list(notes, payload["sources"]),
    }
    data = {
        "units": units,
        "groups": [on_map.drawn(group) for group in layers],
        "images": payload["images"],
    }
    many = sum(len(group["items"]) for group in groups) > on_map.MANY
    return render("day.html.j2", page, data, many=many)


def _groups(payload: Payload) -> list[dict[str, Any]]:
    """The layers of the map from the lowest to the topmost."""
    units: System = payload["units"]
    places = payload["places"]
    starts = [one for one in places if one["kind"] == "start"]
    stops = [one for one in places if one["kind"] == "stop"]
    survey = on_map.items(on_map.points(payload["survey"]), "m", units, on_map.survey_item)
    roads = on_map.items(payload["roads"], "rx", units, on_map.ground_item)
    fields = on_map.items(payload["fields"], "f", units, _field_item)
    drives = on_map.items(payload["drives"], "l", units, _drive_item)
    gates = on_map.items(on_map.points(stops), "g", units, _stop_item)
    begin = on_map.items(on_map.points(starts), "s", units, _start_item)
    return [
        on_map.group("roads", "Roads", "road", roads),
        on_map.group("fields", "Fields", "plot", fields, home=True),
        on_map.group("drives", "Drives", "leg", drives, home=True),
        on_map.group("survey", "Places to measure", "survey", survey, ticked=False),
        on_map.group("starts", "Start", "start", begin, home=True),
        on_map.group("stops", "Fields in their order", "gate", gates, home=True),
    ]


def _field_item(props: Payload, number: str, units: System) -> dict[str, Any]:
    del number, units
    title = named(props["name"], props["field_id"])
    return {**said(props["level"]), "n": "", "title": title, "lines": [("Mowing", props["when"])]}


def _drive_item(props: Payload, number: str, units: System) -> dict[str, Any]:
    del number
    return {
        **said(props["level"]),
        "n": str(props["n"]),
        "title": props["title"],
        "when": props["when"],
        "machine": props["machine"],
        "length": on_map.way_length(props["length_m"], units),
        "why": props["why"],
        "sheet": on_map.inside(props["sheet"]),
        "lines": [
            ("Machine", props["machine"]),
            ("On the road", props["when"]),
            ("Length", on_map.way_length(props["length_m"], units)),
            ("Why", props["why"]),
        ],
    }


def _stop_item(props: Payload, number: str, units: System) -> dict[str, Any]:
    del number, units
    return {
        "level": "ok",
        "word": "",
        "n": props["n"],
        "title": props["name"],
        "lines": [("Mowing", props["when"])],
    }


def _start_item(props: Payload, number: str, units: System) -> dict[str, Any]:
    del number, units
    return {"level": "ok", "word": "", "n": "", "title": f"Start: {props['name']}", "lines": []}


def _day(day: Payload, units: System) -> dict[str, Any]:
    whole = day["fields"] + day["left"]
    return {
        **day,
        **said(day["level"]),
        "hours": f"{_clock(day['from'])} to {_clock(day['to'])}",
        "light": _SUN.get(
            day["sun"], f"sunrise {_clock(day['sunrise'])}, sunset {_clock(day['sunset'])}"
        ),
        "count": f"{day['fields']} of {whole} {'field' if whole == 1 else 'fields'}",
        "area": shown(day["area_ha"], "ha", units),
    }


def _machine(one: Payload, units: System) -> dict[str, Any]:
    home = one["home"]
    return {
        **{key: one[key] for key in ("name", "state", "start", "slow")},
        "stops": [_stop(stop, units) for stop in one["stops"]],
        "home": None if home is None else _drive(home, units),
        "back": "" if home is None else _clock(home["arrive"]),
        "area": shown(one["area_ha"], "ha", units),
        "driven": _driven(one["length_km"], one["drive_min"], units),
        "mowing": shown(one["mowing_min"], "min", units),
    }


def _stop(stop: Payload, units: System) -> dict[str, Any]:
    high = stop["mowing_high_min"]
    return {
        "n": stop["n"],
        "title": named(stop["name"] or None, stop["field_id"]),
        "area": shown(stop["area_ha"], "ha", units),
        "drive": _drive(stop["drive"], units),
        "mow": f"{_clock(stop['mow_from'])} to {_clock(stop['mow_to'])}",
        "mowing": shown(stop["mowing_min"], "min", units),
        "slow": shown(high, "min", units) if (high or 0.0) > stop["mowing_min"] else "",
        "on": _clock(stop["leave"]),
        "ground": said(stop["ground_level"]),
        "ground_why": stop["ground_why"],
        "level": said(stop["level"])["level"],
    }


def _drive(drive: Payload, units: System) -> dict[str, Any]:
    return {
        **said(drive["level"]),
        "from": drive["from"],
        "to": drive["to"],
        "leave": _clock(drive["leave"]),
        "arrive": _clock(drive["arrive"]),
        "road": _driven(drive["length_km"], drive["minutes"], units),
        "why": drive["why"],
    }


def _driven(length_km: float, minutes: float, units: System) -> str:
    return f"{shown(length_km, 'km', units)}, {shown(minutes, 'min', units)}"


def _left(one: Payload, units: System) -> dict[str, Any]:
    reasons = [
        {
            **said(why["level"]),
            "machine": why["machine"],
            "kind": KINDS[why["kind"]],
            "why": why["why"],
            "fits": why["kind"] != "time",
            "measure": len(why["survey"]),
        }
        for why in one["reasons"]
    ]
    return {
        "title": named(one["name"] or None, one["field_id"]),
        "area": shown(one["area_ha"], "ha", units),
        "reasons": reasons,
    }


def _together(findings: list[Payload], notes: Mapping[str, int]) -> list[dict[str, Any]]:
    """Findings of one kind and level as one row: their places, and why where that is one reason."""
    rows: dict[tuple[str, str], list[Payload]] = {}
    for one in findings:
        rows.setdefault((one["level"], one["what"]), []).append(one)
    return [
        {
            **said(level),
            "what": what,
            "where": _some([one["where"] for one in held]),
            "why": _some([one["why"] for one in held], most=_REASONS, between=" "),
            "notes": sorted({notes[source] for one in held for source in one["sources"]}),
        }
        for (level, what), held in rows.items()
    ]


def _some(words: list[str], *, most: int = _PLACES, between: str = "; ") -> str:
    """Each once, the first few; how many more there are."""
    each = list(dict.fromkeys(words))
    more = f"{between}and {len(each) - most} more" if len(each) > most else ""
    return between.join(each[:most]) + more


def _clock(text: str | None) -> str:
    """Hours and minutes of an ISO text in the farm's time zone.

    Examples
    --------
    >>> _clock("2026-06-09T05:41-05:00"), _clock(None)
    ('05:41', 'none')
    """
    return "none" if text is None else text[11:16]
