"""One metric coordinate system a run, and the checks that keep degrees out of metres."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import NamedTuple, TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_utm_crs_info
from pyproj.exceptions import CRSError

from fieldmap.errors import Fault, InputError

WGS84 = CRS.from_epsg(4326)
_Made = TypeVar("_Made")
_METHODS_THAT_STRETCH = (
    "popular visualisation pseudo mercator",
    "mercator",
    "equidistant cylindrical",
    "lambert cylindrical equal area",
    "equal earth",
    "mollweide",
    "sinusoidal",
)


def utm_for(lon: float, lat: float) -> CRS:
    """The UTM zone of a place (WGS 84 datum).

    Parameters
    ----------
    lon, lat : float
        Degrees east and north.

    Raises
    ------
    InputError
        The place is outside the zones.

    Examples
    --------
    >>> utm_for(-92.9, 40.6).to_epsg()
    32615
    """
    area = AreaOfInterest(lon, lat, lon, lat)
    found = query_utm_crs_info(datum_name="WGS 84", area_of_interest=area)
    if not found:
        raise InputError(
            Fault(
                "no UTM zone for the fields",
                f"{lon:.4f}, {lat:.4f}",
                "lengths need a metric system",
                "give crs in farm.toml",
            )
        )
    return CRS.from_epsg(found[0].code)


def metric_crs(text: str) -> CRS:
    """A coordinate system fit to measure in, from what a farm folder says.

    Raises
    ------
    InputError
        Not a coordinate system, not projected in metres, or one that stretches lengths.

    Examples
    --------
    >>> metric_crs("EPSG:26915").name
    'NAD83 / UTM zone 15N'
    """
    try:
        crs = CRS.from_user_input(text)
    except CRSError:
        raise InputError(
            Fault(
                "crs is not a coordinate system",
                text,
                "ground cannot be placed",
                "give an EPSG code such as EPSG:26915",
                where="farm.toml crs",
            )
        ) from None
    if not crs.is_projected or crs.axis_info[0].unit_name not in ("metre", "meter"):
        raise InputError(
            Fault(
                "crs is not in metres",
                f"{text} ({crs.name})",
                "slopes and widths are worked out in metres",
                "give a projected system in metres, such as the UTM zone, or leave crs out",
                where="farm.toml crs",
            )
        )
    if stretches(crs):
        raise InputError(
            Fault(
                "crs stretches lengths",
                f"{text} ({crs.name})",
                "its metres are not metres on the ground away from the equator",
                "give the UTM zone, or leave crs out",
                where="farm.toml crs",
            )
        )
    return crs


def stretches(crs: CRS) -> bool:
    """Whether the projection's metres are far from metres on the ground: maps of the whole world.

    Examples
    --------
    >>> [stretches(CRS(code)) for code in (3857, 3395, 4087, 6933, 8857)]
    [True, True, True, True, True]
    >>> [stretches(CRS(code)) for code in (32615, 26915, 5070, 3417)]
    [False, False, False, False]
    """
    operation = crs.coordinate_operation
    if operation is None:
        return False
    return operation.method_name.lower().startswith(_METHODS_THAT_STRETCH)


@functools.lru_cache(maxsize=32)
def _made(source: CRS, target: CRS) -> Transformer:
    return Transformer.from_crs(source, target, always_xy=True)


class _Pair(NamedTuple):
    """Two systems, held so that nothing else takes their place in memory."""

    source: CRS
    target: CRS
    same: bool
    move: Transformer


#: By the objects themselves: to compare two systems, or to hash one, takes longer than most moves.
_pairs: dict[tuple[int, int], _Pair] = {}
_MOST_PAIRS = 64


def _pair(source: CRS, target: CRS) -> _Pair:
    held = _pairs.get((id(source), id(target)))
    if held is None:
        held = _Pair(source, target, source == target, _made(source, target))
        if len(_pairs) >= _MOST_PAIRS:
            _pairs.clear()
        _pairs[id(source), id(target)] = held
    return held


def same_system(one: CRS, other: CRS) -> bool:
    """Whether two systems are one, found out once for each pair.

    Examples
    --------
    >>> same_system(CRS(32615), CRS.from_wkt(CRS(32615).to_wkt())), same_system(CRS(32615), WGS84)
    (True, False)
    """
    return one is other or _pair(one, other).same


def kept_by_system(make: Callable[[CRS], _Made]) -> Callable[[CRS], _Made]:
    """What a function makes of a system, made once for each; not to be changed by who gets it.

    Examples
    --------
    >>> names = []
    >>> told = kept_by_system(lambda crs: names.append(crs.name) or len(names))
    >>> told(WGS84), told(WGS84), names
    (1, 1, ['WGS 84'])
    """
    held: dict[int, tuple[CRS, _Made]] = {}

    def made(crs: CRS) -> _Made:
        found = held.get(id(crs))
        if found is None:
            found = (crs, make(crs))
            if len(held) >= _MOST_PAIRS:
                held.clear()
            held[id(crs)] = found
        return found[1]

    return made


def transformer(source: CRS, target: CRS) -> Transformer:
    """Coordinates from one system to another, x before y in both."""
    return _pair(source, target).move


def moved(shape: shapely.Geometry, source: CRS, target: CRS) -> shapely.Geometry:
    """A shape's corners in another system; the shape itself when the two are one.

    Examples
    --------
    >>> moved(shapely.Point(500000, 0), CRS(32615), WGS84)
    <POINT (-93 0)>
    """
    if same_system(source, target):
        return shape
    move = transformer(source, target)
    return shapely.transform(shape, lambda xy: np.column_stack(move.transform(xy[:, 0], xy[:, 1])))


def jacobian(source: CRS, target: CRS, x: float, y: float, *, step: float) -> NDArray[np.float64]:
    """How a small step in one system moves in another.

    Parameters
    ----------
    source, target : pyproj.CRS
        From and to.
    x, y : float
        Where, in ``source``.
    step : float
        Half length of the central difference, in units of ``source``.

    Returns
    -------
    ndarray, shape (2, 2)
        Row 0: d(target x) by d(source x), d(source y); row 1 the same for target y.

    Examples
    --------
    >>> jacobian(CRS(32615), CRS(32615), 5e5, 4.5e6, step=1.0)
    array([[1., 0.],
           [0., 1.]])
    """
    if same_system(source, target):
        return np.eye(2)
    move = transformer(source, target)
    xs, ys = move.transform([x + step, x - step, x, x], [y, y, y + step, y - step])
    return np.array(
        [
            [(xs[0] - xs[1]) / (2 * step), (xs[2] - xs[3]) / (2 * step)],
            [(ys[0] - ys[1]) / (2 * step), (ys[2] - ys[3]) / (2 * step)],
        ]
    )
