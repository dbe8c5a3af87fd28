"""The lie of one field as its page is given it: lines of travel, runs, hollows, edges, places."""

from __future__ import annotations

from datetime import tzinfo
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from fieldmap.field_answer import FieldAnswer
from fieldmap.risk.burn import Burner
from fieldmap.risk.layers import Layers
from fieldmap.risk.side_slope import Heading, Limits
from fieldmap.risk.work import Work
from fieldmap.tables import Tables
from fieldmap.terrain.passes import run_lines
from fieldmap.write.files import features, plain

#: A page carries no more runs than this, and so many at most stand for all from afar.
MOST_RUNS, FEW_RUNS = 300, 30
_DIGITS = 6  # of a degree: about 0.1 m
_SMOOTH_M = 0.5
_ALIKE = 9  # digits to which shares of ground are held against each other
_NOTHING: dict[str, Any] = {"type": "FeatureCollection", "features": []}


def lie_payload(answer: FieldAnswer, *, crs: CRS, zone: tzinfo, tables: Tables) -> dict[str, Any]:
    """What the page of a field shows of the lie of its land; quantities SI, shapes in degrees.

    Parameters
    ----------
    answer : FieldAnswer
    crs : pyproj.CRS
        The run's metric system.
    zone : tzinfo
        Whose day a flood was on.
    tables : Tables
        ``passes.join_m``, ``edges.*``.

    Returns
    -------
    dict
        ``known`` (whether any slope is), ``travel`` (:func:`travel`, ``None`` without a line of
        travel), ``runs``, ``headland``, ``hollows``, ``drop_offs`` and ``first_places`` as
        GeoJSON.
    """
    lie = answer.layers.lie
    known = bool(np.isfinite(lie.ground.percent.values[lie.inside]).any())
    return {
        "known": known,
        "travel": None if lie.heading is None else travel(lie.heading, lie.work, lie.limits),
        "runs": _runs(lie.heading, lie.work, crs, tables),
        "headland": _headland(lie.work, crs),
        "hollows": _hollows(answer.layers, crs),
        "drop_offs": _drop_offs(lie.edges, crs, tables),
        "first_places": _first_places(answer, crs, zone),
    }


def travel(heading: Heading, work: Work, limits: Limits) -> dict[str, Any]:
    """All lines of travel that were tried, the best first, with what each would cost.

    ``lines`` have ``deg`` (0 up to 180, driven both ways), ``stop_share`` and ``care_share`` of
    the known ground (the first is part of the second), ``runs``, ``turns`` and ``minutes``
    (``None`` without a working width); ``ties`` are the lines as good as the best, itself
    included; ``care_pct`` and ``stop_pct`` the side slopes they were held against, ``limit``
    what those rest on.
    """
    order = _order(heading, work)
    lines = [
        {
            "deg": float(work.lines_deg[at]),
            "stop_share": float(heading.stop_shares[at]),
            "care_share": float(heading.care_shares[at]),
            "runs": plain(work.runs[at]),
            "turns": plain(work.turns[at]),
            "minutes": plain(work.minutes[at]),
        }
        for at in order
    ]
    return {
        "lines": lines,
        "ties": [float(deg) for deg in heading.ties],
        "care_pct": limits.care_pct,
        "stop_pct": limits.stop_pct,
        "limit": limits.words,
        "laps": work.laps,
    }


def _order(heading: Heading, work: Work) -> list[int]:
    """Least ground over the limit, then least in care, then fewest runs; the chosen one leads."""
    runs = np.nan_to_num(work.runs)
    stop, care = heading.stop_shares.round(_ALIKE), heading.care_shares.round(_ALIKE)
    chosen = work.lines_deg != heading.degrees
    return [int(at) for at in np.lexsort((runs, care, stop, chosen))]


def _runs(heading: Heading | None, work: Work, crs: CRS, tables: Tables) -> dict[str, Any]:
    """The runs on the best heading as one shape, thinned to what a page can carry.

    ``sketch`` is a few of them, for a map from afar; ``every`` says that one in so many is kept.
    """
    if heading is None or work.laps is None:
        return _NOTHING
    lines = run_lines(
        work.inner,
        heading.degrees,
        width_m=work.width_m,
        join_m=tables.number("passes.join_m"),
    )
    every = -(-len(lines) // MOST_RUNS)
    few = -(-len(lines) // FEW_RUNS)
    if not len(lines):
        return _NOTHING
    whole, sketch = (shapely.multilinestrings(lines[::step]) for step in (every, few))
    shape = features(_frame([sketch], crs), (), digits=_DIGITS)["features"][0]["geometry"]
    table = _frame([whole], crs).assign(
        degrees=heading.degrees,
        count=len(lines),
        every=every,
        spacing_m=every * work.width_m,
        sketch_m=few * work.width_m,
    )
    names = ("degrees", "count", "every", "spacing_m", "sketch_m")
    found = features(table, names, digits=_DIGITS)
    found["features"][0]["properties"]["sketch"] = shape
    return found


def _headland(work: Work, crs: CRS) -> dict[str, Any]:
    """The ground of the laps; nothing where it is not known, or all of the field."""
    if work.laps is None or work.inner.is_empty:
        return _NOTHING
    return features(_frame([_plainer(work.headland)], crs), (), digits=_DIGITS)


def _hollows(layers: Layers, crs: CRS) -> dict[str, Any]:
    """Deepest first; ``looked`` is whether all of its ground in the field was looked at."""
    table = layers.lie.hollows
    if table.empty:
        return _NOTHING
    burn = Burner(layers.lie.ground.percent, crs)
    unseen = layers.inside & ~layers.enough
    shown = table.assign(
        looked=[not (burn.touched(shape) & unseen).any() for shape in table.geometry]
    ).set_geometry(_plainer(table.geometry.to_numpy()), crs=crs)
    return features(shown, ("depth_m", "area_m2", "open", "looked"), digits=_DIGITS)


def _drop_offs(edges: gpd.GeoDataFrame, crs: CRS, tables: Tables) -> dict[str, Any]:
    """The ground to keep out of, highest edge first, with the edge itself as ``crest``."""
    if edges.empty:
        return _NOTHING
    ordered = edges.sort_values("height_m", ascending=False, kind="stable")
    crests = features(_frame(list(ordered.geometry), crs), (), digits=_DIGITS)["features"]
    buffers = (tables.number("edges.buffer_m"), tables.number("edges.highwall_buffer_m"))
    least = np.where(ordered["highwall"].to_numpy(bool), buffers[1], buffers[0])
    by_height = tables.number("edges.buffer_heights") * ordered["height_m"].to_numpy()
    zones = _frame(list(_plainer(ordered["zone"].to_numpy())), crs).assign(
        height_m=ordered["height_m"].to_numpy(),
        highwall=ordered["highwall"].to_numpy(bool),
        keep_m=np.maximum(least, by_height),
        open=ordered["open"].to_numpy(bool) if "open" in ordered else False,
    )
    found = features(zones, ("height_m", "highwall", "keep_m", "open"), digits=_DIGITS)
    for zone, crest in zip(found["features"], crests, strict=True):
        zone["properties"]["crest"] = crest["geometry"]
    return found


def _first_places(answer: FieldAnswer, crs: CRS, zone: tzinfo) -> dict[str, Any]:
    """The places to look at first after a flood, in the order to look in."""
    table = answer.first_places
    if table.empty:
        return _NOTHING
    moments = table["flood_day"].dt.tz_localize("UTC").dt.tz_convert(zone)
    day = [None if pd.isna(one) else one.date().isoformat() for one in moments]
    shown = table.assign(flood_day=day).set_geometry(_plainer(table.geometry.to_numpy()), crs=crs)
    names = ("kind", "reason", "area_m2", "length_m", "flood_day")
    return features(shown, names, digits=_DIGITS)


def _frame(shapes: list[shapely.Geometry], crs: CRS) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(geometry=shapes, crs=crs)


def _plainer(shapes: Any) -> Any:
    """The same shapes with fewer corners, nowhere more than half a metre off."""
    return shapely.simplify(shapes, _SMOOTH_M)
