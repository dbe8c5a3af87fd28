"""Slope and aspect of a whole raster as files, strip by strip, whatever its size."""

from __future__ import annotations

import errno
import os
from collections import deque
from collections.abc import Generator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack, closing, nullcontext
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.errors import RasterioIOError
from rasterio.windows import Window

from fieldmap import __version__
from fieldmap.read.elevation import ElevationFile, ElevationInfo
from fieldmap.terrain.slope import ground_per_cell, per_metre, slope_rows
from fieldmap.write.rasters import NODATA
from fieldmap.write.whole_files import whole_files

SLOPE, ASPECT = "slope_pct.tif", "aspect_deg.tif"
_STRIP_CELLS = 1_000_000  # worked on at once; 4 MB, so that little leaves the processor's cache
_BLOCK_CELLS = 8_000_000  # a row of the file's own blocks up to this size is read as one strip
# rows and columns that share a Jacobian where cells are not metres of the run
_TILE_ROWS, _TILE_COLUMNS = 64, 128
_CACHE_BYTES = 32_000_000
_MADE_BY = f"fieldmap {__version__}"
_BUFFERS = 3  # strips on their way to each file
_OUT_ROWS = 64  # rows a strip of the files written
_Array = NDArray[np.float32]


def write_slope_rasters(
    elevation: ElevationFile | Path | str,
    out_dir: Path,
    *,
    crs: CRS,
    overwrite: bool = False,
) -> tuple[Path, Path]:
    """Slope in percent and aspect in degrees of a whole raster, on its own cells.

    Parameters
    ----------
    elevation : ElevationFile or path
        A path will do when the raster says the unit of its heights.
    out_dir : Path
        Folder for ``slope_pct.tif`` and ``aspect_deg.tif``; made when it is not there.
    crs : pyproj.CRS
        The run's metric system; bearings are its grid bearings.
    overwrite : bool
        Also replace files of these names that fieldmap did not make.

    Returns
    -------
    (Path, Path)
        Float32 GeoTIFFs, -9999 where unknown; level ground has slope 0 and no aspect.

    Raises
    ------
    InputError
        The raster cannot be read, or a file is in the way. Nothing is left behind.
    StoreError
        Disk or permission.

    Notes
    -----
    Memory is bounded by a few strips of a million cells, or by a few rows of the file's own
    blocks where those are larger. Reading, working out and writing run side by side. Where the
    raster's cells are not metres of ``crs`` the Jacobian is taken afresh for every 64 rows and 128
    columns; where they are, it is the same everywhere.
    """
    places = out_dir / SLOPE, out_dir / ASPECT
    with ExitStack() as stack:
        held: ElevationFile = stack.enter_context(
            nullcontext(elevation)
            if isinstance(elevation, ElevationFile)
            else ElevationFile(elevation)
        )
        over = overwrite or all(_ours(path) for path in places)
        slope_path, aspect_path = stack.enter_context(whole_files(places, overwrite=over))
        cache = max(_CACHE_BYTES, 6 * held.info.block_rows * held.info.shape[1])
        with rasterio.Env(GDAL_CACHEMAX=cache, GTIFF_DIRECT_IO=True):
            _write(held, slope_path, aspect_path, crs)
    return places


def _ours(path: Path) -> bool:
    """Whether a raster of an earlier run lies there, or nothing."""
    if not path.is_file() or path.is_symlink():
        return not path.exists()
    try:
        with rasterio.open(path, driver="GTiff") as file:
            return bool(file.tags().get("made_by") == _MADE_BY and file.count == 1)
    except RasterioIOError:
        return False


def _write(elevation: ElevationFile, slope_path: Path, aspect_path: Path, crs: CRS) -> None:
    info = elevation.info
    step = _rows_a_strip(info)
    with ExitStack() as stack:
        slopes = stack.enter_context(_Lane(slope_path, info, "%", SLOPE, step))
        aspects = stack.enter_context(_Lane(aspect_path, info, "deg", ASPECT, step))
        # closed before the files are, also when one of them fails: its reader must not go on
        strips = stack.enter_context(closing(_strips(elevation, step)))
        for row, heights in strips:
            percent, aspect = slopes.free(), aspects.free()
            count = heights.shape[0] - 2
            tall = count if info.crs == crs else _TILE_ROWS
            for upper in range(0, count, tall):
                lower = min(upper + tall, count)
                turns, wide = _turns(info, crs, row + (upper + lower) / 2)
                out = percent[upper:lower], aspect[upper:lower]
                slope_rows(heights[upper : lower + 2], turns, wide, *out, NODATA)
            slopes.send(row, percent, count)
            aspects.send(row, aspect, count)
    for path in (slope_path, aspect_path):
        if path.stat().st_size < 4 * info.shape[0] * info.shape[1]:
            # closing a GeoTIFF on a full disk raises nothing
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))


def _strips(elevation: ElevationFile, step: int) -> Generator[tuple[int, _Array], None, None]:
    """Heights down the raster with a row above and below; the first row that they tell of.

    No row is read twice: a strip keeps the last two rows of the one before, and tells of the rows
    up to its own last but one. The next is read while one is worked on.
    """
    rows, columns = elevation.info.shape
    # two strips by turns, each with two rows kept from the one before and one below the raster
    held = [np.full((step + 3, columns), np.nan, np.float32) for _ in range(2)]
    with ThreadPoolExecutor(1) as reader:
        coming = reader.submit(elevation.rows, 0, step, into=held[0][2:])
        for number, first in enumerate(range(0, rows, step)):
            here, after = held[number % 2], held[1 - number % 2]
            end = 2 + len(coming.result())
            if first + step < rows:
                after[:2] = here[end - 2 : end]
                coming = reader.submit(
                    elevation.rows, first + step, first + 2 * step, into=after[2:]
                )
            else:
                here[end] = np.nan  # below the last row nothing is known
                end += 1
            # the first strip begins with a row above the raster, which tells of no row
            yield (first - 1, here[:end]) if first else (0, here[1:end])


def _rows_a_strip(info: ElevationInfo) -> int:
    """Whole rows of blocks where they fit, so that none is unpacked twice."""
    rows, columns = info.shape
    wanted = max(1, _STRIP_CELLS // columns)
    if info.block_rows * columns <= _BLOCK_CELLS:
        wanted = max(1, wanted // info.block_rows) * info.block_rows
    return min(rows, wanted)


def _turns(info: ElevationInfo, crs: CRS, row: float) -> tuple[NDArray[np.float64], int]:
    """What makes rises a cell rises a metre, along a strip, and how many columns each serves."""
    columns = info.shape[1]
    tile = columns if info.crs == crs else _TILE_COLUMNS
    middles = np.minimum(np.arange(0, columns, tile) + tile / 2, columns)
    cells = ground_per_cell(info.transform, info.crs, crs, middles, np.full(len(middles), row))
    return per_metre(cells), tile


class _Lane:
    """One file, written by a thread of its own in the order of the rows; a context manager."""

    def __init__(self, path: Path, info: ElevationInfo, unit: str, name: str, step: int) -> None:
        rows, columns = info.shape
        self._file = rasterio.open(
            path,
            "w",
            driver="GTiff",
            dtype="float32",
            count=1,
            height=rows,
            width=columns,
            crs=rasterio.CRS.from_wkt(info.crs.to_wkt()),
            transform=info.transform,
            nodata=NODATA,
            blockysize=_OUT_ROWS,
            bigtiff="IF_NEEDED",
        )
        self._file.set_band_description(1, Path(name).stem)
        self._file.set_band_unit(1, unit)
        self._file.update_tags(made_by=_MADE_BY)
        self._thread, self._pusher = ThreadPoolExecutor(1), ThreadPoolExecutor(1)
        self._pushed: Future[None] | None = None
        self._disk = path.open("rb")
        self._free = [np.empty((step + 1, columns), np.float32) for _ in range(_BUFFERS)]
        self._waiting: deque[tuple[Future[None], _Array]] = deque()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        with self._disk, self._pusher, self._file, self._thread:
            while self._waiting and error is None:
                self._waiting.popleft()[0].result()

    def free(self) -> _Array:
        """A buffer that nobody writes from; waits while the file is too far behind."""
        if not self._free:
            future, buffer = self._waiting.popleft()
            future.result()
            self._free.append(buffer)
        return self._free.pop()

    def send(self, row: int, buffer: _Array, count: int) -> None:
        """Hand over the first rows of a buffer, to stand from ``row`` on."""
        window = Window(0, row, buffer.shape[1], count)
        future = self._thread.submit(self._file.write, buffer[:count], 1, window=window)
        self._waiting.append((future, buffer))
        if self._pushed is None or self._pushed.done():  # else the end would wait for the disk
            self._pushed = self._pusher.submit(os.fdatasync, self._disk.fileno())
