"""What the pages are given: plain JSON types, user text untouched."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

import geopandas as gpd
import shapely

from fieldmap import __version__
from fieldmap.advice.conditions import crop_row
from fieldmap.assessment import Assessment
from fieldmap.farm import Farm
from fieldmap.field_answer import FieldAnswer
from fieldmap.finding import Finding
from fieldmap.write.files import features
from fieldmap.write.lie_payload import lie_payload
from fieldmap.write.marks import HAZARD_COLUMNS, hazards_shown, marks_of_field, pictures_of
from fieldmap.write.names import page_name
from fieldmap.write.pictures import farm_images, field_images

_ROADS_AROUND_M = 400.0
_DIGITS = 6  # of a degree: about 0.1 m, for what is only drawn
_SMOOTH_M = 0.3
_FIELD_COLUMNS = (
    "field_id",
    "name",
    "crop",
    "area_ha",
    "level",
    "reason",
    "page",
    "sheet",
    "hazards",
    "slope_max_pct",
    "slope_known_share",
)
_CREDIT = "Roads and what crosses them: {file}, volunteer map data; signs on the ground win."


class Shown(NamedTuple):
    """What many pages show of one farm, worked out once.

    ``fields`` are the boundaries with the summary's columns, by field id; ``marks`` the hazards
    with the words of their kind; ``photos`` their pictures.
    """

    fields: gpd.GeoDataFrame
    marks: gpd.GeoDataFrame
    photos: dict[str, str]


def shown_of(assessment: Assessment) -> Shown:
    """What the pages of an assessment share."""
    farm = assessment.farm
    fields = farm.fields[["field_id", "geometry"]].merge(assessment.table, on="field_id")
    fields["crop"] = [crop_label(farm, crop) for crop in fields["crop"]]
    fields["name"] = [named(*pair) for pair in zip(fields["name"], fields["field_id"], strict=True)]
    fields["page"] = [f"fields/{page_name(name)}.html" for name in fields["field_id"]]
    fields["sheet"] = [f"sheets/{page_name(name)}.html" for name in fields["field_id"]]
    fields["hazards"] = fields["marks"]
    return Shown(
        fields.set_index("field_id", drop=False),
        hazards_shown(farm.hazards, farm.tables, farm.settings.zone()),
        pictures_of(farm),
    )


def field_payload(assessment: Assessment, answer: FieldAnswer, shown: Shown) -> dict[str, Any]:
    """Everything on the page of one field."""
    farm = assessment.farm
    record = shown.fields.loc[[answer.field_id]]
    field = record.geometry.iloc[0]
    around = shapely.buffer(field, _ROADS_AROUND_M)
    box = shapely.box(*around.bounds)
    gates = farm.gates[farm.gates["field_id"] == answer.field_id]
    return _common(farm, assessment, answer.field_id, (*answer.findings, *answer.settings)) | {
        "field": {
            "field_id": answer.field_id,
            "name": record["name"].iloc[0],
            "crop": record["crop"].iloc[0],
            "area_ha": float(record["area_ha"].iloc[0]),
            "level": answer.level,
            "reason": answer.reason,
        },
        "findings": [finding.as_dict() for finding in answer.findings],
        "settings": [finding.as_dict() for finding in answer.settings],
        "set_up": {}
        if answer.set_up is None
        else answer.set_up.as_dict() | {"currency": farm.settings.prices.currency},
        "to_change": list(answer.to_change),
        "ground": list(answer.ground),
        "zones": features(
            answer.zones, ("action", "level", "reason", "area_ha", "cause"), digits=_DIGITS
        ),
        "hazards": marks_of_field(answer, shown.marks, shown.photos),
        "boundary": features(record, ()),
        "gates": features(gates, ("gate_id", "width_m")),
        "tracks": features(_plainer(gpd.clip(farm.tracks, box)), (), digits=_DIGITS),
        "roads": road_lines(farm, box),
        "images": field_images(farm, answer, field, box),
        "lie": lie_payload(answer, crs=farm.crs, zone=farm.settings.zone(), tables=farm.tables),
        "links": {
            "index": "../index.html",
            "field": f"../fields/{page_name(answer.field_id)}.html",
            "sheet": f"../sheets/{page_name(answer.field_id)}.html",
            "gpx": f"{page_name(answer.field_id)}.gpx" if len(answer.pick_up) else "",
        },
    }


def index_payload(
    assessment: Assessment,
    shown: Shown,
    *,
    moves: list[dict[str, str]],
    search: str,
    slopes: str = "",
) -> dict[str, Any]:
    """Everything on the page of the whole farm.

    ``search`` and ``slopes`` are the pages of a search and of all fields' slopes, or "".
    """
    farm = assessment.farm
    around = shapely.buffer(shapely.box(*shown.fields.total_bounds), _ROADS_AROUND_M)
    box = shapely.box(*around.bounds)
    ground = dict.fromkeys(text for answer in assessment.answers for text in answer.ground[:2])
    return _common(farm, assessment, farm.settings.name, ()) | {
        "fields": features(shown.fields, _FIELD_COLUMNS),
        "counts": assessment.counts(),
        "moves": moves,
        "search": search,
        "slopes": slopes,
        "hazards": features(shown.marks, HAZARD_COLUMNS),
        "roads": road_lines(farm, box),
        "images": farm_images(farm, box),
        "ground": list(ground)[:4],
    }


def road_lines(farm: Farm, box: shapely.Polygon) -> dict[str, Any]:
    """Roads near enough to be the ground of a map."""
    if farm.roads is None:
        return {"type": "FeatureCollection", "features": []}
    edges = farm.roads.edges
    near = edges[edges.intersects(box)]
    return features(gpd.clip(near, box), ("name", "highway"), digits=_DIGITS)


def _plainer(lines: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Lines that are only drawn, with fewer corners."""
    return lines.set_geometry(lines.geometry.simplify(_SMOOTH_M))


def cited(farm: Farm, findings: tuple[Finding, ...]) -> dict[str, dict[str, str]]:
    """The sources behind findings, by key; a file of the farm is its own source."""
    return described(farm, (key for finding in findings for key in finding.sources if key))


def described(farm: Farm, keys: Iterable[str]) -> dict[str, dict[str, str]]:
    """Sources by their keys, each once and in order; a file of the farm is its own source."""
    out: dict[str, dict[str, str]] = {}
    for key in dict.fromkeys(keys):
        source = farm.tables.sources.get(key)
        out[key] = (
            {
                "title": key,
                "publisher": farm.settings.name,
                "year": "",
                "url": "",
                "mark": "own file",
            }
            if source is None
            else {
                "title": source.title,
                "publisher": source.publisher,
                "year": source.year,
                "url": source.url,
                "mark": source.mark,
            }
        )
    return out


def _common(
    farm: Farm, assessment: Assessment, title: str, findings: tuple[Finding, ...]
) -> dict[str, Any]:
    machine = assessment.machine
    return {
        "title": title,
        "farm": farm.settings.name,
        "note": farm.settings.note,
        "units": farm.settings.units,
        "currency": farm.settings.prices.currency,
        "made": {"date": assessment.day.isoformat(), "version": __version__},
        "machine": {"id": "", "name": "no machine named"}
        if machine is None
        else {"id": machine.id, "name": machine.name},
        "sources": cited(farm, findings),
        "credit": credit(farm),
    }


def credit(farm: Farm) -> str:
    """Where the roads come from; "" when the farm has none."""
    name = farm.settings.files.roads
    return "" if name is None else _CREDIT.format(file=name.rsplit("/", 1)[-1])


def crop_label(farm: Farm, crop: Any) -> str:
    """A crop in trade words: the table's label, or the words the user wrote."""
    if not isinstance(crop, str):
        return ""
    row = crop_row(crop, farm.tables)
    return crop if row is None else row.words["label"]


def named(name: Any, field_id: str) -> str:
    """A field as people and the command line know it.

    Examples
    --------
    >>> named("Third Bench", "S5"), named(None, "S5")
    ('Third Bench (S5)', 'S5')
    """
    return f"{name} ({field_id})" if isinstance(name, str) and name != field_id else field_id
