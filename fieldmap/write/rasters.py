"""Layers as cloud-optimised GeoTIFF, and pictures of them for the pages."""

from __future__ import annotations

import base64
import math
import warnings
from collections.abc import Sequence

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray
from rasterio.errors import NotGeoreferencedWarning
from rasterio.io import MemoryFile
from rasterio.transform import array_bounds
from rasterio.warp import Resampling, reproject, transform_bounds

from fieldmap.grid import Grid

NODATA = -9999.0
_EXAGGERATED = 2.0
_PALETTE = 256
_TONE = 5  # tones of a smooth picture stand so far apart: no bands to the eye, a fifth of the bytes
_WEB_MERCATOR, _DEGREES = "EPSG:3857", "EPSG:4326"


def cog_bytes(bands: Sequence[Grid], *, tags: dict[str, str]) -> bytes:
    """A cloud-optimised GeoTIFF: one band a grid, named, with its unit and nodata.

    Parameters
    ----------
    bands : sequence of Grid
        All on the same cells.
    tags : dict
        Words kept in the file, such as what the codes of a band mean.
    """
    first = bands[0]
    rows, columns = first.shape
    with MemoryFile() as memory:
        with memory.open(
            driver="COG",
            dtype="float32",
            count=len(bands),
            height=rows,
            width=columns,
            crs=rasterio.CRS.from_wkt(first.crs.to_wkt()),
            transform=first.transform,
            nodata=NODATA,
            compress="DEFLATE",
            predictor="YES",
            overview_resampling="NEAREST",
            num_threads=1,
        ) as file:
            for number, grid in enumerate(bands, start=1):
                file.write(np.where(np.isnan(grid.values), NODATA, grid.values), number)
                file.set_band_description(number, grid.name)
                file.set_band_unit(number, grid.unit)
            file.update_tags(**tags)
        return bytes(memory.read())


def picture(
    rgba: NDArray[np.uint8], grid: Grid, *, widest_px: int, smooth: bool = False
) -> tuple[str, list[list[float]]]:
    """An image of a grid as a data address, and the corners to lay it between.

    Parameters
    ----------
    rgba : ndarray of uint8, shape (4, rows, columns)
    grid : Grid
        Gives the place of the cells.
    widest_px : int
        Longer side of the picture.
    smooth : bool
        Blend between cells, in few tones; never for classes.

    Returns
    -------
    str, [[south, west], [north, east]]
        A PNG in a ``data:`` address, and degrees.
    """
    rows, columns = grid.shape
    source = rasterio.CRS.from_wkt(grid.crs.to_wkt())
    ends = array_bounds(rows, columns, grid.transform)
    box = transform_bounds(source, _WEB_MERCATOR, *ends)
    across, along = box[2] - box[0], box[3] - box[1]
    pixel = max(across, along) / widest_px
    width, height = max(1, round(across / pixel)), max(1, round(along / pixel))
    affine = Affine(across / width, 0.0, box[0], 0.0, -along / height, box[3])
    drawn = np.zeros((4, height, width), np.uint8)
    reproject(
        rgba,
        drawn,
        src_transform=grid.transform,
        src_crs=source,
        dst_transform=affine,
        dst_crs=_WEB_MERCATOR,
        resampling=Resampling.bilinear if smooth else Resampling.nearest,
        num_threads=1,
    )
    if smooth:
        drawn -= drawn % _TONE
    west, south, east, north = transform_bounds(_WEB_MERCATOR, _DEGREES, *box, densify_pts=2)
    corners = [[round(south, 7), round(west, 7)], [round(north, 7), round(east, 7)]]
    return f"data:image/png;base64,{base64.b64encode(_png(drawn)).decode()}", corners


def hatched(shape: tuple[int, int], *, every: int) -> NDArray[np.bool_]:
    """Slanting lines over an image, two pixels wide, one in every ``every`` pixels."""
    rows, columns = np.indices(shape)
    return np.asarray((rows + columns) % every < 2)


def hillshade(elevation: Grid, ground_m: float) -> NDArray[np.float32]:
    """Light from the north-west at 45 degrees on the ground, 0 to 1; NaN where unknown.

    Parameters
    ----------
    elevation : Grid
    ground_m : float
        Side of a cell in metres.
    """
    south, east = np.gradient(elevation.values.astype(np.float64), ground_m)
    south, east = _EXAGGERATED * south, _EXAGGERATED * east
    lit = (math.sqrt(0.5) + 0.5 * (east + south)) / np.sqrt(1.0 + east**2 + south**2)
    return np.clip(lit, 0.0, 1.0).astype(np.float32)


def _png(rgba: NDArray[np.uint8]) -> bytes:
    """Few colours go into a palette, which takes a third of the bytes."""
    _, height, width = rgba.shape
    flat = np.ascontiguousarray(rgba.reshape(4, -1).T).view(np.uint32).ravel()
    colours, codes = np.unique(flat, return_inverse=True)
    few = colours.size <= _PALETTE
    bands = codes.astype(np.uint8).reshape(1, height, width) if few else rgba
    size = {"height": height, "width": width, "count": len(bands)}
    with warnings.catch_warnings(), MemoryFile() as memory:
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with memory.open(driver="PNG", dtype="uint8", ZLEVEL=9, **size) as file:
            file.write(bands)
            if few:
                entries = colours.view(np.uint8).reshape(-1, 4).tolist()
                file.write_colormap(1, dict(enumerate(map(tuple, entries))))
        return bytes(memory.read())
