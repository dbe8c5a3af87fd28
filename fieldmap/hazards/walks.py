"""Walks and floods that count on a day: who began to walk when, where, and where water stood."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from fieldmap.errors import Fault, raise_all
from fieldmap.hazards.chance import farthest_m
from fieldmap.tables import Tables

_STEPS_A_BLOCK = 64


class Flood(NamedTuple):
    """Ground that stood under water, and the last moment of the day that it did (UTC)."""

    date: np.datetime64
    ground: shapely.Geometry


class Steps(NamedTuple):
    """Walked steps and the time each one's walk began.

    ``xy`` is of shape (steps, 4), from x, y to x, y in metres; ``started`` of shape (steps,), UTC.
    """

    xy: NDArray[np.float64]
    started: NDArray[np.datetime64]

    def only(self, kept: NDArray[np.bool_]) -> Steps:
        """The steps where ``kept`` is true."""
        return Steps(self.xy[kept], self.started[kept])


@dataclass(frozen=True, eq=False)
class Looking:
    """All walks that count on a day, and all floods up to it, in the run's metric system.

    ``floods`` are in the order of their dates, one for each date; from a walk farther off than
    ``far_m`` nothing is seen. The others are figures of ``looking.csv``.
    """

    steps: Steps
    floods: tuple[Flood, ...]
    cell_m: float
    line_chance: float
    far_m: float

    @cached_property
    def _boxes(self) -> NDArray[np.float64]:
        """West, south, east, north of each block of steps."""
        xy = self.steps.xy
        starts = np.arange(0, len(xy), _STEPS_A_BLOCK)
        low = np.minimum.reduceat(np.minimum(xy[:, :2], xy[:, 2:]), starts, axis=0)
        high = np.maximum.reduceat(np.maximum(xy[:, :2], xy[:, 2:]), starts, axis=0)
        return np.hstack([low, high])

    def steps_near(self, bounds: tuple[float, float, float, float]) -> Steps:
        """The steps that come near a box (west, south, east, north), in their order."""
        if len(self.steps.xy) == 0:
            return self.steps
        (west, south, east, north), far = bounds, self.far_m
        box = np.array([west - far, south - far, east + far, north + far])
        blocks = np.repeat(_meet(self._boxes, box), _STEPS_A_BLOCK)[: len(self.steps.xy)]
        if not blocks.any():
            return self.steps.only(blocks)
        some = self.steps.only(blocks)
        ends = some.xy[:, :2], some.xy[:, 2:]
        return some.only(_meet(np.hstack([np.minimum(*ends), np.maximum(*ends)]), box))


def _meet(boxes: NDArray[np.float64], box: NDArray[np.float64]) -> NDArray[np.bool_]:
    return (
        (boxes[:, 0] <= box[2])
        & (boxes[:, 2] >= box[0])
        & (boxes[:, 1] <= box[3])
        & (boxes[:, 3] >= box[1])
    )


def looking(
    tracks: gpd.GeoDataFrame, flood: gpd.GeoDataFrame, *, day: datetime, tables: Tables
) -> Looking:
    """The walks and floods that count on a day.

    Parameters
    ----------
    tracks : GeoDataFrame
        Columns ``started`` (aware) and lines, metric; may be empty.
    flood : GeoDataFrame
        Columns ``date`` (aware) and polygons, metric; may be empty.
    day : datetime
        The end of the day the question is asked, aware.
    tables : Tables
        ``looking.longest_step_m`` (no walk is assumed over a longer gap between two fixes),
        ``looking.valid_days``, ``looking.cell_m``, ``looking.line_chance``; the sweep widths.

    Raises
    ------
    InputError
        The farm's own figure for a chance is not between 0 and 1.
    """
    raise_all(_not_chances(tables))
    oldest = day - timedelta(days=tables.number("looking.valid_days"))
    good = tracks[(tracks["started"] >= oldest) & (tracks["started"] <= day)]
    good = good[~_told_before(good)]
    past = flood[flood["date"] <= day]
    dates = past["date"].dt.tz_convert(UTC).dt.tz_localize(None).to_numpy("datetime64[us]")
    grounds = past.geometry.to_numpy()
    return Looking(
        steps=walked_steps(good, longest_step_m=tables.number("looking.longest_step_m")),
        floods=tuple(
            Flood(date, shapely.union_all(grounds[dates == date])) for date in np.unique(dates)
        ),
        cell_m=tables.number("looking.cell_m"),
        line_chance=tables.number("looking.line_chance"),
        far_m=farthest_m(tables),
    )


def _told_before(tracks: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """Tracks that say what another said: a copied file is no second walk."""
    told = pd.DataFrame({"at": tracks["started"], "line": shapely.to_wkb(tracks.geometry)})
    return told.duplicated().to_numpy()


def _not_chances(tables: Tables) -> list[Fault]:
    rows = (tables["looking.line_chance"], tables["looking.enough_chance"])
    return [
        Fault(
            f"{row.key} is not a chance",
            f"{row.number():g}",
            "nothing could be said of the ground that was walked",
            "give a figure between 0 and 1, such as 0.6",
            where=row.place,
        )
        for row in rows
        if not 0 < row.number() < 1
    ]


def walked_steps(tracks: gpd.GeoDataFrame, *, longest_step_m: float) -> Steps:
    """The steps of tracks, without those where the device was silent.

    Parameters
    ----------
    tracks : GeoDataFrame
        Column ``started`` (aware) and lines in a metric system.
    longest_step_m : float
        Two fixes farther apart than this are not joined: nobody is known to have walked there.

    Examples
    --------
    >>> line = shapely.LineString([(0, 0), (10, 0), (20, 0), (500, 0), (510, 0)])
    >>> begun = [datetime(2026, 6, 1, tzinfo=UTC)]
    >>> walked_steps(gpd.GeoDataFrame({"started": begun}, geometry=[line]), longest_step_m=40).xy
    array([[  0.,   0.,  10.,   0.],
           [ 10.,   0.,  20.,   0.],
           [500.,   0., 510.,   0.]])
    """
    fixes, line = shapely.get_coordinates(tracks.geometry.to_numpy(), return_index=True)
    joined = line[:-1] == line[1:]
    xy = np.hstack([fixes[:-1], fixes[1:]])[joined]
    lengths = np.hypot(xy[:, 2] - xy[:, 0], xy[:, 3] - xy[:, 1])
    begun = tracks["started"].dt.tz_convert(UTC).dt.tz_localize(None).to_numpy("datetime64[us]")
    steps = Steps(xy, begun[line[:-1][joined]])
    return steps.only((lengths > 0) & (lengths <= longest_step_m))
