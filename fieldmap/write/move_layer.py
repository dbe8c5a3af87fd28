"""The legs of moves as a layer of the farm's GeoPackage."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio

from fieldmap.roads.answer import Move
from fieldmap.write.move_payload import move_name

PACKAGE = "farm.gpkg"
LAYER = "legs"


def legs_layer(
    move: Move, steps: Sequence[Mapping[str, Any]], standing: Path | None
) -> gpd.GeoDataFrame:
    """The layer ``legs``: those of other moves as they stand, then this move's.

    Columns ``move``, ``step``, ``n`` and those of :attr:`fieldmap.roads.answer.Move.legs`,
    ``under`` as text.

    Parameters
    ----------
    move : Move
        With at least one leg.
    steps : sequence of mapping
        Its steps, each with ``n`` and ``legs``.
    standing : Path or None
        The GeoPackage as it stands.
    """
    name = move_name(move)
    legs = move.legs.copy()
    legs["under"] = [";".join(held) for held in legs["under"]]
    legs.insert(0, "n", range(1, len(legs) + 1))
    legs.insert(0, "step", _step_of(steps, len(legs)))
    legs.insert(0, "move", name)
    if standing is None or LAYER not in {layer for layer, _ in pyogrio.list_layers(standing)}:
        return legs
    old = pyogrio.read_dataframe(standing, layer=LAYER)
    others = old[old["move"] != name]
    if others.empty or others.crs != legs.crs:
        return legs
    table = pd.concat([others, legs], ignore_index=True)
    return gpd.GeoDataFrame(table, geometry="geometry", crs=legs.crs)


def _step_of(steps: Sequence[Mapping[str, Any]], count: int) -> list[int]:
    """The step each leg belongs to, 0 where there are no steps."""
    number = [0] * count
    for step in steps:
        for row in range(*step["legs"]):
            number[row] = step["n"]
    return number
