"""What somebody measured, laid on the places it was measured at."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from fieldmap.network import RoadData
from fieldmap.roads.verdict import Floats

#: Measured with a tape; read off a sign or told by an owner; answered with yes (1) or no (0).
TAPED = ("width", "opening", "height")
READ_OFF = ("width_limit", "height_limit", "length_limit", "mass", "axle")
ANSWERED = ("access", "ford", "surface", "turn", "grade")
KINDS = (*TAPED, *READ_OFF, *ANSWERED)
_VERBS = (
    dict.fromkeys(TAPED, "measured")
    | dict.fromkeys(READ_OFF, "limit read")
    | dict.fromkeys(ANSWERED, "answered")
)


Record = dict[Any, Any]


class Teller(NamedTuple):
    """Who said a figure, and on which day."""

    who: str
    when: date


@dataclass(frozen=True, eq=False)
class Measured:
    """Figures by kind, one entry a leg or node, NaN where nobody measured.

    Metres, kilograms; of what is answered 1 is yes and 0 is no. ``turns`` has the answers for
    a turn from one leg (its id) into another; ``told`` who said what, by place (``leg/12-0``,
    ``node/12``, ``turn/12-0/13-0``) and kind; ``lost`` names the places that are not in the
    network and the rows that say different things of one day.
    """

    legs: dict[str, Floats]
    nodes: dict[str, Floats]
    lost: tuple[str, ...]
    turns: dict[tuple[str, str], float] = field(default_factory=dict)
    told: dict[tuple[str, str], Teller] = field(default_factory=dict)

    def by(self, place: str, kind: str) -> str:
        """Who measured it and when, in words; "" where nobody did.

        Examples
        --------
        >>> held = {("leg/12-0", "width"): Teller("Ines", date(2026, 5, 3))}
        >>> Measured({}, {}, (), told=held).by("leg/12-0", "width")
        'measured by Ines, 2026-05-03'
        >>> Measured({}, {}, ()).by("leg/12-0", "width")
        ''
        """
        teller = self.told.get((place, kind))
        return "" if teller is None else f"{_VERBS[kind]} by {teller.who}, {teller.when}"


def lay(
    checks: pd.DataFrame | None,
    data: RoadData,
    *,
    machine: str | None = None,
    state: str | None = None,
) -> Measured:
    """Lay road checks on legs, nodes and turns.

    The newest figure of a place and kind counts, and of one day the least favourable. A leg's
    own wins over its way's, unless the way's is newer and less. A width measured at a node
    counts as its opening. What holds for one machine counts for no other.

    Parameters
    ----------
    checks : DataFrame or None
        Columns place, kind, value, who, when (and machine), as the reader gives them.
    data : RoadData
    machine, state : str, optional
        Id of the machine, and name of the transport state, that is asked about.
    """
    legs = {kind: np.full(len(data.edges), np.nan) for kind in KINDS}
    nodes = {kind: np.full(len(data.nodes), np.nan) for kind in KINDS}
    if checks is None or len(checks) == 0:
        return Measured(legs, nodes, ())
    rows = _counting(checks, machine, state)
    said = [*_at_odds(rows)]
    newest = rows.drop_duplicates(["place", "kind"], keep="last")
    told: dict[tuple[str, str], Teller] = {}
    leg_ids = data.edges["leg_id"].to_numpy(dtype=object)
    ways = _rows_of(data.edges["way_id"])
    pieces = {str(name): [row] for row, name in enumerate(leg_ids)}
    lain = _Lain(legs, told, [f"leg/{one}" for one in leg_ids])
    said += lain.put(newest[newest["sort"] == "way"], ways)
    said += lain.put(newest[newest["sort"] == "leg"], pieces)
    spots = _Lain(nodes, told, [f"node/{one}" for one in data.nodes["node_id"]])
    said += spots.put(newest[newest["sort"] == "node"], _rows_of(data.nodes["node_id"]))
    turns, lost = _turns(newest[newest["sort"] == "turn"], pieces, told)
    return Measured(legs, nodes, (*said, *lost), turns, told)


def _counting(checks: pd.DataFrame, machine: str | None, state: str | None) -> pd.DataFrame:
    """The rows that count for a machine, oldest first, of one day the least last."""
    counts = {"", *(() if machine is None else (machine, f"{machine}/{state}"))}
    bound = checks["machine"] if "machine" in checks else pd.Series("", index=checks.index)
    rows = checks[bound.isin(counts)].sort_values(
        ["when", "value"], ascending=[True, False], kind="stable"
    )
    parts = [place.partition("/") for place in rows["place"]]
    sort = np.array([part[0] for part in parts], dtype=object)
    at_node = (sort == "node") & (rows["kind"] == "width").to_numpy()
    kind = np.where(at_node, "opening", rows["kind"])
    return rows.assign(sort=sort, own=[part[2] for part in parts], kind=kind.astype(object))


def _at_odds(rows: pd.DataFrame) -> Iterator[str]:
    """Words about figures of one place, kind and day that are not the same."""
    days: dict[tuple[str, str, date], set[float]] = {}
    for row in rows.to_dict("records"):
        key = (row["place"], row["kind"], row["when"].date())
        days.setdefault(key, set()).add(row["value"])
    for (place, kind, day), values in days.items():
        if len(values) > 1:
            yield (
                f"road checks for {place}: {len(values)} answers for {kind} on {day}; the least "
                "favourable one counts"
            )


def _rows_of(names: pd.Series[Any]) -> dict[str, Any]:
    """Place -> its rows."""
    return {str(name): rows for name, rows in names.groupby(names).indices.items()}


@dataclass(frozen=True)
class _Lain:
    """Where rows are laid: the figures by kind, who told them, and the places' names.

    What is put first is a way's; it gives way to a leg's own unless it is newer and less.
    """

    target: dict[str, Floats]
    told: dict[tuple[str, str], Teller]
    names: list[str]

    def put(self, rows: pd.DataFrame, known: Mapping[str, Any]) -> list[str]:
        """Lay rows on their places; words about those that are not there."""
        lost = []
        for row in rows.to_dict("records"):
            if row["own"] not in known:
                lost.append(_nowhere(row["place"]))
                continue
            for place in known[row["own"]]:
                self._one(int(place), row)
        return lost

    def _one(self, place: int, row: Record) -> None:
        kind, day = row["kind"], row["when"].date()
        before = self.told.get((self.names[place], kind))
        less = row["value"] < self.target[kind][place]
        if before is None or less or day >= before.when:
            self.target[kind][place] = row["value"]
            self.told[self.names[place], kind] = Teller(row["who"], day)


def _turns(
    rows: pd.DataFrame, pieces: Mapping[str, Any], told: dict[tuple[str, str], Teller]
) -> tuple[dict[tuple[str, str], float], list[str]]:
    turns: dict[tuple[str, str], float] = {}
    lost = []
    for row in rows.to_dict("records"):
        one, _, other = row["own"].partition("/")
        if one not in pieces or other not in pieces:
            lost.append(_nowhere(row["place"]))
            continue
        turns[one, other] = row["value"]
        told[row["place"], row["kind"]] = Teller(row["who"], row["when"].date())
    return turns, lost


def _nowhere(place: str) -> str:
    return f"road check for {place}: no such place on the roads that were read"
