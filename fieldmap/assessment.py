"""One answer a field: cells, zones, findings and settings, for a machine on a day."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cached_property
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap.advice.conditioner import conditioner_findings
from fieldmap.advice.conditions import conditions
from fieldmap.advice.cut import cut_findings
from fieldmap.advice.knife import knife_findings
from fieldmap.crs import moved
from fieldmap.errors import Fault, MisuseError
from fieldmap.farm import Farm
from fieldmap.finding import Finding, Level, rank, worst
from fieldmap.grid import Grid
from fieldmap.hazards.looked import Looking, looking
from fieldmap.hazards.reach import reach_m, reached
from fieldmap.machine import Machine
from fieldmap.read.elevation import ElevationFile, cell_size_m
from fieldmap.risk.ground import ground_sentences, slope_findings
from fieldmap.risk.layers import Heights, Layers, analysis_cell_m, empty_ground, field_layers
from fieldmap.risk.marks import flood_share, looked_findings, mark_findings
from fieldmap.risk.told import Told
from fieldmap.risk.zones import zones

FIELDS_A_CHUNK = 64


@dataclass(frozen=True, eq=False)
class FieldAnswer:
    """What the tool has to say of one field.

    ``findings`` are about the ground and what lies on it, ``settings`` about the mower;
    ``level`` is the worst of both, ``reason`` the sentence behind it, ``to_change`` what a
    person can do that would change the answer. ``marks`` are ids of the hazards that reach the
    field; ``elevation`` is the window the slopes came from.
    """

    field_id: str
    level: Level
    reason: str
    findings: tuple[Finding, ...]
    settings: tuple[Finding, ...]
    to_change: tuple[str, ...]
    ground: tuple[str, ...]
    marks: tuple[str, ...]
    layers: Layers
    elevation: Grid
    zones: gpd.GeoDataFrame


@dataclass(frozen=True, eq=False)
class Assessment:
    """The answers of a run, with the farm, the machine and the day they hold for."""

    farm: Farm
    machine: Machine | None
    day: date
    answers: tuple[FieldAnswer, ...]

    @cached_property
    def table(self) -> pd.DataFrame:
        """One row a field: the columns of ``fields.csv``.

        ``field_id, name, crop, area_ha, level, reason, slope_known_share, slope_p95_pct,
        slope_max_pct, heading_deg, side_slope_max_pct, side_slope_use_max, unknown_share,
        looked_share, flooded_share, marks, cut_height_m, skid_shoe, knife, conditioner``;
        unknown is empty.
        """
        fields = self.farm.fields.set_index("field_id")
        rows = [_summary_row(fields.loc[one.field_id], one) for one in self.answers]
        return pd.DataFrame(rows)

    def counts(self) -> dict[str, int]:
        """How many fields have each level."""
        levels = [answer.level for answer in self.answers]
        return {level: levels.count(level) for level in ("stop", "unknown", "care", "ok")}


def assess(
    farm: Farm,
    *,
    day: date,
    machine_id: str | None = None,
    field_ids: Sequence[str] = (),
    cluster: str | None = None,
) -> Assessment:
    """Assess the fields of a farm before a cut.

    Parameters
    ----------
    farm : Farm
    day : date
        The day the question is asked: what was walked or flooded later does not count.
    machine_id : str, optional
        The machine; the first of machines.toml when none is named.
    field_ids : sequence of str
        Only these fields; all when empty.
    cluster : str, optional
        Address of a Dask scheduler that shares the farm's files; fields are sent in chunks.

    Raises
    ------
    MisuseError
        No such field or machine, or a cluster without the ``cluster`` extra.
    """
    machine = farm.machine(machine_id)
    rows = _rows(farm, field_ids)
    if cluster is None:
        answers = _assess_rows(farm, machine, day, rows)
    else:
        answers = _on_cluster(farm, machine, day, rows, cluster)
    return Assessment(farm, machine, day, tuple(answers))


def _rows(farm: Farm, field_ids: Sequence[str]) -> list[int]:
    ids = farm.fields["field_id"]
    missing = [name for name in field_ids if not (ids == name).any()]
    if missing:
        raise MisuseError(
            Fault(
                "no such field",
                name,
                "there is nothing to assess",
                f"use one of {', '.join(ids.iloc[:20])}",
            )
            for name in missing
        )
    wanted = ids.isin(field_ids) if field_ids else np.ones(len(ids), bool)
    return np.flatnonzero(wanted).tolist()


def _on_cluster(
    farm: Farm, machine: Machine | None, day: date, rows: list[int], address: str
) -> list[FieldAnswer]:
    try:
        from distributed import Client  # noqa: PLC0415
    except ImportError:
        raise MisuseError(
            Fault(
                "--cluster without Dask",
                address,
                "the fields cannot be sent out",
                "install fieldmap with its cluster extra",
            )
        ) from None
    chunks = [rows[at : at + FIELDS_A_CHUNK] for at in range(0, len(rows), FIELDS_A_CHUNK)]
    with Client(address) as client:
        sent = client.scatter(farm, broadcast=True)
        waiting = [client.submit(_assess_rows, sent, machine, day, chunk) for chunk in chunks]
        return [answer for part in client.gather(waiting) for answer in part]


def _assess_rows(
    farm: Farm, machine: Machine | None, day: date, rows: Iterable[int]
) -> list[FieldAnswer]:
    evening = datetime.combine(day, time.max, farm.settings.zone())
    seen = looking(farm.tracks, farm.flood, day=evening, tables=farm.tables)
    grown = reached(farm.hazards, reach_m(farm.hazards, machine, tables=farm.tables))
    marks = farm.hazards.set_geometry(grown)
    tree = shapely.STRtree(grown.to_numpy())
    with farm.open_elevation() or nullcontext() as elevation:
        return [_assess_one(farm, machine, row, seen, marks, tree, elevation) for row in rows]


def _assess_one(
    farm: Farm,
    machine: Machine | None,
    row: int,
    seen: Looking,
    marks: gpd.GeoDataFrame,
    tree: shapely.STRtree,
    elevation: ElevationFile | None,
) -> FieldAnswer:
    record = farm.fields.iloc[row]
    field, field_id, tables = record.geometry, record["field_id"], farm.tables
    heights = _heights(farm, field, elevation)
    near = marks.iloc[np.sort(tree.query(field, predicate="intersects"))]
    layers = field_layers(field, heights, near, seen, crs=farm.crs, machine=machine, tables=tables)
    told = [
        *mark_findings(
            field_id,
            near,
            log_name=farm.settings.files.hazards,
            log_read=farm.log_read,
            tables=tables,
        ),
        *looked_findings(field_id, layers, tables=tables),
        *slope_findings(field_id, layers, heights, machine, tables=tables),
    ]
    known = conditions(
        record,
        kinds=near["kind"] if farm.log_read else None,
        flooded=flood_share(layers) > 0,
        tables=tables,
    )
    settings = [
        *cut_findings(known, machine, tables=tables),
        *knife_findings(known, machine, tables=tables),
        *conditioner_findings(known, machine, tables=tables),
    ]
    level = worst(one.finding.level for one in (*told, *settings))
    return FieldAnswer(
        field_id=field_id,
        level=level,
        reason=_reason(level, [*told, *settings]),
        findings=_ordered(told),
        settings=tuple(one.finding for one in settings),
        to_change=_changes([*told, *settings]),
        ground=tuple(ground_sentences(layers, heights, tables)),
        marks=tuple(near["hazard_id"]),
        layers=layers,
        elevation=heights.grid,
        zones=zones(field_id, field, layers, crs=farm.crs, tables=tables),
    )


def _heights(farm: Farm, field: shapely.Geometry, elevation: ElevationFile | None) -> Heights:
    if elevation is None:
        cell_m = analysis_cell_m(farm.tables)
        return Heights(empty_ground(field, farm.crs, cell_m=cell_m), cell_m, cell_m, "")
    info = elevation.info
    outline = moved(field, farm.crs, info.crs)
    grid = elevation.window(outline.bounds)
    middle = outline.centroid
    cell_m = cell_size_m(info, farm.crs, middle.x, middle.y)
    made_from = farm.settings.files.elevation_made_from_cell_m or 0.0
    return Heights(grid, cell_m, max(cell_m, made_from), info.path.name)


def _ordered(told: list[Told]) -> tuple[Finding, ...]:
    findings = [one.finding for one in told]
    return tuple(sorted(findings, key=lambda finding: -rank(finding.level)))


def _changes(told: list[Told]) -> tuple[str, ...]:
    worst_first = sorted(told, key=lambda one: -rank(one.finding.level))
    return tuple(dict.fromkeys(one.change for one in worst_first if one.change))


def _reason(level: Level, told: list[Told]) -> str:
    whats = [one.finding.what for one in told if one.finding.level == level]
    if level == "ok":
        return "Nothing was found against it in what was looked at."
    verbs = {"stop": "Do first", "unknown": "Not known", "care": "Take care"}
    return f"{verbs[level]}: {', '.join(dict.fromkeys(whats))}."


def _summary_row(record: Any, answer: FieldAnswer) -> dict[str, Any]:
    layers = answer.layers
    inside = layers.inside
    percent = layers.ground.percent.values[inside]
    settings = {finding.what: finding for finding in answer.settings}
    cut, knife = settings["cut height and skid shoe"], settings["knife"]
    level = layers.level.values[inside]
    return {
        "field_id": answer.field_id,
        "name": record["name"],
        "crop": record["crop"],
        "area_ha": round(float(record["area_ha"]), 3),
        "level": answer.level,
        "reason": answer.reason,
        "slope_known_share": round(float(np.isfinite(percent).mean()), 4),
        "slope_p95_pct": _percentile(percent, 95),
        "slope_max_pct": _percentile(percent, 100),
        "heading_deg": None if layers.heading is None else layers.heading.degrees,
        "side_slope_max_pct": _percentile(np.abs(layers.across.values[inside]), 100),
        "side_slope_use_max": _percentile(layers.use.values[inside], 100),
        "unknown_share": round(float((level == rank("unknown")).mean()), 4),
        "looked_share": round(float((layers.looked.values[inside] > 0).mean()), 4),
        "flooded_share": round(flood_share(layers), 4),
        "marks": len(answer.marks),
        "cut_height_m": cut.value,
        "skid_shoe": cut.choice.removeprefix("skid shoe: "),
        "knife": knife.choice,
        "conditioner": settings["conditioner"].choice.partition(";")[0],
    }


def _percentile(values: np.ndarray, share: float) -> float | None:
    known = values[np.isfinite(values)]
    return round(float(np.percentile(known, share)), 3) if known.size else None
