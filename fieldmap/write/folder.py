"""A new farm folder from loose files, whole or not at all."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from fieldmap.errors import Fault, MisuseError, StoreError, raise_all
from fieldmap.farm import FARM_FILE, check_farm
from fieldmap.read.road_cache import FOLDER as ROAD_CACHE
from fieldmap.read.vectors import split_layer

#: Names in a farm folder that mean something of their own.
_RESERVED = (FARM_FILE, "machines.toml", "hazards.gpkg")
_BESIDE_SHP = (".shx", ".dbf", ".prj", ".cpg")

_MACHINES = """# Machines of this farm. Fill in what the manuals say and take the # away; what is
# left out is unknown, and what rests on it comes back as unknown. Metres, kilograms, km/h, percent.
#
# [[machine]]
# id = "mower-1"
# name = "pull-type mower and its tractor"
# kind = "pull-type"            # rear-mounted | pull-type | front-and-rear | self-propelled
# working_width_m = 3.9
# mass_kg = 9000                # tractor and mower together, as they move
# mower_mass_kg = 2400          # what of it is trailed or carried
# axles = [ { mass_kg = 2500, position_m = 0.0 }, { mass_kg = 4700, position_m = 2.8 },
#           { mass_kg = 1800, position_m = 8.9 } ]        # metres behind the first
# tyres = [ { axle = 1, load_kg = 1250, inflation_kpa = 140, speed_kmh = 40 } ]  # each kind
# power_kw = 95                 # at the shaft
# drive = "front_assist"        # 2wd | front_assist | 4wd | tracks
# track_width_m = 1.8
# cg_height_m = 1.0             # height of the centre of gravity
# turning_radius_m = 5.5        # of whatever in the train turns widest
# field_speed_kmh = 12
# road_speed_kmh = 30
# skid_shoes = [ { name = "base", cut_height_m = 0.04 },
#                { name = "high", cut_height_m = 0.08 } ]
# knives = ["low_lift", "high_lift"]
# fitted_shoe = "base"          # what is on it now
# fitted_knives = "low_lift"
# knife_interval_ha = 40        # your own: after how much knives are changed or turned
# knife_interval_strikes = 3
# side_slope_limit_pct = 20     # your own or the manual's
# up_down_limit_pct = 30
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
    settings: Mapping[str, str | bool | float],
) -> tuple[Path, tuple[str, ...]]:
    """Make a farm folder: copies of the files and a farm.toml that names them.

    Parameters
    ----------
    folder : Path
        Must not hold a farm.toml yet.
    files : mapping
        ``fields`` and any of ``gates, elevation, roads, road_checks, machines, flood`` -> file;
        ``file.gpkg:layer`` picks a layer.
    name, units, time_zone : str
    settings : mapping
        Further words: ``elevation_unit``, ``elevation_product``,
        ``elevation_error_m``, ``field_id`` (the file's column), and ``swap_xy``: the
        fields, gates and flood have latitude where longitude belongs.

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
    StoreError
        Disk or permission; nothing is left behind.
    """
    folder = folder.absolute()
    if (folder / FARM_FILE).exists():
        raise MisuseError(
            Fault(
                "a farm folder already",
                str(folder / FARM_FILE),
                "its settings would be lost",
                "edit it, or name another folder",
            )
        )
    taken = _all_there(files)
    try:
        with _trial_beside(folder) as trial:
            kept = _copied(taken, trial)
            if "machines" not in kept:
                (trial / "machines.toml").write_text(_MACHINES, "utf-8")
            text = _farm_toml(kept, name=name, units=units, time_zone=time_zone, settings=settings)
            (trial / FARM_FILE).write_text(text, "utf-8")
            faults, notes = check_farm(trial)
            theirs = {str(trial / kept[key]): str(files[key]) for key in kept}
            theirs |= {str(trial / split_layer(kept[key])[0]): str(taken[key][0]) for key in kept}
            theirs[str(trial)] = str(folder)
            raise_all(_in_their_words(fault, theirs) for fault in faults)
            _into_place(trial, folder)
    except OSError as error:
        raise StoreError(
            Fault(
                "the farm folder cannot be made",
                error.strerror or str(error),
                "nothing was left behind",
                "free the disk, mend the permission, or name another folder",
                where=str(folder),
            )
        ) from error
    return folder / FARM_FILE, tuple(_worded(note, theirs) for note in notes)


def _all_there(files: Mapping[str, Path]) -> dict[str, tuple[Path, str | None]]:
    """File and layer of each name given; every one that is not a file is told at once."""
    taken = {key: split_layer(str(path)) for key, path in files.items()}
    raise_all(
        Fault("no such file", file, "there is nothing to take over", "correct the name", where=key)
        for key, (file, _) in taken.items()
        if not Path(file).is_file()
    )
    return {key: (Path(file), layer) for key, (file, layer) in taken.items()}


@contextmanager
def _trial_beside(folder: Path) -> Iterator[Path]:
    """A hidden folder on the same disk; gone at the end, with every parent made for it."""
    made = [parent for parent in folder.parents if not parent.exists()]
    folder.parent.mkdir(parents=True, exist_ok=True)
    trial = Path(tempfile.mkdtemp(prefix=".fieldmap-partial-", dir=folder.parent))
    try:
        yield trial
    finally:
        shutil.rmtree(trial, ignore_errors=True)
        if not folder.exists():
            for parent in made:
                parent.rmdir()


def _copied(files: Mapping[str, tuple[Path, str | None]], folder: Path) -> dict[str, str]:
    """Copy the files, each under its own name; give back what farm.toml is to call them."""
    held: dict[str, Path] = {}
    kept = {}
    for key, (path, layer) in files.items():
        name = path.name
        if name.lower() in _RESERVED or held.get(name, path.absolute()) != path.absolute():
            name = f"{key}_{name}"
        if name not in held:
            _copy(path, folder / name)
            held[name] = path.absolute()
        kept[key] = name if layer is None else f"{name}:{layer}"
    return kept


def _copy(path: Path, target: Path) -> None:
    """Copy a file, and beside a .shp the files that belong to it."""
    shutil.copyfile(path, target)
    if path.suffix.lower() == ".shp":
        for one in path.parent.iterdir():
            if one.stem == path.stem and one.suffix.lower() in _BESIDE_SHP:
                shutil.copyfile(one, target.with_suffix(one.suffix))


def _in_their_words(fault: Fault, names: Mapping[str, str]) -> Fault:
    """The fault with the person's own file names in it."""
    return Fault(
        _worded(fault.what, names),
        _worded(fault.value, names),
        fault.why,
        _worded(fault.mend, names),
        where=_worded(fault.where, names),
    )


def _worded(text: str, names: Mapping[str, str]) -> str:
    for ours, theirs in names.items():
        text = text.replace(ours, theirs)
    return text


def _into_place(trial: Path, folder: Path) -> None:
    shutil.rmtree(trial / ROAD_CACHE, ignore_errors=True)  # made anew when it is read there
    clash = sorted(one.name for one in trial.iterdir() if (folder / one.name).exists())
    raise_all(
        Fault(
            "a file of this name stands in the folder",
            one,
            "it would be lost",
            "name an empty folder",
            where=str(folder),
        )
        for one in clash
    )
    folder.mkdir(parents=True, exist_ok=True)
    for one in sorted(trial.iterdir(), key=lambda path: path.name == FARM_FILE):
        one.replace(folder / one.name)


def _farm_toml(
    kept: Mapping[str, str],
    *,
    name: str,
    units: str,
    time_zone: str,
    settings: Mapping[str, str | bool | float],
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
        lines.append(f"elevation_unit = {_quoted(str(settings['elevation_unit']))}")
    if "elevation_product" in settings:
        lines.append(f"elevation_product = {_quoted(str(settings['elevation_product']))}")
    if "elevation_error_m" in settings:
        lines.append(f"elevation_error_m = {float(settings['elevation_error_m']):g}")
    if settings.get("swap_xy"):
        turned = [key for key in ("fields", "gates", "flood") if key in kept]
        lines.append(f"swap_xy = {json.dumps(turned)}")
    if "machines" not in kept:
        lines.append('# machines = "machines.toml"   # fill it in first')
    lines.append('hazards = "hazards.gpkg"')
    lines.append('# tracks = ["walks/*.gpx"]')
    if "field_id" in settings:
        lines += ["", "[columns.fields]", f"field_id = {_quoted(str(settings['field_id']))}"]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """A TOML basic string; DEL is the one character that JSON leaves bare and TOML refuses."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
