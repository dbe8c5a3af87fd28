"""What somebody measured, laid on the places it was measured at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from fieldmap.network import RoadData
from fieldmap.roads.verdict import Floats

KINDS = ("width", "height", "mass", "opening")


@dataclass(frozen=True, eq=False)
class Measured:
    """Figures by kind, one entry a leg or node, NaN where nobody measured."""

    legs: dict[str, Floats]
    nodes: dict[str, Floats]
    lost: tuple[str, ...]


def lay(checks: pd.DataFrame | None, data: RoadData) -> Measured:
    """Lay road checks on legs and nodes.

    The newest figure of a place and kind counts; a leg's own wins over its way's. A width
    measured at a node counts as its opening.

    Parameters
    ----------
    checks : DataFrame or None
        Columns place, kind, value, when.
    data : RoadData

    Returns
    -------
    Measured
        ``lost`` names the places that are not in the network.
    """
    legs = {kind: np.full(len(data.edges), np.nan) for kind in KINDS}
    nodes = {kind: np.full(len(data.nodes), np.nan) for kind in KINDS}
    if checks is None or len(checks) == 0:
        return Measured(legs, nodes, ())
    newest = (
        checks.sort_values("when", kind="stable")
        .drop_duplicates(["place", "kind"], keep="last")
        .assign(sort=lambda table: table["place"].str.partition("/")[0])
        .assign(own=lambda table: table["place"].str.partition("/")[2])
    )
    lost: list[str] = []
    _put(newest[newest["sort"] == "way"], data.edges["way_id"].astype(str), legs, lost)
    _put(newest[newest["sort"] == "leg"], data.edges["leg_id"], legs, lost)
    spots = newest[newest["sort"] == "node"].replace({"kind": {"width": "opening"}})
    _put(spots, data.nodes["node_id"].astype(str), nodes, lost)
    return Measured(legs, nodes, tuple(lost))


def _put(
    rows: pd.DataFrame, names: pd.Series[str], target: dict[str, Floats], lost: list[str]
) -> None:
    own = np.asarray(names, dtype=object)
    known = set(own.tolist())
    lost += [
        f"road check for {place}: no such place on the roads that were read"
        for place in rows.loc[~rows["own"].isin(known), "place"]
    ]
    for kind, group in rows[rows["own"].isin(known)].groupby("kind"):
        figures = dict(zip(group["own"], group["value"], strict=True))
        found = np.array([figures.get(one, np.nan) for one in own], dtype=float)
        target[str(kind)] = np.where(np.isfinite(found), found, target[str(kind)])
