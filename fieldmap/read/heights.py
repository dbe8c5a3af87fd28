"""Stored numbers of an elevation raster to heights in metres, in one pass."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

#: Kinds of numbers so small, or so coarse, that the mark for "no height" can be told from them
#: as GDAL tells it for four-byte numbers.
PLAIN = ("float32", "int8", "int16", "uint8", "uint16")
#: No dry ground of the earth lies lower or higher (shore of the Dead Sea, top of Everest); a raster
#: that does not name its mark for "no height" has such numbers.
LOWEST_M, HIGHEST_M = -500.0, 9000.0
_ALIKE = 2.0 * float(np.finfo(np.float32).eps)


class Meaning(NamedTuple):
    """What a stored number means: (number x scale + offset) x metres, and which one means none."""

    nodata: float  # NaN when there is no such number
    scale: float
    offset: float
    metres: float


def to_metres(stored: NDArray[Any], meaning: Meaning) -> NDArray[np.float32]:
    """Heights in metres, NaN where there is none.

    Parameters
    ----------
    stored : ndarray, shape (rows, columns)
        One of the kinds in ``PLAIN``. Numbers of four bytes are overwritten and given back.
    meaning : Meaning
        ``nodata`` counts as met within two units in the last place of four bytes, as GDAL has
        it: a file may name it with fewer digits than it stores.

    Examples
    --------
    >>> to_metres(np.array([[10, -9999, 0]], np.int16), Meaning(-9999.0, 0.1, 300.0, 1.0))
    array([[301.,  nan, 300.]], dtype=float32)
    """
    if stored.dtype == np.float32:
        _overwrite(stored, meaning)
        return stored
    metres = np.empty(stored.shape, np.float32)
    _fill(stored, meaning, metres)
    return metres


@njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _height(number: float, meaning: Meaning) -> np.float32:
    """One height; no branch, so that a row is worked on many cells at a time."""
    height = np.float32((number * meaning.scale + meaning.offset) * meaning.metres)
    none = meaning.nodata
    gone = (number == none) | (abs(number - none) < _ALIKE * abs(number + none))
    beyond = (height < LOWEST_M) | (height > HIGHEST_M)
    return np.float32(np.nan) if gone | beyond else height


@njit(cache=True, nogil=True, error_model="numpy")
def _overwrite(values: NDArray[np.float32], meaning: Meaning) -> None:
    # one array, not two names for it: else the compiler must take cell by cell
    for i in range(values.shape[0]):
        row = values[i]
        for j in range(row.size):
            row[j] = _height(np.float64(row[j]), meaning)


@njit(cache=True, nogil=True, error_model="numpy")
def _fill(stored: NDArray[Any], meaning: Meaning, metres: NDArray[np.float32]) -> None:
    for i in range(stored.shape[0]):
        row, out = stored[i], metres[i]
        for j in range(row.size):
            out[j] = _height(np.float64(row[j]), meaning)
