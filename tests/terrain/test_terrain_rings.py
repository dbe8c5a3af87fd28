"""Cells of one number as polygons."""

from __future__ import annotations

import numpy as np
import shapely
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from rasterio.features import shapes

from fieldmap.terrain.rings import parts, pieces

TURNED = Affine(5.0, 0.3, 500_000.5, -0.2, -5.1, 4_500_000.25)
numbers = arrays(
    np.int16, st.tuples(st.integers(1, 12), st.integers(1, 12)), elements=st.integers(0, 3)
)


@given(held=numbers)
def test_the_polygons_are_those_of_gdal(held: NDArray[np.int16]) -> None:
    """Referee: GDAL's polygonizer (rasterio.features.shapes, four neighbours), corner by corner."""
    found = pieces(held, TURNED)
    ours = sorted(
        (int(number), shapely.to_wkb(shapely.normalize(shape)))
        for shape, number in zip(found.polygons, found.numbers, strict=True)
    )
    theirs = sorted(
        (
            int(number),
            shapely.to_wkb(
                shapely.normalize(shapely.Polygon(one["coordinates"][0], one["coordinates"][1:]))
            ),
        )
        for one, number in shapes(held, mask=held > 0, transform=TURNED)
    )
    assert ours == theirs


@given(held=numbers)
def test_the_polygons_share_out_the_ground(held: NDArray[np.int16]) -> None:
    """Property: sound polygons, each number's with the area of its cells, in order of the cells."""
    found = pieces(held, Affine.identity())
    assert shapely.is_valid(found.polygons).all()
    for number in range(1, 4):
        area = shapely.area(found.polygons[found.numbers == number]).sum()
        assert area == (held == number).sum()
    labels, firsts = parts(held)
    assert (np.diff(firsts) > 0).all()
    assert found.numbers.tolist() == held.ravel()[firsts].tolist()
    assert ((labels > 0) == (held > 0)).all()


def test_a_hole_that_touches_the_outside_at_a_corner() -> None:
    """By hand: a ring of seven cells whose gap is a corner: a shell and a hole, not one ring."""
    ring = np.array([[1, 1, 1], [1, 0, 1], [1, 1, 0]])
    (found,) = pieces(ring, Affine.identity()).polygons
    assert found.area == 7.0
    assert [hole.area for hole in map(shapely.Polygon, found.interiors)] == [1.0]
    assert found.is_valid


def test_parts_that_meet_at_a_corner_are_two() -> None:
    """By hand: two cells of a number corner to corner, and another number between them."""
    found = pieces(np.array([[4, 2], [0, 4]]), Affine.identity())
    assert found.numbers.tolist() == [4, 2, 4]
    assert found.polygons[0].bounds == (0.0, 0.0, 1.0, 1.0)
