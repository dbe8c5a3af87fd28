"""Elevation, read by window; the unit of its heights is never guessed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import rasterio
from affine import Affine
from pyproj import CRS
from rasterio.errors import RasterioIOError
from rasterio.windows import Window

from fieldmap.crs import jacobian
from fieldmap.errors import Fault, InputError
from fieldmap.grid import Grid
from fieldmap.read.paths import plain_file
from fieldmap.units import HEIGHT_UNITS

SUFFIXES = (".tif", ".tiff")
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
_MOST_CELLS = 100_000_000
_MARGIN = 2  # cells around a window: one for the slope kernel, one against rounding


@dataclass(frozen=True, slots=True)
class ElevationInfo:
    """What an elevation raster is: its cells, its unit and where it lies."""

    path: Path
    crs: CRS
    transform: Affine
    shape: tuple[int, int]
    unit: str
    metres_per_unit: float


class ElevationFile:
    """An open elevation raster; a context manager.

    Parameters
    ----------
    name : str or Path
        GeoTIFF in any coordinate system.
    unit : str, optional
        ``m``, ``ft`` or ``us-ft``: unit of the heights, when the raster does not say.

    Raises
    ------
    InputError
        Not a GeoTIFF, no coordinate system, or heights of unknown unit.
    """

    def __init__(self, name: str | Path, *, unit: str | None = None) -> None:
        path = plain_file(name, suffixes=SUFFIXES, what="elevation")
        try:
            self._file = rasterio.open(path, driver="GTiff")
        except RasterioIOError as error:
            raise InputError(
                Fault(
                    "elevation cannot be read",
                    str(error).splitlines()[0],
                    "slopes stay unknown",
                    "give a GeoTIFF",
                    where=str(path),
                )
            ) from None
        try:
            self.info = _info(self._file, path, unit)
        except InputError:
            self._file.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def readable(self, bounds: tuple[float, float, float, float], *, most_px: int = 256) -> bool:
        """Whether any height is known in a box; raises when the file breaks off there.

        Parameters
        ----------
        bounds : tuple
            West, south, east, north in the raster's own system.
        most_px : int
            How far to thin the box out; a speck of heights smaller than a step may be missed.

        Raises
        ------
        InputError
            The file cannot be read there.
        """
        return bool(np.isfinite(self.overview(bounds, most_px=most_px).values).any())

    def window(self, bounds: tuple[float, float, float, float]) -> Grid:
        """Heights in metres over a box and two cells more on each side.

        Parameters
        ----------
        bounds : tuple
            West, south, east, north in the raster's own system.

        Returns
        -------
        Grid
            NaN where the raster has no height or does not reach.

        Raises
        ------
        InputError
            The box holds more cells than can be worked on at once.
        """
        left, top, columns, rows = _cells(self.info, bounds)
        if rows * columns > _MOST_CELLS:
            raise InputError(
                Fault(
                    "a field of too many cells",
                    f"{rows} x {columns}",
                    "it does not fit in memory",
                    "split the field, or give coarser elevation",
                    where=str(self.info.path),
                )
            )
        heights = np.full((rows, columns), np.nan, np.float32)
        height, width = self.info.shape
        first, last = max(left, 0), min(left + columns, width)
        upper, lower = max(top, 0), min(top + rows, height)
        if first < last and upper < lower:
            window = Window(first, upper, last - first, lower - upper)
            metres = self._metres(window)
            heights[upper - top : lower - top, first - left : last - left] = metres
        transform = self.info.transform @ Affine.translation(left, top)
        return Grid(heights, transform, self.info.crs, "m", "elevation")

    def _metres(self, window: Window, shape: tuple[int, int] | None = None) -> np.ndarray:
        """Heights in metres with the raster's own scale and offset applied, NaN where none."""
        try:
            seen = self._file.read(1, window=window, out_shape=shape, masked=True)
        except RasterioIOError as error:
            raise InputError(
                Fault(
                    "elevation that breaks off",
                    str(error).splitlines()[0],
                    "slopes stay unknown",
                    "copy or export the file again",
                    where=str(self.info.path),
                )
            ) from None
        stored = seen.astype(np.float64).filled(np.nan)
        heights = stored * self._file.scales[0] + self._file.offsets[0]
        metres = heights * self.info.metres_per_unit
        metres[~np.isfinite(metres)] = np.nan
        return metres

    def overview(self, bounds: tuple[float, float, float, float], *, most_px: int) -> Grid:
        """Heights in metres over a box, thinned out to be drawn; never for slopes.

        Parameters
        ----------
        bounds : tuple
            West, south, east, north in the raster's own system; cut to the raster.
        most_px : int
            Longer side of the result in cells.
        """
        left, top, columns, rows = _cells(self.info, bounds)
        height, width = self.info.shape
        first, last = max(left, 0), min(left + columns, width)
        upper, lower = max(top, 0), min(top + rows, height)
        if first >= last or upper >= lower:
            nothing = np.full((1, 1), np.nan, np.float32)
            return Grid(nothing, self.info.transform, self.info.crs, "m", "elevation")
        times = max(1.0, max(last - first, lower - upper) / most_px)
        shape = (max(1, int((lower - upper) / times)), max(1, int((last - first) / times)))
        window = Window(first, upper, last - first, lower - upper)
        metres = self._metres(window, shape)
        scale = Affine.scale((last - first) / shape[1], (lower - upper) / shape[0])
        transform = self.info.transform @ Affine.translation(first, upper) @ scale
        return Grid(metres.astype(np.float32), transform, self.info.crs, "m", "elevation")


def cell_size_m(info: ElevationInfo, crs: CRS, x: float, y: float) -> float:
    """Side of a cell in metres at a place: the square root of its area on the ground.

    Parameters
    ----------
    info : ElevationInfo
    crs : pyproj.CRS
        The run's metric system.
    x, y : float
        Where, in the raster's own system.
    """
    step = max(abs(info.transform.a), abs(info.transform.e))
    move = jacobian(info.crs, crs, x, y, step=step)
    affine = info.transform
    cell = move @ np.array([[affine.a, affine.b], [affine.d, affine.e]])
    return round(math.sqrt(abs(float(np.linalg.det(cell)))), 6)


def _cells(
    info: ElevationInfo, bounds: tuple[float, float, float, float]
) -> tuple[int, int, int, int]:
    west, south, east, north = bounds
    inverse = ~info.transform
    corners = np.array([inverse @ (x, y) for x in (west, east) for y in (south, north)])
    left, top = np.floor(corners.min(axis=0)).astype(int) - _MARGIN
    right, bottom = np.ceil(corners.max(axis=0)).astype(int) + _MARGIN
    return int(left), int(top), int(right - left), int(bottom - top)


def _info(file: rasterio.DatasetReader, path: Path, unit: str | None) -> ElevationInfo:
    if file.crs is None:
        raise InputError(
            Fault(
                "elevation without a coordinate system",
                "none",
                "it cannot be placed",
                "save it with its coordinate system",
                where=str(path),
            )
        )
    if file.count != 1:
        raise InputError(
            Fault(
                "elevation with several bands",
                f"{file.count} bands",
                "a picture would be taken for heights",
                "give the raster of heights, with one band",
                where=str(path),
            )
        )
    crs = CRS.from_wkt(file.crs.to_wkt())
    name = _unit_of(file, crs, unit, path)
    return ElevationInfo(
        path, crs, file.transform, (file.height, file.width), name, HEIGHT_UNITS[name]
    )


def _unit_of(file: rasterio.DatasetReader, crs: CRS, given: str | None, path: Path) -> str:
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
