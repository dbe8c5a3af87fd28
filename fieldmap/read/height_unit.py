"""The unit of a raster's heights, which is never guessed."""

from __future__ import annotations

from pathlib import Path

import rasterio
from pyproj import CRS

from fieldmap.errors import Fault, InputError

_UNIT_NAMES = {
    "m": "m",
    "metre": "m",
    "meter": "m",
    "metres": "m",
    "meters": "m",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
    "us-ft": "us-ft",
    "ftus": "us-ft",
    "us survey foot": "us-ft",
}


def unit_of(file: rasterio.DatasetReader, crs: CRS, given: str | None, path: Path) -> str:
    """The unit of a raster's heights: ``m``, ``ft`` or ``us-ft``.

    Parameters
    ----------
    file : rasterio dataset
        Its band may name a unit; so may the third axis of its system.
    crs : pyproj.CRS
    given : str, optional
        What the farm folder says.
    path : Path
        For the words of an error.

    Raises
    ------
    InputError
        Nobody says the unit, or two say different ones.
    """
    said = (file.units[0] or "").strip().lower()
    if not said and len(crs.axis_info) > 2:
        said = crs.axis_info[2].unit_name.lower()
    from_file = _UNIT_NAMES.get(said)
    if given is not None and said not in ("", "unknown") and given != from_file:
        raise InputError(
            Fault(
                "two units for the same heights",
                f"{given} was given, the raster says {said}",
                "slopes in the wrong unit are wrong by a factor, such as three for feet",
                "mend elevation_unit or take it out; convert other units to metres",
                where=str(path),
            )
        )
    name = given or from_file
    if name is None:
        raise InputError(
            Fault(
                "heights of unknown unit",
                said or "none said",
                "feet taken for metres make a slope three times too steep",
                'say elevation_unit = "m", "ft" or "us-ft" in farm.toml under [files] '
                "(start: --elevation-unit)",
                where=str(path),
            )
        )
    return name
