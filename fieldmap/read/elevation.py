"""Elevation, read by window or by rows; the unit of its heights is never guessed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.enums import MaskFlags
from rasterio.errors import RasterioIOError
from rasterio.windows import Window

from fieldmap.crs import jacobian
from fieldmap.errors import Fault, InputError
from fieldmap.grid import Grid
from fieldmap.read.height_unit import unit_of
from fieldmap.read.heights import HIGHEST_M, LOWEST_M, PLAIN, Meaning, to_metres
from fieldmap.read.paths import plain_file
from fieldmap.units import HEIGHT_UNITS

SUFFIXES = (".tif", ".tiff")
_MOST_CELLS = 100_000_000
_MARGIN = 2  # cells around a window: one for the slope kernel, one against rounding


@dataclass(frozen=True, slots=True)
class ElevationInfo:
    """What an elevation raster is: its cells, its unit and where it lies.

    ``block_rows`` is how many rows the file keeps together; reading fewer reads them all the same.
    """

    path: Path
    crs: CRS
    transform: Affine
    shape: tuple[int, int]
    unit: str
    metres_per_unit: float
    block_rows: int = 1


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
            self._file = _opened(path)
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
        self._meaning = _meaning(self._file, self.info)

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

    def rows(
        self, first: int, last: int, *, into: NDArray[np.float32] | None = None
    ) -> NDArray[np.float32]:
        """Heights in metres of whole rows, for work that goes down a raster of any size.

        Parameters
        ----------
        first, last : int
            The first row and the one after the last; cut to the raster.
        into : ndarray of float32, shape (last - first or more, columns), optional
            Filled from its first row on instead of a new array.

        Returns
        -------
        ndarray, shape (rows, columns)
            NaN where the raster has no height.

        Raises
        ------
        InputError
            The file cannot be read there.
        """
        height, width = self.info.shape
        first, last = max(first, 0), min(last, height)
        if first >= last:
            return np.empty((0, width), np.float32)
        held = None if into is None else into[: last - first]
        return self._metres(Window(0, first, width, last - first), into=held)

    def _metres(
        self,
        window: Window,
        shape: tuple[int, int] | None = None,
        *,
        into: NDArray[np.float32] | None = None,
    ) -> NDArray[np.float32]:
        """Heights in metres with the raster's own scale and offset applied, NaN where none."""
        meaning = self._meaning
        straight = into if meaning is not None and self._file.dtypes[0] == "float32" else None
        try:
            seen = self._file.read(
                1, window=window, out=straight, out_shape=shape, masked=meaning is None
            )
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
        if meaning is None:
            stored = seen.astype(np.float64).filled(np.nan)
            heights = stored * self._file.scales[0] + self._file.offsets[0]
            metres = (heights * self.info.metres_per_unit).astype(np.float32)
            metres[~((metres >= LOWEST_M) & (metres <= HIGHEST_M))] = np.nan
        else:
            metres = to_metres(seen, meaning)
        if into is None or straight is not None:
            return metres
        into[:] = metres
        return into

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
        return Grid(metres, transform, self.info.crs, "m", "elevation")

    def thinned(self, bounds: tuple[float, float, float, float], *, most_cells: int) -> Grid:
        """Heights in metres over a box, on cells so large that there are not too many.

        Parameters
        ----------
        bounds : tuple
            West, south, east, north in the raster's own system; cut to the raster.
        most_cells : int
            With no more cells than this they stay as they are.

        Returns
        -------
        Grid
            A larger cell has the mean of the whole cells under it, NaN when one of them is unknown;
            rows and columns at the end that fill no larger cell are left out.

        Raises
        ------
        InputError
            The raster breaks off.
        """
        left, top, columns, rows = _cells(self.info, bounds)
        height, width = self.info.shape
        first, last = max(left, 0), min(left + columns, width)
        upper, lower = max(top, 0), min(top + rows, height)
        across, down = max(last - first, 0), max(lower - upper, 0)
        times = max(1, math.ceil(math.sqrt(across * down / max(most_cells, 1))))
        shape = (down // times, across // times)
        transform = self.info.transform @ Affine.translation(first, upper) @ Affine.scale(times)
        if 0 in shape:
            nothing = np.full((1, 1), np.nan, np.float32)
            return Grid(nothing, transform, self.info.crs, "m", "elevation")
        metres = np.empty(shape, np.float32)
        for row in range(shape[0]):
            window = Window(first, upper + row * times, shape[1] * times, times)
            strip = self._metres(window).reshape(times, shape[1], times)
            metres[row] = strip.mean(axis=(0, 2), dtype=np.float64)
        return Grid(metres, transform, self.info.crs, "m", "elevation")


def _opened(path: Path) -> rasterio.DatasetReader:
    """The raster; one that is packed is unpacked by as many threads as there are processors."""
    file = rasterio.open(path, driver="GTiff")
    if file.compression is None:  # read straight from the disk, which threads would prevent
        return file
    file.close()
    return rasterio.open(path, driver="GTiff", num_threads="ALL_CPUS")


def small_cache(megabytes: int = 32) -> rasterio.Env:
    """A context in which GDAL keeps few blocks that it has read.

    Left to itself it keeps a twentieth of the machine's memory: much for a walk over a large
    raster, which comes to each block once.
    """
    return rasterio.Env(GDAL_CACHEMAX=megabytes * 1_000_000)


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
    name = unit_of(file, crs, unit, path)
    return ElevationInfo(
        path,
        crs,
        file.transform,
        (file.height, file.width),
        name,
        HEIGHT_UNITS[name],
        file.block_shapes[0][0],
    )


def _meaning(file: rasterio.DatasetReader, info: ElevationInfo) -> Meaning | None:
    """What the stored numbers mean; ``None`` when only the file's own mask tells what is known."""
    flags = set(file.mask_flag_enums[0])
    if file.dtypes[0] not in PLAIN or flags not in ({MaskFlags.all_valid}, {MaskFlags.nodata}):
        return None
    nodata = math.nan if file.nodata is None else float(np.float32(file.nodata))
    return Meaning(nodata, file.scales[0], file.offsets[0], info.metres_per_unit)
