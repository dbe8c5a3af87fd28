"""The fold: what the log's events, in whatever order they came, say is there now.

The answer depends on the set of events alone. A word closes or replaces only what its writer
had seen, so a clock that is wrong, a log that comes late or one that comes twice changes
nothing, and of two people who did not know of each other both are heard.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from fieldmap.crs import WGS84
from fieldmap.finding import rank
from fieldmap.hazards import events as ev
from fieldmap.hazards.heads import Links, first_of, heads, last_of
from fieldmap.hazards.labels import labels
from fieldmap.tables import Tables

#: Columns of the fold beside the geometry.
COLUMNS = (
    "hazard_id",
    "kind",
    "note",
    "who",
    "time",
    "radius_m",
    "height_m",
    "heading_deg",
    "photo",
    "last_seen",
    "hits",
    "not_found",
    "file",
    "stands",
    "closed",
    "closed_by",
    "key",
    "name",
    "members",
    "events",
)
_PLACES = (ev.ADD, ev.MOVED)
_WORST = (9,)  # a kind that the tables do not have is passed over least of all


def standing(
    events: pd.DataFrame, *, tables: Tables, closed_by: datetime | None = None
) -> gpd.GeoDataFrame:
    """What lies or stands at a place: the marks of :func:`fold` that nobody has cleared.

    Examples
    --------
    >>> from fieldmap.tables import load_tables
    >>> len(standing(ev.no_events(), tables=load_tables()))
    0
    """
    table = fold(events, tables=tables, closed_by=closed_by)
    return table[table["stands"]].reset_index(drop=True)


def fold(
    events: pd.DataFrame,
    *,
    tables: Tables,
    closed_by: datetime | None = None,
    known_by: datetime | None = None,
) -> gpd.GeoDataFrame:
    """Every mark the log has ever held, and whether it still stands.

    Parameters
    ----------
    events : DataFrame
        Columns of :data:`fieldmap.hazards.events.EVENT_COLUMNS`, in any order, each event once
        or more.
    tables : Tables
        The hazard kinds: of two kinds that two people gave without knowing of each other, the
        worse one holds.
    closed_by : datetime, optional
        What was cleared after this moment still stands. Finds count whenever they were told:
        what lay there later may have lain there then.
    known_by : datetime, optional
        History: events later than this are left out altogether.

    Returns
    -------
    GeoDataFrame
        WGS 84, in order of ``hazard_id``. ``hazard_id`` is the finder's name for the mark, or
        the start of its id; ``key`` the id itself, the same in every log; ``events`` the ids of
        its events, with spaces between; ``members`` those of the marks merged into it;
        ``closed`` and ``closed_by`` when and by whom it was cleared.
    """
    table = _in_order(events, closed_by, known_by)
    if table.empty:
        return _none()
    links = Links.of(table)
    verbs = table["verb"].to_numpy()
    undone = (verbs == ev.MERGED) & links.named_by(verbs == ev.UNMERGED)
    keys = _groups(table[(verbs == ev.MERGED) & ~undone], table["hazard_id"])
    group, names = pd.factorize(keys, sort=True)
    marks = _Marks(table, links, verbs, undone, group, len(names))
    out = marks.told(tables).assign(key=names.astype(str))
    out["hazard_id"] = labels(out["name"].tolist(), out["key"].tolist())
    shapes = marks.places()
    whole = gpd.GeoDataFrame(out[list(COLUMNS)], geometry=shapes, crs=WGS84)
    return whole.sort_values("hazard_id", kind="stable", ignore_index=True)


class _Marks:
    """Events by the mark they speak of: rows in causal order, ``group`` the mark of each."""

    def __init__(
        self,
        table: pd.DataFrame,
        links: Links,
        verbs: NDArray[np.object_],
        undone: NDArray[np.bool_],
        group: NDArray[np.intp],
        size: int,
    ) -> None:
        self._table, self._links, self._verbs = table, links, verbs
        self._group, self._size = group, size
        asserts = np.isin(verbs, ev.ASSERTIONS)
        self._open = asserts & ~links.named_by(verbs == ev.CLEARED)
        self._asserts = asserts
        self._stands = self._any(self._open)
        # what speaks for a mark: open words while it stands, all of them once it is cleared
        self._speaks = self._open | (asserts & ~self._stands[group])
        self._merges = (verbs == ev.MERGED) & ~undone

    def _any(self, rows: NDArray[np.bool_]) -> NDArray[np.bool_]:
        return np.bincount(self._group[rows], minlength=self._size) > 0

    def _heads(self, rows: NDArray[np.bool_]) -> NDArray[np.intp]:
        """Of these rows, those that no other of them has seen."""
        return heads(rows, self._group, self._links, size=self._size)

    def places(self) -> NDArray[np.object_]:
        """One shape a mark: where it was last put; both places when two people put it apart."""
        given = np.isin(self._verbs, _PLACES)
        merged = self._merges & np.isfinite(self._table["lon"].to_numpy())
        put = (given & self._speaks) | merged
        put |= self._unaware(put & (self._verbs == ev.MOVED))
        tiers = [put, self._open, given & self._asserts, self._asserts]
        rows = self._first_tier([*tiers, np.ones(len(given), bool)])
        top = self._heads(rows)
        shapes = _shapes(self._table.iloc[top])
        group = self._group[top]
        lone = np.bincount(group, minlength=self._size)[group] == 1
        out = np.empty(self._size, dtype=object)
        out[group[lone]] = shapes[lone]
        for number in np.unique(group[~lone]):
            out[number] = shapely.union_all(shapes[group == number])
        return out

    def _unaware(self, moves: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Open words beside a move: their writers saw the thing at the old place."""
        beside = np.bincount(self._group[moves], minlength=self._size) > 0
        links = self._links
        knew = np.zeros(len(moves), bool)
        knew[links.writer[moves[links.seen]]] = True
        return self._open & beside[self._group] & ~knew & ~links.named_by(moves)

    def _first_tier(self, tiers: list[NDArray[np.bool_]]) -> NDArray[np.bool_]:
        """Rows of the first tier that a mark has any of."""
        left = np.ones(self._size, bool)
        chosen = np.zeros(len(self._group), bool)
        for rows in tiers:
            chosen |= rows & left[self._group]
            left &= ~self._any(rows)
        return chosen

    def told(self, tables: Tables) -> pd.DataFrame:
        """Everything but the place and the label, one row a mark."""
        table, group, size = self._table, self._group, self._size
        times = pd.to_datetime(table["time"].replace("", None), utc=True, format="ISO8601")
        times = times.astype("datetime64[us, UTC]")
        spoken = self._first_tier([self._asserts, np.ones(len(group), bool)])
        first = first_of(np.flatnonzero(spoken), group, size)
        closes = np.flatnonzero(self._verbs == ev.CLEARED)
        last_close = last_of(closes, group, size)
        closed = (last_close >= 0) & ~self._stands
        every = np.arange(len(group))
        return pd.DataFrame(
            {
                "kind": self._kinds(tables),
                "note": self._notes(),
                "who": table["who"].to_numpy()[first],
                "time": times.iloc[first].array,
                "radius_m": self._greatest("radius_m", _PLACES),
                "height_m": self._greatest("height_m", ev.ASSERTIONS),
                "heading_deg": self._last("heading_deg"),
                "photo": self._last("photo"),
                "last_seen": _latest(times, self._speaks, group, size),
                "hits": np.bincount(group[self._verbs == ev.HIT], minlength=size),
                "not_found": self._missed(),
                "file": table["file"].to_numpy()[first],
                "stands": self._stands,
                "closed": times.iloc[last_close].where(closed).array,
                "closed_by": np.where(closed, table["who"].to_numpy()[last_close], ""),
                "name": table["name"].to_numpy()[first],
                "members": self._collected("hazard_id", every, ev.joined),
                "events": self._collected("event_id", every, ev.joined),
            }
        )

    def _kinds(self, tables: Tables) -> NDArray[np.object_]:
        """The kind last given; of several the worst."""
        kinds = self._table["kind"].to_numpy()
        said = kinds != ""
        rows = self._first_tier([said & self._speaks, said])
        top = self._heads(rows)
        order = worse_kinds(tables)
        found, given = np.unique(kinds.astype(str), return_inverse=True)
        names: list[str] = found.tolist()
        ranked = sorted(range(len(names)), key=lambda at: (order.get(names[at], _WORST), names[at]))
        weight = np.empty(len(names), np.intp)
        weight[ranked] = np.arange(len(names))
        worst = np.full(self._size, -1)
        np.maximum.at(worst, self._group[top], weight[given[top]])
        known = np.array([*(names[at] for at in ranked), "unknown"], dtype=object)
        return known[worst]

    def _notes(self) -> NDArray[np.object_]:
        """All that people wrote, in the order in which they knew of each other."""
        said = (self._table["note"] != "").to_numpy()
        return self._collected("note", np.flatnonzero(said), _written_on)

    def _greatest(self, column: str, verbs: tuple[str, ...]) -> NDArray[np.float64]:
        """The figure last given; of several the greatest; NaN when nobody gave one."""
        held = self._table[column].to_numpy(float)
        said = np.isfinite(held) & (np.isin(self._verbs, verbs) | self._merges)
        top = self._heads(self._first_tier([said & (self._speaks | self._merges), said]))
        out = np.full(self._size, -np.inf)
        np.maximum.at(out, self._group[top], held[top])
        return np.where(np.isfinite(out), out, np.nan)

    def _last(self, column: str) -> NDArray[np.object_]:
        held = self._table[column].to_numpy()
        said = np.flatnonzero(
            (self._table[column].notna() & (self._table[column] != "")).to_numpy()
        )
        row = last_of(said, self._group, self._size)
        none = np.nan if held.dtype.kind == "f" else ""
        return np.where(row >= 0, held[row], none)

    def _missed(self) -> NDArray[np.intp]:
        """How often somebody who knew all that stands for it looked and did not find it."""
        rows = np.flatnonzero(self._verbs == ev.NOT_FOUND)
        wanted = np.bincount(self._group[self._open], minlength=self._size)
        knew = self._links.count_from(rows, self._open, self._group)
        whole = (knew >= wanted[self._group[rows]]) & self._stands[self._group[rows]]
        return np.bincount(self._group[rows[whole]], minlength=self._size)

    def _collected(
        self, column: str, rows: NDArray[np.intp], join: Callable[[list[str]], str]
    ) -> NDArray[np.object_]:
        """The words of each mark's rows, put together where it has more than one; "" for none."""
        held = self._table[column].to_numpy()[rows]
        group = self._group[rows]
        out = np.full(self._size, "", dtype=object)
        lone = np.bincount(group, minlength=self._size)[group] == 1
        out[group[lone]] = held[lone]
        several: dict[int, list[str]] = {}
        for number, text in zip(group[~lone].tolist(), held[~lone].tolist(), strict=True):
            several.setdefault(number, []).append(text)
        for number, texts in several.items():
            out[number] = join(texts)
        return out


def _written_on(texts: list[str]) -> str:
    """Notes one after the other, the same words once."""
    return " / ".join(dict.fromkeys(texts))


def worse_kinds(tables: Tables) -> dict[str, tuple[int, ...]]:
    """How bad each kind is to pass over, more is worse: level, then what people must not touch."""
    out: dict[str, tuple[int, ...]] = {}
    for row in tables.rows("hazard_kinds"):
        words = row.words
        people = "people" in words["endangers"].split(";")
        level = rank(words["level"])  # type: ignore[arg-type]
        out[row.key.split(".", 1)[1]] = (level, int(people and words["touch"] == "no"), int(people))
    return out


def _in_order(
    events: pd.DataFrame, closed_by: datetime | None, known_by: datetime | None
) -> pd.DataFrame:
    """Each event once, in the order of the writers' counters; what is too late left out."""
    table = events.drop_duplicates("event_id")
    for limit, verbs in ((closed_by, (ev.CLEARED,)), (known_by, ev.VERBS)):
        if limit is not None and len(table):
            told = pd.to_datetime(table["time"].replace("", None), utc=True, format="ISO8601")
            late = (told > pd.Timestamp(limit)) & table["verb"].isin(verbs)
            table = table[~late]
    return table.sort_values(["sequence", "event_id"], ignore_index=True)


def _groups(merges: pd.DataFrame, hazard_ids: pd.Series) -> NDArray[np.object_]:
    """The mark each event speaks of: merged ones go by the first of their ids."""
    above: dict[str, str] = {}

    def top(name: str) -> str:
        while above.get(name, name) != name:
            name = above[name]
        return name

    for hazard_id, others in zip(merges["hazard_id"], merges["others"], strict=True):
        for other in ev.ids(others):
            one, two = sorted((top(hazard_id), top(other)))
            above[two] = one
    if not above:
        return hazard_ids.to_numpy()
    return hazard_ids.map({name: top(name) for name in hazard_ids.unique()}).to_numpy()


def _shapes(rows: pd.DataFrame) -> NDArray[np.object_]:
    shapes = shapely.points(rows["lon"].to_numpy(float), rows["lat"].to_numpy(float))
    drawn = (rows["wkt"] != "").to_numpy()
    shapes[drawn] = shapely.from_wkt(rows["wkt"].to_numpy(dtype=object)[drawn])
    return np.asarray(shapes, dtype=object)


def _latest(
    times: pd.Series, rows: NDArray[np.bool_], group: NDArray[np.intp], size: int
) -> pd.Series:
    held = times[rows].groupby(group[rows]).max()
    return held.reindex(range(size)).astype("datetime64[us, UTC]").reset_index(drop=True)


def _none() -> gpd.GeoDataFrame:
    whole = dict.fromkeys(COLUMNS, "str")
    whole |= dict.fromkeys(("time", "last_seen", "closed"), "datetime64[us, UTC]")
    whole |= {"radius_m": "float", "height_m": "float", "heading_deg": "float"}
    whole |= {"hits": "int", "not_found": "int", "stands": "bool"}
    table = {name: pd.Series(dtype=kind) for name, kind in whole.items()}
    return gpd.GeoDataFrame(table, geometry=gpd.GeoSeries([], crs=WGS84), crs=WGS84)
