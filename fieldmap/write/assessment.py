"""An assessment as files: layers, tables, what the run rested on, and the pages."""

from __future__ import annotations

import hashlib
import json
import platform
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any

import pandas as pd
import pyogrio
import pyproj
import rasterio
import shapely

from fieldmap import JSON_SCHEMA, __version__
from fieldmap.assessment import Assessment
from fieldmap.farm import FARM_FILE, Farm
from fieldmap.farm_files import ledger_name, road_checks_name
from fieldmap.field_answer import FieldAnswer
from fieldmap.finding import LEVELS
from fieldmap.read.vectors import split_layer
from fieldmap.risk.causes import all_causes
from fieldmap.risk.speed import SPEED_CAUSES
from fieldmap.survey import survey_slopes
from fieldmap.tables import Tables, load_tables
from fieldmap.units import System
from fieldmap.write.files import fields_csv, fields_json, findings_csv, geopackage
from fieldmap.write.marks import pick_up_gpx
from fieldmap.write.names import page_name
from fieldmap.write.outputs import Outputs
from fieldmap.write.pages import field_page, index_page
from fieldmap.write.payload import field_payload, index_payload, shown_of
from fieldmap.write.rasters import cog_bytes
from fieldmap.write.search import PAGE as SEARCH_PAGE
from fieldmap.write.sheet import sheet_page
from fieldmap.write.slopes import PAGE as SLOPES_PAGE
from fieldmap.write.slopes import slopes_csv, slopes_page, slopes_payload
from fieldmap.write.survey import TABLE

_LIBRARIES = (
    "fieldmap",
    "folium",
    "geopandas",
    "numba",
    "numpy",
    "osmium",
    "pandas",
    "pyflwdir",
    "pyogrio",
    "pyproj",
    "rasterio",
    "shapely",
)


def write_assessment(
    assessment: Assessment, out: str | Path, *, pages: bool = True, overwrite: bool = False
) -> tuple[Path, ...]:
    """Write everything an assessment says into a folder.

    Parameters
    ----------
    assessment : Assessment
    out : str or Path
        The folder; made when it is not there.
    pages : bool
        Write the HTML pages too.
    overwrite : bool
        Also over files that fieldmap did not write.

    Returns
    -------
    tuple of Path
        What was written, ``index.html`` first when there are pages.

    Raises
    ------
    StoreError
        Disk or permission.
    InputError
        A file in the way is not ours.
    """
    folder = Path(out)
    shown = shown_of(assessment)
    with Outputs(folder, group="assess", overwrite=overwrite) as files:
        if pages:
            moves = known_moves(folder)
            search = SEARCH_PAGE if files.standing(SEARCH_PAGE) else ""
            payload = index_payload(
                assessment, shown, moves=moves, search=search, slopes=SLOPES_PAGE
            )
            files.text("index.html", index_page(payload))
        tags = band_words(assessment.farm.tables)
        for answer in assessment.answers:
            name = page_name(answer.field_id)
            files.data(f"layers/{name}.tif", cog_bytes(answer.layers.bands(), tags=tags))
            if pages:
                held = field_payload(assessment, answer, shown)
                files.text(f"fields/{name}.html", field_page(held))
                files.text(f"sheets/{name}.html", sheet_page(held))
            if len(answer.pick_up):
                files.text(f"fields/{name}.gpx", pick_up_gpx(*_gpx_of(assessment, answer)))
        standing = files.standing("farm.gpkg")
        geopackage(files.path("farm.gpkg"), assessment, old=standing)
        _slopes(assessment, files, pages=pages)
        files.text("fields.csv", fields_csv(assessment))
        files.text("findings.csv", findings_csv(assessment))
        files.json("fields.json", fields_json(assessment))
        files.json(
            "run.json", run_facts(assessment) | {"files": sorted((*files.names, "run.json"))}
        )
    return tuple(folder / name for name in files.names)


def _slopes(assessment: Assessment, files: Outputs, *, pages: bool) -> None:
    """Share of area by slope class and side-slope use, each field on its best heading."""
    table = assessment.table
    known = table[table["heading_deg"].notna()]
    headings = {
        str(name): float(way)
        for name, way in zip(known["field_id"], known["heading_deg"], strict=True)
    }
    farm, machine = assessment.farm, assessment.machine
    ids = tuple(table["field_id"])
    found = survey_slopes(farm, machine=machine, headings_deg=headings, field_ids=ids)
    files.text(TABLE, slopes_csv(found.table))
    if pages:
        levels = dict(zip(ids, table["level"], strict=True))
        files.text(
            SLOPES_PAGE,
            slopes_page(
                slopes_payload(
                    farm,
                    found.table,
                    machine=machine,
                    day=assessment.day,
                    best_heading=True,
                    levels=levels,
                )
            ),
        )


def _gpx_of(assessment: Assessment, answer: FieldAnswer) -> tuple[str, pd.DataFrame, System]:
    settings = assessment.farm.settings
    return f"{settings.name} {answer.field_id}", answer.pick_up, settings.units


def band_words(tables: Tables) -> dict[str, str]:
    """What the numbers in the bands of codes mean, to keep inside the raster."""
    levels = "; ".join(f"{number} {level}" for number, level in enumerate(LEVELS))
    causes = "; ".join(f"{cause.code} {cause.key}" for cause in all_causes(tables).values())
    speeds = "; ".join(f"{number} {words}" for number, words in enumerate(SPEED_CAUSES))
    return {
        "level": levels,
        "governing_cause": causes,
        "speed_cause": speeds,
        "made_by": f"fieldmap {__version__}",
    }


def known_moves(folder: Path) -> list[dict[str, str]]:
    """Moves already written into the folder, for the index page."""
    found = []
    for path in sorted((folder / "moves").glob("*.json")):
        try:
            held = json.loads(path.read_text("utf-8"))
            move = held["move"]
            name, level = f"{move['name']} (for {held['day']})", move["level"]
            found.append({"name": name, "level": level, "page": f"moves/{path.stem}.html"})
        except (OSError, ValueError, KeyError, TypeError):
            continue
    return found


def run_facts(assessment: Assessment) -> dict[str, Any]:
    """What the run rested on: inputs with digests, versions, overrides, coordinate system."""
    farm = assessment.farm
    machine = assessment.machine
    return {
        "schema": JSON_SCHEMA,
        "farm": farm.settings.name,
        "day": assessment.day.isoformat(),
        "machine": None if machine is None else machine.model_dump(exclude_none=True, mode="json"),
        "crs": farm.crs.to_string(),
        "units_shown": farm.settings.units,
        "inputs": {_input_name(farm, path): _facts(path) for path in input_files(farm)},
        "overrides": _overrides(farm.tables),
        "versions": versions(),
        "notes": list(farm.notes),
    }


def input_files(farm: Farm) -> Iterator[Path]:
    """Every file of the farm folder that was read."""
    files = farm.settings.files
    yield farm.folder / FARM_FILE
    for name in (
        files.fields,
        files.gates,
        files.elevation,
        files.roads,
        road_checks_name(farm.settings),
        files.machines,
        files.hazards,
        ledger_name(farm.settings),
        files.flood,
    ):
        path = None if name is None else farm.folder / split_layer(name)[0]
        if path is not None and path.is_file():
            yield path
    for pattern in files.tracks:
        yield from sorted(farm.folder.glob(pattern))


def _input_name(farm: Farm, path: Path) -> str:
    return str(path.relative_to(farm.folder)) if path.is_relative_to(farm.folder) else path.name


def versions() -> dict[str, str]:
    """Versions of everything that can change an answer, both GDALs among it."""
    found = {name: version(name) for name in _LIBRARIES}
    return found | {
        "python": platform.python_version(),
        "gdal_raster": rasterio.__gdal_version__,
        "gdal_vector": ".".join(map(str, pyogrio.__gdal_version__)),
        "geos": shapely.geos_version_string,
        "proj": pyproj.proj_version_str,
    }


def _facts(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        return {
            "sha256": hashlib.file_digest(file, "sha256").hexdigest(),
            "bytes": path.stat().st_size,
        }


def _overrides(tables: Tables) -> dict[str, dict[str, Any]]:
    """The farm's own figures by key, and by key and column where a column was given."""
    shipped = load_tables()
    held: dict[str, dict[str, Any]] = {}
    for key, row in tables.constants.items():
        was = shipped[key]
        given = [name for name, words in row.words.items() if words != was.words[name]]
        for name in given:
            figures = {"value": float(row.words[name]), "was": float(was.words[name])}
            held[f"{key}.{name}"] = {**figures, "unit": "m"}
        if row.overridden and (not given or row.value != was.value):
            held[key] = {"value": row.value, "was": was.value, "unit": row.unit}
    return held
