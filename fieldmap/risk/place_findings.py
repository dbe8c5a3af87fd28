"""What the lie of a field says of places: hollows, drop-offs, wet ground, first places to look."""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from fieldmap.finding import Finding, Level, worst
from fieldmap.risk.first_places import LINE, LOW, WRACK, FirstPlaces
from fieldmap.risk.layers import Layers
from fieldmap.risk.lie import Heights
from fieldmap.risk.told import Told
from fieldmap.tables import Tables
from fieldmap.terrain.edges import least_seen_m

_PLACE_WORDS = {
    WRACK: "band along the water's edge",
    LOW: "low that stood under water",
    LINE: "stretch of boundary across the flow",
}
EDGE_CAUTION = (
    "WARNING: the edge of a bank, bench or highwall can break away under a machine. Mark it off "
    "before work, turn well short of it, and ask the landowner and the mine-land agency for the "
    "permit map."
)
HOLLOW_CAUTION = (
    "WARNING: a hollow on reclaimed ground can be settling or an old working; the ground over it "
    "can be thin. Look at it on foot from its rim, keep off when it is new or cracked, and ask the "
    "mine-land agency."
)


def place_findings(
    field_id: str, layers: Layers, heights: Heights, *, tables: Tables
) -> list[Told]:
    """Hollows, drop-offs and wet ground of a field of which some slope is known.

    Parameters
    ----------
    field_id : str
    layers : Layers
    heights : Heights
    tables : Tables
    """
    return [
        _hollows(field_id, layers, heights, tables),
        edge_finding(field_id, layers, heights, tables=tables),
        _wet(field_id, layers, heights, tables),
    ]


def _hollows(field_id: str, layers: Layers, heights: Heights, tables: Tables) -> Told:
    lie = layers.lie
    table = lie.hollows
    unseen = bool((lie.in_hollow & lie.inside & ~layers.enough).any())
    gaps = not bool(np.isfinite(lie.ground.percent.values[lie.inside]).all())
    depth = tables["drainage.hollow_depth_m"]
    vague = not heights.error_m < depth.number()  # NaN is vague too
    level: Level = "unknown" if unseen or gaps or vague else "ok" if table.empty else "care"
    if table.empty:
        words = "No hollow shows that is deep and wide enough for cells of this size to tell."
        if gaps:
            words += " What lies where no height is known nobody can tell."
        if vague:
            words += " The heights may be wrong by more than its depth, or nobody said by how much."
    else:
        words = (
            f"The value is the depth of the deepest of {len(table)}: settled ground, a swallow "
            "hole, a pond, or a low behind a road or levee."
        )
    if len(table) and bool(table["open"].any()):
        words += " Some reach ground of unknown height: they may be deeper, or none."
    return Told(
        Finding(
            level=level,
            what="hollows",
            where=field_id,
            why=words,
            basis="mapped",
            sources=(heights.name, depth.source),
            value=None if table.empty else float(table["depth_m"].max()),
            limit=depth.number(),
            unit="m",
            caution=HOLLOW_CAUTION if level != "ok" else "",
        ),
        f"Go and look at {_counted(len(table), 'hollow')} on foot before driving there"
        if unseen
        else "",
        echo=(gaps or vague) and not unseen,
    )


def edge_finding(field_id: str, layers: Layers, heights: Heights, *, tables: Tables) -> Told:
    """Drop-offs in reach of the field, and ground of unknown height beside which one may stand.

    A highwall, or edges whose buffers take half of the field, stop the work until they are marked
    off or left outside the boundary.

    Parameters
    ----------
    field_id : str
    layers : Layers
    heights : Heights
    tables : Tables
    """
    lie, table = layers.lie, layers.lie.edges
    steep = tables["edges.steep_pct"]
    least = max(
        least_seen_m(heights.source_cell_m, steep_pct=steep.number()),
        tables.number("edges.least_height_m"),
    )
    loose = bool(table["open"].any())
    blank = bool((lie.near_open_edge & lie.inside).any())
    vague = not heights.error_m < least / 2.0  # NaN is vague too
    kept_off = share_of(lie.at_edge[lie.inside])
    level: Level = "unknown" if loose or blank or vague else "ok" if table.empty else "care"
    if table["highwall"].any() or kept_off >= tables.number("side_slopes.field_stop_share"):
        level = "stop"
    return Told(
        Finding(
            level=level,
            what="drop-offs and bench edges",
            where=field_id,
            why=_edge_words(len(table), kept_off, loose=loose, blank=blank, vague=vague),
            basis="mapped",
            sources=(heights.name, *tables.source_of(steep.key, "edges.highwall_buffer_m")),
            value=None if table.empty else float(table["height_m"].max()),
            limit=least,
            unit="m",
            caution=EDGE_CAUTION if len(table) or blank else "",
        ),
        _edge_change(len(table), int(table["highwall"].sum()), blank=blank),
        echo=level == "unknown" and not (loose or blank),
    )


def _edge_words(edges: int, kept_off: float, *, loose: bool, blank: bool, vague: bool) -> str:
    words = ["No bank or bench edge shows; one lower than the limit cannot show on these cells."]
    if edges:
        highest = (
            f"The value is the highest of {edges}. Ground nearer to one than its buffer is drawn "
            f"as keep out, {share_words(kept_off)} of the field; edges beyond the boundary count."
        )
        words = [highest]
    if loose:
        words.append("One goes on into ground of unknown height and may be higher.")
    if blank:
        words.append("Beside ground of unknown height a bank or highwall may stand unseen.")
    if vague:
        words.append("The heights may be wrong by as much, or nobody said by how much.")
    return " ".join(words)


def _edge_change(edges: int, walls: int, *, blank: bool) -> str:
    if walls:
        return (
            f"Keep out: mark off {_counted(walls, 'highwall')} and the ground near it, or draw the "
            "field's boundary short of that; then the rest can be answered"
        )
    if edges:
        return f"Mark off {_counted(edges, 'edge')} where the ground falls away"
    if blank:
        return (
            "Look for banks and highwalls along the ground of unknown height, or get elevation "
            "without gaps that reaches round the field"
        )
    return ""


def _wet(field_id: str, layers: Layers, heights: Heights, tables: Tables) -> Told:
    lie = layers.lie
    rank = lie.water.rank[lie.inside]
    top = tables["drainage.wet_rank"]
    wet = share_of(rank >= top.number())
    known = bool(np.isfinite(rank).all())
    level: Level = "ok" if known else "unknown"
    if known and wet >= tables.number("drainage.wet_share"):
        level = "care"
    words = (
        f"Share of the field among the wettest {share_words(1 - top.number())} of the farm's "
        "ground, by how much land drains through each cell and how gently it falls. A rank within "
        "this farm, not a moisture."
    )
    if bool((lie.water.cut[lie.inside] > 0).any()):
        words += " Water from beyond the elevation is not counted."
    if np.isfinite(lie.water.cell_m):
        words += f" The ground was thinned to cells of {lie.water.cell_m:.0f} m for it."
    if not known:
        words += " Part of it could not be ranked."
    return Told(
        Finding(
            level=level,
            what="wet ground",
            where=field_id,
            why=words,
            basis="mapped",
            sources=(heights.name, top.source),
            value=100 * wet,
            limit=100 * tables.number("drainage.wet_share"),
            unit="%",
            caution="CAUTION: wet ground ruts, and soft ground on a slope slides; walk it first."
            if level == "care"
            else "",
        ),
        "" if known else "Get elevation that reaches further round the fields",
    )


def first_findings(
    field_id: str, first: FirstPlaces, looked: list[Told], *, tables: Tables
) -> list[Told]:
    """Where to look first after a flood; nothing where no flood was.

    Parameters
    ----------
    field_id : str
    first : FirstPlaces
    looked : list of Told
        What the walks say: as long as flooded ground is not looked at, this is where to begin.
    tables : Tables
    """
    if not first.rows:
        return []
    level = worst(["ok", *(one.finding.level for one in looked if "flooded" in one.finding.what)])
    counts = Counter(row["kind"] for row in first.rows)
    named = ", ".join(
        _counted(counts[kind], words) for kind, words in _PLACE_WORDS.items() if kind in counts
    )
    return [
        Told(
            Finding(
                level=level,
                what="first places to look after the flood",
                where=field_id,
                why=f"{named[0].upper()}{named[1:]}: where water leaves what it carries. Seen "
                "first, they say most; the rest is to be looked at all the same.",
                basis="assumed",
                sources=tables.source_of("drainage.wrack_m", "drainage.across_deg"),
                value=float(len(first.rows)),
                unit="count",
            ),
            "" if level == "ok" else f"Look first, as numbered on the map, at {named}",
            echo=True,
        )
    ]


def share_of(where: NDArray[np.bool_]) -> float:
    """Share of cells where something holds; 0 of none."""
    return float(where.mean()) if where.size else 0.0


def share_words(share: float) -> str:
    """A share in words that never rounds something away to nothing."""
    if 0 < share < 0.01:
        return "less than 1%"
    return f"{100 * share:.0f}%"


def _counted(number: int, what: str) -> str:
    if number == 1:
        return f"1 {what}"
    first, _, rest = what.partition(" ")
    many = f"{first}es" if first.endswith("ch") else f"{first}s"
    return f"{number} {many} {rest}".rstrip()
