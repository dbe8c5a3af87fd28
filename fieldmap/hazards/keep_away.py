"""Marks that people must keep away from, and the ground round them that no walk may touch."""

from __future__ import annotations

import math
from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from fieldmap.tables import Tables

_KEEP_OUT = "keep out"
_ROUND = 8  # corners of a quarter circle round a mark


def keep_away(hazards: gpd.GeoDataFrame, tables: Tables) -> gpd.GeoDataFrame:
    """Marks that people must keep away from, and how far: columns ``keep_m`` and ``keep``.

    Those that must not be touched, endanger people and are to be kept out of. The distance is
    the position's radius and ``looking.stand_off_m``; ``keep`` holds the whole of that ground.
    """
    words = {kind: tables[f"hazard_kinds.{kind}"].words for kind in hazards["kind"].unique()}
    away = [_hands_off(words[kind]) for kind in hazards["kind"]]
    marks = hazards[np.array(away, bool)].sort_values("hazard_id", kind="stable").copy()
    for column in ("label", "call", "caution"):
        marks[column] = np.array([words[kind][column] for kind in marks["kind"]], dtype=object)
    own_m = np.nan_to_num(marks["radius_m"].to_numpy(float))
    marks["keep_m"] = np.maximum(own_m, tables.number("looking.position_radius_m"))
    marks["keep_m"] += tables.number("looking.stand_off_m")
    outside_m = marks["keep_m"] / math.cos(math.pi / (4 * _ROUND))
    marks["keep"] = shapely.buffer(marks.geometry.to_numpy(), outside_m, quad_segs=_ROUND)
    return marks


def _hands_off(words: Mapping[str, str]) -> bool:
    people = "people" in words["endangers"].split(";")
    return words["touch"] == "no" and people and words["action"] == _KEEP_OUT
