"""A new farm folder from loose files, whole or not at all."""

from __future__ import annotations

import json
import shutil
from collections.abc import Mapping
from pathlib import Path

from fieldmap.errors import Fault, InputError, MisuseError
from fieldmap.farm import FARM_FILE, check_farm

_MACHINES = """# Machines of this farm. Fill in what the manuals say and take the # away; what is
# left out is unknown, and what rests on it comes back as unknown. Metres, kilograms, km/h, percent.
#
# [[machine]]
# id = "mower-1"
# name = "pull-type mower and its tractor"
# kind = "pull-type"            # rear-mounted | pull-type | front-and-rear | self-propelled
# working_width_m = 3.9
# mass_kg = 9000                # tractor and mower together, as they move
# track_width_m = 1.8
# cg_height_m = 1.0             # height of the centre of gravity
# road_speed_kmh = 30
# skid_shoes = [ { name = "base", cut_height_m = 0.04 },
#                { name = "high", cut_height_m = 0.08 } ]
# knives = ["low_lift", "high_lift"]
# conditioner = "tine"          # none | tine | rubber_rolls | steel_rolls
# [[machine.transport]]
# name = "behind the tractor"
# width_m = 3.0
# height_m = 3.0
# length_m = 10.0
"""


def start_folder(
    folder: Path,
    files: Mapping[str, Path],
    *,
    name: str,
    units: str,
    time_zone: str,
    settings: Mapping[str, str],
) -> tuple[Path, tuple[str, ...]]:
    """Make a farm folder: copies of the files and a farm.toml that names them.

    Parameters
    ----------
    folder : Path
        Must not hold a farm.toml yet.
    files : mapping
        ``fields`` and any of ``gates, elevation, roads, road_checks, machines, flood`` -> file.
    name, units, time_zone : str
    settings : mapping
        Further words: ``elevation_unit``, ``field_id`` (the file's column).

    Returns
    -------
    Path, tuple of str
        The farm.toml, and what is still missing, in words.

    Raises
    ------
    MisuseError
        The folder is a farm already.
    InputError
        What was given cannot be read; nothing is left behind.
    """
    if (folder / FARM_FILE).exists():
        raise MisuseError(
            Fault(
                "a farm folder already",
                str(folder / FARM_FILE),
                "its settings would be lost",
                "edit it, or name another folder",
            )
        )
    missing = [path for path in files.values() if not path.is_file()]
    if missing:
        raise InputError(
            Fault("no such file", str(path), "there is nothing to take over", "correct the name")
            for path in missing
        )
    trial = folder.with_name(f".{folder.name}.fieldmap-partial")
    shutil.rmtree(trial, ignore_errors=True)
    try:
        trial.mkdir(parents=True)
        kept = {key: _copied(path, trial) for key, path in files.items()}
        if "machines" not in kept:
            (trial / "machines.toml").write_text(_MACHINES, "utf-8")
        text = _farm_toml(kept, name=name, units=units, time_zone=time_zone, settings=settings)
        (trial / FARM_FILE).write_text(text, "utf-8")
        faults, notes = check_farm(trial)
        if faults:
            raise InputError(faults)
        _into_place(trial, folder)
    finally:
        shutil.rmtree(trial, ignore_errors=True)
    return folder / FARM_FILE, notes


def _copied(path: Path, folder: Path) -> str:
    """Copy a file, and beside a .shp the files that belong to it."""
    group = sorted(path.parent.glob(f"{path.stem}.*")) if path.suffix.lower() == ".shp" else [path]
    for one in group:
        shutil.copyfile(one, folder / one.name)
    return path.name


def _into_place(trial: Path, folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    clash = [one.name for one in trial.iterdir() if (folder / one.name).exists()]
    if clash:
        raise InputError(
            Fault(
                "a file of this name stands in the folder",
                one,
                "it would be lost",
                "name an empty folder",
                where=str(folder),
            )
            for one in clash
        )
    for one in sorted(trial.iterdir(), key=lambda path: path.name == FARM_FILE):
        one.replace(folder / one.name)


def _farm_toml(
    kept: Mapping[str, str], *, name: str, units: str, time_zone: str, settings: Mapping[str, str]
) -> str:
    lines = [
        f"name = {_quoted(name)}",
        f"units = {_quoted(units)}",
        f"time_zone = {_quoted(time_zone)}",
        "",
        "[files]",
    ]
    lines += [f"{key} = {_quoted(file)}" for key, file in kept.items()]
    if "elevation_unit" in settings:
        lines.append(f"elevation_unit = {_quoted(settings['elevation_unit'])}")
    if "machines" not in kept:
        lines.append('# machines = "machines.toml"   # fill it in first')
    lines.append('hazards = "hazards.gpkg"')
    lines.append('# tracks = ["walks/*.gpx"]')
    if "field_id" in settings:
        lines += ["", "[columns.fields]", f"field_id = {_quoted(settings['field_id'])}"]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
