"""The ground of a field that is still to be looked at, and lines enough for the chance wished."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import shapes

from fieldmap.hazards.chance import coverage_for, exposure, line_exposure, spread_m
from fieldmap.hazards.lines import polygons, search_lines
from fieldmap.hazards.looked import Cells

Floats = NDArray[np.float64]

#: Lines are never laid nearer than this share of the sweep width; what needs more is walked again.
_NEAREST = 1.0 / 3.0
_HALF_TURN = 180.0
_SMOOTH = 0.25  # of a spacing: what is narrower than twice this is no ground of its own
_FRINGE = 0.3  # of a cell: the edge between the outline and the middles of the cells
_MORE = 1.15
_TO_SPEAK_OF = 0.1  # chance under which ground counts as not walked
_ROUNDS = 16
_MANY = 3  # times as many lines as lengthwise: narrow ground is walked lengthwise again


class Left(NamedTuple):
    """Ground still to be looked at, in the field's metric system.

    ``ground`` may be walked and is worth lines; ``slivers_m2`` is what is too small for any,
    ``kept_off_m2`` what lies where nobody may walk.
    """

    ground: shapely.Geometry
    slivers_m2: float
    kept_off_m2: float


class Laid(NamedTuple):
    """Lines over some ground, and the mean chance there now and once they are walked."""

    ground: shapely.Geometry
    lines: NDArray[np.object_]
    bearing_deg: float
    spacing_m: float
    passes: int
    chance_now: float
    chance_after: float


def spacing_for(coverage: float, sweep_m: float) -> tuple[float, int]:
    """How far apart lines are laid for a coverage, and how often the ground is gone over.

    By random search, the cautious formula, the spacing is the sweep width over the coverage.
    Never wider than the sweep width; where it would be less than a third of it the ground is
    gone over more than once, along another bearing where the ground is not too narrow for it.

    Parameters
    ----------
    coverage : float
        -ln(1 - chance), see :func:`fieldmap.hazards.chance.coverage_for`.
    sweep_m : float
        Effective sweep width.

    Returns
    -------
    float, int
        Metres, and passes.

    Examples
    --------
    >>> [round(spacing_for(coverage_for(chance), 6.0)[0], 2) for chance in (0.5, 0.9, 0.99)]
    [6.0, 2.61, 2.61]
    >>> [spacing_for(coverage_for(chance), 6.0)[1] for chance in (0.5, 0.9, 0.99, 0.999)]
    [1, 1, 2, 3]
    """
    passes = max(1, math.ceil(coverage * _NEAREST - 1e-9))
    return min(sweep_m, sweep_m * passes / max(coverage, 1e-9)), passes


def ground_left(
    outline: shapely.Geometry,
    walkable: shapely.Geometry,
    cells: Cells,
    done: NDArray[np.bool_],
    *,
    spacing_m: float,
    sliver_m2: float,
) -> Left:
    """Ground whose cells have not been looked at enough, as polygons worth walking.

    Gaps and strips narrower than half a spacing are smoothed over, pieces under a sliver left
    out; what was left out so is counted. Where nothing was looked at all of it is left.

    Parameters
    ----------
    outline, walkable : Geometry
        The field, and the part of it that people may walk on.
    cells : Cells
    done : ndarray of bool, shape (cells,)
        Looked at enough.
    spacing_m : float
        About how far apart the lines will be.
    sliver_m2 : float
        Smallest piece worth a line.
    """
    seen = _seen_ground(cells, done)
    all_left = shapely.difference(outline, seen)
    kept_off_m2 = float(shapely.difference(all_left, walkable).area)
    left = shapely.intersection(all_left, walkable)
    if not done.any():
        return Left(left, 0.0, kept_off_m2)
    by_m = max(_SMOOTH * spacing_m, _FRINGE * cells.side_m)
    grown = shapely.buffer(left, by_m, quad_segs=2)
    opened = shapely.buffer(shapely.buffer(grown, -2 * by_m, quad_segs=2), by_m, quad_segs=2)
    smooth = shapely.intersection(shapely.simplify(opened, _FRINGE * cells.side_m), walkable)
    ground = _pieces_over(smooth, sliver_m2)
    return Left(ground, float(shapely.difference(left, ground).area), kept_off_m2)


def by_looking(
    ground: shapely.Geometry,
    cells: Cells,
    chance: Floats,
    *,
    sweep_m: float,
    sliver_m2: float,
) -> list[shapely.Geometry]:
    """The ground in two: what nobody came near yet, and what was walked but not enough.

    Each gets lines of its own, so that the one does not lean on the looking of the other.
    Pieces under a sliver go with what they lie beside.

    Parameters
    ----------
    ground : Geometry
    cells : Cells
    chance : ndarray, shape (cells,)
        Chance now.
    sweep_m : float
        Nobody came near where no cell within this has been looked at to speak of.
    sliver_m2 : float
        Smallest piece that stands for itself.

    Returns
    -------
    list of Geometry
        One or two shapes that together are the ground.
    """
    some = _seen_ground(cells, chance >= _TO_SPEAK_OF)
    if some.is_empty:
        return [ground]
    near = shapely.simplify(shapely.buffer(some, sweep_m, quad_segs=2), _FRINGE * cells.side_m)
    fresh = _pieces_over(shapely.difference(ground, near), sliver_m2)
    walked = _pieces_over(shapely.difference(ground, fresh), sliver_m2)
    if walked.is_empty or fresh.is_empty:
        return [ground]
    rest = shapely.difference(ground, shapely.union(fresh, walked))
    return [shapely.union(fresh, rest), walked]


def _pieces_over(ground: shapely.Geometry, least_m2: float) -> shapely.Geometry:
    pieces = polygons(ground)
    return shapely.union_all(pieces[shapely.area(pieces) >= least_m2])


def _seen_ground(cells: Cells, done: NDArray[np.bool_]) -> shapely.Geometry:
    """The cells that were looked at enough, as one shape."""
    if not done.any():
        return shapely.MultiPolygon()
    side = cells.side_m
    west, north = cells.x.min() - side / 2, cells.y.max() + side / 2
    column = np.round((cells.x - west) / side - 0.5).astype(int)
    row = np.round((north - cells.y) / side - 0.5).astype(int)
    grid = np.zeros((row.max() + 1, column.max() + 1), np.uint8)
    grid[row[done], column[done]] = 1
    affine = Affine(side, 0.0, west, 0.0, -side, north)
    found = [shapely.geometry.shape(one) for one, _ in shapes(grid, grid > 0, transform=affine)]
    return shapely.union_all(found)


def lay(
    ground: shapely.Geometry,
    places_xy: Floats,
    chance_now: Floats,
    *,
    wish: float,
    sweep_m: float,
    line_chance: float,
) -> Laid:
    """Lines over the ground so that the mean chance on it comes up to the wish.

    The coverage still needed is ln((1 - mean chance now) / (1 - wish)): ground half looked at
    is not searched anew in full, and what was walked unevenly counts for less than its mean.
    The lines are then tried out with the curve to the sides of a walk; along the edges some of
    it falls outside. As long as the wish is not met they are laid nearer together, or over
    the ground once more. What is seen from the ways between the lines is not counted.

    Parameters
    ----------
    ground : Geometry
        Polygons, metric.
    places_xy : ndarray, shape (places, 2)
        Places on the ground, each for the same area.
    chance_now : ndarray, shape (places,)
        Chance that a thing there has been seen already.
    wish : float
        Mean chance wished, 0 up to, but not, 1.
    sweep_m : float
        Effective sweep width of what is looked for.
    line_chance : float
        Chance of seeing it on the line itself.

    Returns
    -------
    Laid
        ``chance_after`` says what comes of it, also where it stays under the wish.

    Examples
    --------
    >>> field = shapely.box(0, 0, 100, 60)
    >>> at = np.stack(np.meshgrid(np.arange(0.5, 100), np.arange(0.5, 60)), -1).reshape(-1, 2)
    >>> laid = lay(field, at, np.zeros(len(at)), wish=0.9, sweep_m=6, line_chance=0.9)
    >>> round(laid.spacing_m, 2), laid.passes, len(laid.lines), laid.chance_after >= 0.9
    (2.61, 1, 24, True)
    """
    missed = 1.0 - chance_now
    coverage = max(coverage_for(wish) + math.log(max(float(missed.mean()), 1e-12)), 0.0)
    curve = {"spread_m": spread_m(sweep_m, line_chance), "strength": line_exposure(line_chance)}
    laid = _lines_for(coverage, ground, sweep_m)
    for tried in range(_ROUNDS):
        if tried:
            coverage = max(coverage, 1.0) * _MORE
            laid = _lines_for(coverage, ground, sweep_m)
        added = exposure(places_xy, _segments(laid.lines), **curve)
        after = 1.0 - float((missed * np.exp(-added)).mean())
        if after >= wish:
            break
    return laid._replace(chance_now=1.0 - float(missed.mean()), chance_after=after)


def _lines_for(coverage: float, ground: shapely.Geometry, sweep_m: float) -> Laid:
    spacing_m, passes = spacing_for(coverage, sweep_m)
    first = search_lines(ground, spacing_m=spacing_m)
    again = []
    for number in range(1, passes):
        bearing_deg = first.bearing_deg + _HALF_TURN * number / passes
        turned = search_lines(ground, spacing_m=spacing_m, bearing_deg=bearing_deg).lines
        again.append(turned if len(turned) <= _MANY * len(first.lines) else first.lines)
    lines = np.concatenate([first.lines, *again])
    return Laid(ground, lines, first.bearing_deg, spacing_m, passes, math.nan, math.nan)


def _segments(lines: NDArray[np.object_]) -> Floats:
    return shapely.get_coordinates(lines).reshape(-1, 4)
