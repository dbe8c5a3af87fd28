"""The four pages: farm, field, road move, search. Text in, text out; no file, no clock.

Each takes a payload of JSON types (geometries GeoJSON in WGS 84, quantities in SI) and
returns the whole page. The same payload gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldmap.units import M2_PER_HECTARE, System, shown
from fieldmap.write import lie_items as of_lie
from fieldmap.write import page_items as on_map
from fieldmap.write import search_items as for_search
from fieldmap.write.cautions import by_signal, said_once
from fieldmap.write.frame import render
from fieldmap.write.move_items import move_view
from fieldmap.write.move_notes import notes_view
from fieldmap.write.page_findings import (
    WORST_FIRST,
    finding_view,
    footnotes,
    said,
    signal,
    source_list,
    spread,
    worst_first,
)
from fieldmap.write.set_up_items import priced, set_up_view
from fieldmap.write.sheet_items import in_order, is_short

Payload = Mapping[str, Any]
_NOTHING: dict[str, Any] = {"features": []}


def index_page(payload: Payload) -> str:
    """The farm at a glance: every field's level and why, the moves, the map of all.

    Parameters
    ----------
    payload : mapping
        The common part (``title``, ``farm``, ``note``, ``units``, ``made``, ``sources``) and
        ``fields``, ``counts``, ``moves``, ``hazards``, ``roads``, ``images``, ``machine``,
        ``ground``; ``slopes`` is the page of all fields' slopes, where there is one.
    """
    units = payload["units"]
    fields = on_map.items(payload["fields"], "f", units, on_map.field_item)
    hazards = on_map.items(payload["hazards"], "h", units, on_map.hazard_item)
    groups = [
        _roads(payload),
        on_map.group("fields", "Fields", "area", fields, home=True),
        on_map.group("hazards", "Logged hazards", "mark", hazards),
    ]
    counts = [{**said(level), "n": payload["counts"].get(level, 0)} for level in WORST_FIRST]
    page = {
        "fields": worst_first(fields),
        "hazards": hazards,
        "counts": counts,
        "moves": [
            {**move, **said(move["level"]), "page": on_map.inside(move["page"])}
            for move in worst_first(payload["moves"])
        ],
        "ground": payload["ground"],
        "search": on_map.inside(payload["search"]),
        "slopes": on_map.inside(payload.get("slopes", "")),
    }
    return _page("index.html.j2", payload, page, groups, [])


def field_page(payload: Payload) -> str:
    """One field: may it be mown, what first, how the mower is set, and all that stands behind.

    Parameters
    ----------
    payload : mapping
        The common part and ``field``, ``findings``, ``settings``, ``to_change``, ``zones``,
        ``hazards``, ``boundary``, ``gates``, ``tracks``, ``roads``, ``images``, ``machine``,
        ``ground``, ``links``; ``lie`` as :func:`fieldmap.write.lie_payload.lie_payload` makes
        it, where the lie of the land was worked out; ``set_up`` as
        :func:`fieldmap.write.set_up_items.set_up_view` reads it, where options were compared.
    """
    units = payload["units"]
    lie: Payload = payload.get("lie") or {}
    lying = of_lie.lie_items(lie, units)
    under = {group["key"]: group for group in of_lie.lie_groups(lying)}
    zones = on_map.items(payload["zones"], "z", units, _zone_item)
    hazards = on_map.items(payload["hazards"], "h", units, on_map.hazard_item)
    gates = on_map.items(payload["gates"], "g", units, on_map.gate_item)
    groups = [
        _roads(payload),
        _ground(payload, "tracks", "Where somebody looked", "track"),
        under["headland"],
        on_map.group("zones", "Ground by level", "area", zones),
        under["hollows"],
        under["drops"],
        under["runs"],
        _ground(payload, "boundary", "Field boundary", "outline", home=True),
        under["first"],
        on_map.group("gates", "Gates", "gate", gates),
        on_map.group("hazards", "Logged hazards", "mark", hazards),
    ]
    settings = in_order(payload["settings"])
    held = [*settings, *worst_first(payload["findings"])]
    notes = footnotes(held)
    field = payload["field"]
    page = {
        "field": {**field, **said(field["level"]), "area": shown(field["area_ha"], "ha", units)},
        "settings": _section(settings, payload, notes, "set"),
        "findings": _section(worst_first(payload["findings"]), payload, notes, "found"),
        "set_up": set_up_view(payload.get("set_up") or {}, units),
        "to_change": payload["to_change"],
        "zones": zones,
        "hazards": hazards,
        "gates": gates,
        "ground": payload["ground"],
        "links": {"sheet": "", **payload["links"]},
        "lie": of_lie.lie_view(lie, lying, units),
    }
    return _page("field.html.j2", payload, page, groups, held)


def move_page(payload: Payload) -> str:
    """One road move: the way leg by leg, what is unknown, and the places to go and measure.

    Parameters
    ----------
    payload : mapping
        The common part and ``move``, ``legs``, ``direct``, ``findings``, ``survey``,
        ``cautions``, ``images``; what else
        :func:`fieldmap.write.move_payload.move_payload` makes is shown where it is there.
    """
    units = payload["units"]
    legs = on_map.items(payload["legs"], "l", units, on_map.leg_item)
    survey = on_map.items(on_map.points(payload["survey"]), "m", units, on_map.survey_item)
    groups = [
        _roads(payload),
        _ground(payload, "direct", "Direct way, refused", "direct", home=True),
        on_map.group("legs", "The way", "leg", legs, home=True),
        on_map.group("survey", "Places to measure", "survey", survey, home=True),
    ]
    findings, refusals = worst_first(payload["findings"]), payload.get("refusals") or []
    notes = footnotes([*findings, *refusals])
    page = move_view(payload) | {
        "move": _move(payload),
        "legs": [
            {**leg, "checks": [_check(check, payload) for check in worst_first(checks)]}
            for leg, checks in zip(legs, _checks(payload), strict=True)
        ],
        "refused": len(payload["direct"]["features"]),
        "better": payload.get("better", ""),
        "survey": survey,
        "findings": _split(_views(findings, payload, notes)),
        "refusals": _views(refusals, payload, notes),
        "cautions": by_signal(signal(text) for text in payload["cautions"]),
        "links": {"index": "", "sheet": "", "gpx": "", **payload.get("links", {})},
        "ground": payload.get("ground", []),
        "notes": notes_view(payload, survey),
    }
    own = ("move.css", "notes.js")
    return _page("move.html.j2", payload, page, groups, [*findings, *refusals], own=own)


def search_page(payload: Payload) -> str:
    """A planned search: where to look, how far that is to walk, what to keep away from.

    Parameters
    ----------
    payload : mapping
        The common part and ``fields`` (facts and shapes of each), ``walkers``, ``figures``,
        ``cautions``, ``roads``, ``images``, ``links``: see
        :func:`fieldmap.write.search_payload.search_payload`.
    """
    units, plots = payload["units"], sorted(payload["fields"], key=for_search.most_first)
    fields = on_map.items(for_search.plots(plots), "f", units, for_search.plot_item)
    marks = on_map.items(for_search.marks(plots), "h", units, for_search.mark_item)
    starts = on_map.items(for_search.starts(plots), "s", units, for_search.start_item)
    ground = on_map.items(for_search.shapes(plots, "ground"), "u", units, for_search.left_item)
    near = on_map.items(for_search.shapes(plots, "keep_off"), "k", units, for_search.keep_item)
    walks, whole = for_search.walks(plots)
    groups = [
        _roads(payload),
        on_map.group("ground", "Ground to look at", "ground", ground),
        on_map.group("near", "Keep out: ground near a mark", "keep", near),
        on_map.group("fields", "Field boundaries", "plot", fields, home=True),
        on_map.group("walks", "Lines to walk", "walk", walks),
        on_map.group("starts", "Where a walk starts", "start", starts),
        on_map.group("marks", "Marks to keep away from", "mark", marks),
    ]
    cautions = list(payload["cautions"])
    notes = footnotes(cautions)
    page = {
        "fields": fields,
        "marks": marks,
        "search": for_search.summary(plots, payload),
        "whole": whole,
        "cautions": [{**one, "notes": [notes[key] for key in one["sources"]]} for one in cautions],
        "figures": for_search.figures(payload["figures"], units),
        "links": payload["links"],
        "ground": [],
    }
    return _page("search.html.j2", payload, page, groups, cautions)


def _page(
    template: str,
    payload: Payload,
    page: dict[str, Any],
    groups: list[dict[str, Any]],
    cited: list[Mapping[str, Any]],
    own: tuple[str, ...] = (),
) -> str:
    many = sum(len(group["items"]) for group in groups) > on_map.MANY
    layers = [group for group in groups if group["items"]]
    levels = {item["level"] for group in layers for item in group["items"]}
    common = {key: payload[key] for key in ("title", "farm", "note", "made")}
    page |= common | {
        "layers": layers,
        "images": payload["images"],
        "key": [said(level) for level in WORST_FIRST if level in levels],
        "machine": payload.get("machine"),
        "credit": payload.get("credit", ""),
        "sources": source_list(footnotes(cited), payload["sources"]),
    }
    data = {
        "units": payload["units"],
        "groups": [on_map.drawn(group) for group in layers],
        "images": payload["images"],
    }
    return render(template, page, data, many=many, more=own)


def _zone_item(props: Payload, number: str, units: System) -> dict[str, Any]:
    """A piece of ground; a small one in square feet or metres, for 0.0 ac is no size."""
    area_ha = props["area_ha"]
    small = of_lie.small_area(None if area_ha is None else area_ha * M2_PER_HECTARE, units)
    item = on_map.zone_item(props, number, units)
    lines = [(name, small if name == "Area" else text) for name, text in item["lines"]]
    return {**item, "area": small, "lines": lines}


def _roads(payload: Payload) -> dict[str, Any]:
    return _ground(payload, "roads", "Roads", "road")


def _ground(
    payload: Payload, key: str, name: str, draw: str, *, home: bool = False
) -> dict[str, Any]:
    collection = payload.get(key) or _NOTHING
    held = on_map.items(collection, key[0] + "x", payload["units"], on_map.ground_item)
    return on_map.group(key, name, draw, held, home=home)


def _views(
    findings: list[Mapping[str, Any]], payload: Payload, notes: Mapping[str, int]
) -> list[dict[str, Any]]:
    return [finding_view(found, units=payload["units"], notes=notes) for found in findings]


def _section(
    findings: list[Mapping[str, Any]], payload: Payload, notes: Mapping[str, int], mark: str
) -> dict[str, Any]:
    """A field's findings: those that want attention, those that do not, and shared cautions."""
    currency, own = payload.get("currency", ""), payload["field"]["field_id"]
    views = [
        priced(view, one["unit"], currency)
        | {"where": "" if view["where"] == own else view["where"]}
        for view, one in zip(_views(findings, payload, notes), findings, strict=True)
    ]
    views, shared = said_once(views, mark)
    return {
        "all": views,
        "told": [view for view in views if view["level"] != "ok" or is_short(view["what"])],
        "fine": [view for view in views if view["level"] == "ok" and not is_short(view["what"])],
        "cautions": shared,
    }


def _split(views: list[dict[str, Any]]) -> dict[str, Any]:
    """A move's findings: those that want attention, those that do not, and shared cautions."""
    views, shared = said_once(views, "found")
    return {
        "all": views,
        "told": [view for view in views if view["level"] != "ok"],
        "fine": [view for view in views if view["level"] == "ok"],
        "cautions": shared,
    }


def _move(payload: Payload) -> dict[str, Any]:
    move, units = payload["move"], payload["units"]
    return {
        **move,
        **said(move["level"]),
        "length": shown(move["length_km"], "km", units),
        "time": shown(move["minutes"], "min", units),
    }


def _checks(payload: Payload) -> list[list[Mapping[str, Any]]]:
    return [feature["properties"]["checks"] for feature in payload["legs"]["features"]]


def _check(check: Mapping[str, Any], payload: Payload) -> dict[str, Any]:
    """One check of a leg: what there is against what the machine needs."""
    units, value, need = payload["units"], check["value"], check["need"]
    there = spread(value[0], value[1], check["unit"], units) if isinstance(value, list) else ""
    if not there and not isinstance(value, str):
        single = None if isinstance(value, list) else value
        there = shown(single, check["unit"], units)
    needed = need if isinstance(need, str) else shown(need, check["unit"], units)
    return {
        **said(check["level"]),
        "check": check["check"].replace("_", " "),
        "there": there or str(value),
        "need": "" if need is None else needed,
        "basis": check["basis"],
        "why": check["why"],
    }
