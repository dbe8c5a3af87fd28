"""Marks that may be one thing told twice: proposed, never merged by themselves."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from fieldmap.errors import Fault
from fieldmap.hazards import events as ev
from fieldmap.tables import Tables

COLUMNS = ("one", "other", "kind", "distance_m", "within_m", "same_teller")


def twins(marks: gpd.GeoDataFrame, events: pd.DataFrame, *, tables: Tables) -> pd.DataFrame:
    """Pairs of marks of one kind that lie nearer than their positions are known.

    A pair is proposed when d <= k sqrt(r1^2 + r2^2): ``k`` is ``looking.twin_factor``, r the
    user's own 95 % radius or ``looking.position_radius_m``. Pairs that somebody has taken apart
    again are not proposed a second time.

    Parameters
    ----------
    marks : GeoDataFrame
        What stands (columns of the fold), in a metric system.
    events : DataFrame
        The log, for what was taken apart.
    tables : Tables

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`, the nearest first: two ``hazard_id``, their kind, how far apart
        they are and within what they are proposed (m), and whether one person told both in one
        file, who then may well have meant two.
    """
    radius = marks["radius_m"].fillna(tables.number("looking.position_radius_m")).to_numpy(float)
    shapes = marks.geometry.to_numpy()
    reach = tables.number("looking.twin_factor") * radius
    # boxes of the single reaches meet whenever the pair is near enough, since sqrt(a2+b2) <= a+b
    grown = shapely.box(*_grown(shapely.bounds(shapes), reach).T)
    one, other = shapely.STRtree(grown).query(grown)
    kinds = marks["kind"].to_numpy()
    fits = (one < other) & (kinds[one] == kinds[other])
    one, other = one[fits], other[fits]
    distance = shapely.distance(shapes[one], shapes[other])
    within = np.hypot(reach[one], reach[other])
    near = (distance <= within) & ~_apart(marks, events, one, other)
    one, other = one[near], other[near]
    names, who, file = (marks[name].to_numpy() for name in ("hazard_id", "who", "file"))
    table = pd.DataFrame(
        {
            "one": names[one],
            "other": names[other],
            "kind": kinds[one],
            "distance_m": distance[near],
            "within_m": within[near],
            "same_teller": (who[one] == who[other]) & (file[one] == file[other]),
        }
    )
    return table.sort_values(["distance_m", "one", "other"], ignore_index=True)


def unmergeable(
    marks: gpd.GeoDataFrame, *, tables: Tables, unlike_kinds: bool = False
) -> list[Fault]:
    """Why marks cannot be said to be one thing.

    Parameters
    ----------
    marks : GeoDataFrame
        Columns of the fold.
    tables : Tables
    unlike_kinds : bool
        Different kinds are no reason.
    """
    faults = []
    if len(marks) < 2:
        faults.append(
            Fault(
                "merging takes two marks or more",
                ", ".join(marks["hazard_id"]),
                "one thing is one mark already",
                "name two marks that stand near each other, see 'fieldmap hazards twins'",
            )
        )
    gone = marks[~marks["stands"]]
    if len(gone):
        faults.append(
            Fault(
                "merging with what was cleared",
                ", ".join(gone["hazard_id"]),
                "a thing that is gone says nothing of where another one lies",
                "merge marks that stand",
            )
        )
    labels = _labels(marks, tables)
    if len(labels) > 1 and not unlike_kinds:
        faults.append(
            Fault(
                "merging marks of different kinds",
                ", ".join(labels),
                "one mark has one kind: what else it endangers would be hidden",
                "leave them apart; where it is one thing all the same give --unlike-kinds: the "
                "worse kind holds, and the note names the others",
            )
        )
    return faults


def told_as(marks: gpd.GeoDataFrame, tables: Tables) -> str:
    """The kinds of marks that are one thing, in words; "" when they are of one kind."""
    labels = _labels(marks, tables)
    return f"told as {' and as '.join(labels)}" if len(labels) > 1 else ""


def _labels(marks: gpd.GeoDataFrame, tables: Tables) -> list[str]:
    kinds = set(marks["kind"])
    return sorted(tables[f"hazard_kinds.{kind}"].words["label"] for kind in kinds)


def unlike(marks: gpd.GeoDataFrame, *, tables: Tables) -> tuple[str, ...]:
    """What speaks against these marks' being one thing, in words; metric."""
    notes = []
    kinds = sorted(set(marks["kind"]))
    if len(kinds) > 1:
        notes.append(f"they are of different kinds: {', '.join(kinds)}")
    places = shapely.union_all(marks.geometry.to_numpy())
    apart_m = 2 * float(shapely.minimum_bounding_radius(places))
    if apart_m > 2 * tables.number("looking.position_radius_m"):
        notes.append(f"they lie up to {apart_m:.0f} m apart; 'unmerge' takes it back")
    return tuple(notes)


def _grown(bounds: np.ndarray, reach: np.ndarray) -> np.ndarray:
    return bounds + np.stack([-reach, -reach, reach, reach], axis=1)


def _apart(
    marks: gpd.GeoDataFrame, events: pd.DataFrame, one: np.ndarray, other: np.ndarray
) -> np.ndarray:
    """Which pairs somebody merged once and took apart again."""
    undone = {name for text in events.loc[events["verb"] == ev.UNMERGED, "seen"]
              for name in ev.ids(text)}  # fmt: skip
    merges = events[(events["verb"] == ev.MERGED) & events["event_id"].isin(undone)]
    pairs = {
        frozenset((hazard, other_id))
        for hazard, others in zip(merges["hazard_id"], merges["others"], strict=True)
        for other_id in ev.ids(others)
    }
    keys = marks["key"].to_numpy()
    return np.array(
        [frozenset((keys[a], keys[b])) in pairs for a, b in zip(one, other, strict=True)], bool
    )
