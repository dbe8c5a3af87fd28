"""A planned search as plain JSON types: its figures, and what its page is given."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import shapely

from fieldmap import __version__
from fieldmap.hazards.keep_away import keep_away
from fieldmap.hazards.other_wishes import OtherWish
from fieldmap.search import FieldSearch, Search
from fieldmap.tables import Tables
from fieldmap.units import M2_PER_HECTARE
from fieldmap.write.files import features, plain
from fieldmap.write.names import page_name
from fieldmap.write.payload import credit, described, road_lines
from fieldmap.write.pictures import farm_images

AVOIDED = ("hazard_id", "kind", "label", "call", "caution", "note", "keep_m")
_ROADS_AROUND_M = 400.0
_TABLE = "hazard_kinds"
_RECKONED = ("walk_kmh", "line_chance", "enough_chance", "valid_days", "stand_off_m")


def field_facts(one: FieldSearch) -> dict[str, Any]:
    """One field of ``search.json``."""
    return {key: plain(held) for key, held in one.facts().items()} | {
        "crosses_outside": one.walk.crosses_outside,
        "avoided": [
            {name: plain(mark[name]) for name in AVOIDED} for mark in one.avoided.to_dict("records")
        ],
        "parts": [
            {
                "area_ha": round(laid.ground.area / M2_PER_HECTARE, 4),
                "chance_now": round(laid.chance_now, 4),
                "chance_after": round(laid.chance_after, 4),
                "spacing_m": round(laid.spacing_m, 2),
                "bearing_deg": round(laid.bearing_deg, 1),
                "passes": laid.passes,
                "lines_m": round(float(shapely.length(laid.lines).sum()), 1),
            }
            for laid in one.laid
        ],
        "walks_m": [round(float(part.length), 1) for part in one.walk.parts],
        "other_wishes": [_wish(wish) for wish in one.others],
    }


def search_payload(search: Search) -> dict[str, Any]:
    """Everything on the page of a search: the figures, and shapes in degrees.

    Each field has its facts, ``sward_m`` (``None`` when nobody said how tall the crop stands),
    ``gpx`` (its file, "" for none) and, as GeoJSON, ``boundary, ground`` (still to be looked
    at), ``search_lines`` (in walking order), ``walks`` (one a walker), ``avoided_marks``,
    ``keep_off`` (the ground round them), ``gates`` (the one it starts at) and ``start`` (that
    gate, or the place where it starts without one). ``figures`` are what it was reckoned with,
    ``cautions`` those of things that lie where water was and that nobody may go near.
    Quantities are SI.
    """
    farm = search.farm
    box = _around(search)
    cautions = _flood_cautions(farm.tables)
    cited = [key for one in cautions for key in one["sources"]]
    return {
        "title": f"{farm.settings.name}: ground to look at",
        "farm": farm.settings.name,
        "note": farm.settings.note,
        "units": farm.settings.units,
        "made": {"date": search.day.isoformat(), "version": __version__},
        "sources": described(farm, [*cited, *_figure_sources(farm.tables)]),
        "credit": credit(farm),
        "walkers": search.walkers,
        "fields": [
            field_facts(one) | _more(search, one) | _shapes(search, one) for one in search.fields
        ],
        "figures": {name: farm.tables.number(f"looking.{name}") for name in _RECKONED},
        "cautions": cautions,
        "roads": road_lines(farm, box),
        "images": farm_images(farm, box),
        "links": {"index": "../index.html"},
    }


def _wish(wish: OtherWish) -> dict[str, Any]:
    return {
        "kind": wish.kind,
        "label": wish.label,
        "sweep_width_m": round(wish.sweep_m, 3),
        "chance": wish.chance,
        "hours": round(wish.hours, 2),
    }


def _around(search: Search) -> shapely.Polygon:
    fields = search.farm.fields
    asked = fields[fields["field_id"].isin([one.field_id for one in search.fields])]
    whole = shapely.box(*asked.total_bounds)
    return shapely.box(*shapely.buffer(whole, _ROADS_AROUND_M).bounds)


def _flood_cautions(tables: Tables) -> list[dict[str, Any]]:
    """Of the kinds that people must keep away from those that a flood moves or makes."""
    kinds = [row.key.split(".", 1)[1] for row in tables.rows(_TABLE)]
    places = gpd.GeoSeries([shapely.Point(0, 0)] * len(kinds))
    each = gpd.GeoDataFrame({"hazard_id": kinds, "kind": kinds, "radius_m": 0.0}, geometry=places)
    away = set(keep_away(each, tables)["kind"])
    told = [(kind, tables[f"{_TABLE}.{kind}"].words) for kind in kinds if kind in away]
    return [
        {
            "label": words["label"],
            "call": words["call"],
            "caution": words["caution"],
            "sources": [key for key in words["caution_source"].split(";") if key],
        }
        for kind, words in told
        if words["moves_in_flood"] == "yes"
    ]


def _figure_sources(tables: Tables) -> list[str]:
    return [tables[f"looking.{name}"].source for name in _RECKONED]


def _more(search: Search, one: FieldSearch) -> dict[str, Any]:
    fields = search.farm.fields
    row = fields.loc[fields["field_id"] == one.field_id].iloc[0]
    return {
        "sward_m": plain(row.get("sward_m")),
        "gpx": f"{page_name(one.field_id)}.gpx" if one.walk.parts else "",
    }


def _shapes(search: Search, one: FieldSearch) -> dict[str, Any]:
    farm = search.farm

    def told(shapes: Any, **columns: Any) -> dict[str, Any]:
        table = gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries(shapes), crs=farm.crs)
        return features(table, columns)

    outline = farm.fields.loc[farm.fields["field_id"] == one.field_id]
    gates = farm.gates[farm.gates["gate_id"] == one.gate]
    keep_off = one.avoided.set_geometry(gpd.GeoSeries(one.avoided["keep"], crs=farm.crs))
    marks = one.avoided.assign(
        level=[farm.tables[f"{_TABLE}.{kind}"].words["level"] for kind in one.avoided["kind"]]
    )
    start = list(gates.geometry) or [shapely.Point(one.walk.start_xy)]
    return {
        "boundary": features(outline, ()),
        "ground": told([laid.ground for laid in one.laid]),
        "search_lines": told(list(one.walk.lines), n=list(range(1, len(one.walk.lines) + 1))),
        "walks": told(list(one.walk.parts), walker=list(range(1, len(one.walk.parts) + 1))),
        "avoided_marks": features(marks, (*AVOIDED, "level")),
        "keep_off": features(keep_off, ("hazard_id", "keep_m")),
        "gates": features(gates, ("gate_id", "width_m")),
        "start": told(start[:1] if one.walk.parts else []),
    }
