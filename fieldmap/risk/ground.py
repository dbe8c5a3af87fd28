"""What the slopes say about a field, as findings."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fieldmap.finding import Finding, Level, worst
from fieldmap.machine import Machine
from fieldmap.risk import causes as why
from fieldmap.risk.layers import Layers
from fieldmap.risk.lie import Heights
from fieldmap.risk.told import SLOPE_CAUTION, Told
from fieldmap.tables import Tables

HALF_BAND = 1.6449  # standard errors to each side of the 90 percent band of one component
_NOT_SEEN = (
    "Elevation shows no rut, hole, ditch or washout smaller than its cells, and nothing that "
    "changed since it was made. Reclaimed ground goes on settling."
)


def slope_findings(
    field_id: str, layers: Layers, heights: Heights, machine: Machine | None, *, tables: Tables
) -> list[Told]:
    """Elevation, steepness up and down, side slope at the best heading, and what is not known.

    Parameters
    ----------
    field_id : str
    layers : Layers
    heights : Heights
    machine : Machine or None
    tables : Tables
    """
    percent = layers.lie.ground.percent.values[layers.inside]
    known = percent[np.isfinite(percent)]
    told = [_elevation(field_id, known.size / max(percent.size, 1), heights)]
    if known.size == 0:
        return told
    told.append(_cells(field_id, heights, tables))
    told.append(_error(field_id, layers, heights, machine, tables))
    told.append(_steep(field_id, percent, layers, heights, machine, tables))
    told.append(_side(field_id, layers, heights, machine, tables))
    return told


def _elevation(field_id: str, share: float, heights: Heights) -> Told:
    level: Level = "ok" if share >= 1 else "unknown"
    if not heights.name:
        words, change = "The farm folder names no elevation.", "Give elevation in farm.toml"
    elif share <= 0:
        words = "The elevation does not reach this field."
        change = "Get elevation that covers the field"
    elif share < 1:
        words = "Part of the field has no elevation, and a cell beside a gap is a gap too."
        change = (
            "Look at the ground where the map shows no elevation, or get elevation without gaps"
        )
    else:
        words, change = "All of the field has elevation.", ""
    return Told(
        Finding(
            level=level,
            what="elevation under the field",
            where=field_id,
            why=words,
            basis="mapped",
            sources=(heights.name,) if heights.name else (),
            value=100 * share,
            limit=100.0,
            unit="%",
        ),
        change,
    )


def _cells(field_id: str, heights: Heights, tables: Tables) -> Told:
    coarse, blind = tables["terrain.coarse_cell_m"], tables["terrain.blind_cell_m"]
    side = heights.source_cell_m
    level: Level = "ok"
    words, change, caution = "The cells are small beside what a machine crosses.", "", ""
    if side > coarse.number():
        level = "care"
        words = (
            "Cells of this size see no ditch, bank, bench edge or hollow narrower than about "
            "two of them: the true slope can be much steeper."
        )
        caution = SLOPE_CAUTION
    if _is_blind(heights, tables):
        level = "unknown"
        words += " Ground that looks gentle on them is called unknown."
        change = "Get finer elevation, such as a lidar survey, or measure the slopes on the ground"
    return Told(
        Finding(
            level=level,
            what="cell of the elevation",
            where=field_id,
            why=words,
            basis="mapped",
            sources=(heights.name, coarse.source),
            value=side,
            limit=blind.number() if level == "unknown" else coarse.number(),
            unit="m",
            caution=caution,
        ),
        change,
    )


def _error(
    field_id: str, layers: Layers, heights: Heights, machine: Machine | None, tables: Tables
) -> Told:
    """How wrong a height may be, and what that makes of a slope."""
    law = tables["terrain.dem_slope_error_factor"]
    sigma = layers.lie.sigma
    if math.isnan(sigma):
        level: Level = "unknown"
        words = (
            "Nobody said how wrong the heights may be, so nobody can say how much steeper the "
            "ground is than it looks."
        )
        change = (
            "Say elevation_error_m in farm.toml, from the survey's own report, or "
            f"elevation_product ({', '.join(product_names(tables))})"
        )
    else:
        level, change = "ok", ""
        if HALF_BAND * 100 * sigma >= layers.lie.limits.stop_pct:
            level = "unknown"
            change = "Get elevation with a smaller error, or measure the slopes on the ground"
        elif machine is None:
            level, change = "unknown", "Name the machine: its own limits may be the lower ones"
        words = (
            f"By it the slope of one cell is known to about {HALF_BAND * 100 * sigma:.1f} "
            "percentage points up or down, nine times in ten, when the errors of neighbouring "
            "cells have nothing to do with each other; where they go together it can be more or "
            "less. The levels go by the upper end."
        )
    return Told(
        Finding(
            level=level,
            what="error of the elevation",
            where=field_id,
            why=words,
            basis="assumed",
            sources=tuple(s for s in (heights.error_source, law.source) if s),
            value=None if math.isnan(sigma) else heights.error_m,
            unit="m",
        ),
        change,
    )


def product_names(tables: Tables) -> list[str]:
    """Names of the elevation products whose error the tables hold."""
    return [row.key.split(".", 1)[1] for row in tables.rows("elevation_products")]


def _steep(
    field_id: str,
    percent: NDArray[np.float32],
    layers: Layers,
    heights: Heights,
    machine: Machine | None,
    tables: Tables,
) -> Told:
    limits = layers.lie.limits
    known = percent[np.isfinite(percent)]
    level = _level(
        percent,
        layers.lie.steep_high.values[layers.inside],
        (limits.up_down_stop_pct, limits.up_down_care_pct),
        heights,
        tables=tables,
    )
    words = "The value is what nineteen cells in twenty stay under, the range ends at the steepest."
    if known.max() >= limits.up_down_stop_pct:
        words = (
            "Some ground is over the limit even straight up and down; it is drawn as keep out. "
            + words
        )
    words += _partly(percent)
    if machine is None:
        level = worst((level, "unknown"))
        words += " No machine is named, and its own limit may be lower."
    return Told(
        Finding(
            level=level,
            what="slope straight up and down",
            where=field_id,
            why=words,
            basis="mapped",
            sources=(heights.name, *limits.up_down_sources),
            value=float(np.percentile(known, 95)),
            low=float(known.min()),
            high=float(known.max()),
            limit=limits.up_down_stop_pct,
            unit="%",
            caution=SLOPE_CAUTION if level != "ok" else "",
        ),
        echo=_only_the_error(level, percent, heights, tables),
        change=_mark_off(percent, layers)
        or _measure(percent, layers.lie.steep_high.values[layers.inside], limits.up_down_stop_pct),
    )


def _measure(pct: NDArray[np.float32], high: NDArray[np.floating], stop_pct: float) -> str:
    if not ((high >= stop_pct) & (pct < stop_pct)).any():
        return ""
    return (
        "Measure the slopes marked 'go and look' with a slope meter: within the error of the "
        "elevation they may be over the limit"
    )


def _mark_off(percent: NDArray[np.float32], layers: Layers) -> str:
    cells = int((percent >= layers.lie.limits.up_down_stop_pct).sum())
    if cells == 0:
        return ""
    share = 100 * cells / percent.size
    return (
        f"Keep out: mark off the ground that is too steep even straight up and down, "
        f"{max(share, 0.1):.1f}% of the field; measure it with a slope meter"
    )


def _side(
    field_id: str, layers: Layers, heights: Heights, machine: Machine | None, tables: Tables
) -> Told:
    limits, heading = layers.lie.limits, layers.lie.heading
    everywhere = np.abs(layers.lie.across.values[layers.inside])
    across = everywhere[np.isfinite(everywhere)]
    top = float(across.max())
    level = _level(
        everywhere,
        layers.lie.side_high[layers.inside],
        (limits.stop_pct, limits.care_pct),
        heights,
        tables=tables,
    )
    change = _measure(everywhere, layers.lie.side_high[layers.inside], limits.stop_pct)
    words = (
        f"Held to {limits.words}; both ways along the line of travel, which is counted from the "
        "map's grid north."
    )
    if top >= limits.stop_pct:
        words += " Ground over it is drawn as up and down only, or keep out."
    if heading is not None and heading.stop_share > 0:
        words += (
            f" {100 * heading.stop_share:.1f}% of the ground is over it on this line, "
            f"{100 * heading.stop_shares.max():.1f}% on the worst; what is too steep straight up "
            "and down no heading cures."
        )
    words += _partly(everywhere)
    if top >= limits.proven_pct:
        level = worst((level, "unknown"))
        name = "the machine" if machine is None else machine.name
        words += f" Track width or height of the centre of gravity of {name} is not known."
        change = (
            "Measure the track width and take the height of the centre of gravity from the "
            "manual, or give the manual's own side-slope limit, in machines.toml"
            if limits.proven_pct <= 0
            else "Give the track width and the height of the centre of gravity in machines.toml, "
            "to hold the machine's own limit against the tipping angle"
        )
    steep = np.fmax(layers.lie.ground.percent.values, layers.lie.steep_high.values)
    echo = _only_the_error(level, everywhere, heights, tables) and top < limits.proven_pct
    if _runs_unsure(layers) and bool((steep[layers.inside] >= limits.care_pct).any()):
        echo = echo or level != "unknown"
        level = worst((level, "unknown"))
        words += (
            " Working width or turning radius is not known; with them another line may take "
            "fewer runs and be the best."
        )
    choice = "" if heading is None else _heading_words(heading.degrees, heading.ties)
    return Told(
        Finding(
            level=level,
            what="side slope on the best heading",
            where=field_id,
            why=words,
            basis="mapped",
            sources=(heights.name, *limits.sources),
            value=float(np.percentile(across, 95)),
            low=0.0,
            high=top,
            limit=limits.stop_pct,
            unit="%",
            choice=choice,
            caution=SLOPE_CAUTION if level != "ok" else "",
        ),
        change,
        echo=echo and level != "stop",
    )


def _runs_unsure(layers: Layers) -> bool:
    work = layers.lie.work
    return work.laps is None or math.isnan(work.radius_m)


def _level(
    pct: NDArray[np.float32],
    high: NDArray[np.floating],
    limits: tuple[float, float],
    heights: Heights,
    *,
    tables: Tables,
) -> Level:
    """Level of a field from the slopes of all its cells; NaN is ground nobody knows.

    ``high`` is the upper end of the slopes' band, NaN when the elevation's error is not known;
    ``limits`` are stop and care.
    """
    stop_pct, care_pct = limits
    if float((pct >= stop_pct).mean()) >= tables.number("side_slopes.field_stop_share"):
        return "stop"
    if _is_blind(heights, tables) or not np.isfinite(pct).all():
        return "unknown"
    if math.isnan(heights.error_m) or bool(((high >= stop_pct) & (pct < stop_pct)).any()):
        return "unknown"
    return "care" if bool((np.fmax(pct, high) >= min(care_pct, stop_pct)).any()) else "ok"


def _only_the_error(
    level: Level, pct: NDArray[np.float32], heights: Heights, tables: Tables
) -> bool:
    """Whether all that is unknown of a slope is the elevation's error, which is told itself."""
    known = bool(np.isfinite(pct).all()) and not _is_blind(heights, tables)
    return level == "unknown" and math.isnan(heights.error_m) and known


def _partly(pct: NDArray[np.float32]) -> str:
    known = float(np.isfinite(pct).mean())
    if known >= 1:
        return ""
    return f" It speaks for the {100 * known:.0f}% of the field whose slope is known, no more."


def _is_blind(heights: Heights, tables: Tables) -> bool:
    return heights.source_cell_m > tables.number("terrain.blind_cell_m")


def _heading_words(degrees: float, ties: tuple[float, ...]) -> str:
    words = f"run {degrees:.0f} / {degrees + 180:.0f} deg"
    if len(ties) == 1:
        return words
    return f"{words} ({len(ties)} lines of travel are alike)"


def ground_sentences(layers: Layers, heights: Heights, tables: Tables) -> list[str]:
    """What the elevation cannot tell, for the page."""
    if not heights.name:
        return ["No elevation: nothing is known about the slopes."]
    side = heights.source_cell_m
    out = [_NOT_SEEN]
    if side > heights.cell_m * 1.01:
        out.append(
            f"The raster has cells of {heights.cell_m:.0f} m but was made from cells of "
            f"{side:.0f} m: it sees no more than those."
        )
    elif side > tables.number("terrain.coarse_cell_m"):
        out.append(
            "If the raster was made from coarser cells it sees no more than those: say so with "
            "elevation_made_from_cell_m in farm.toml."
        )
    if side > tables.number("terrain.coarse_cell_m"):
        area = layers.inside.sum() * layers.lie.cell_area_m2
        out.append(
            f"About {max(1, round(area / side**2))} of its cells lie on this field. "
            f"A bank or bench edge narrower than about {2 * side:.0f} m is smoothed away: "
            "slopes here are a lower bound."
        )
    if not np.isfinite(layers.lie.ground.percent.values[layers.inside]).all():
        out.append(why.NO_ELEVATION.words.capitalize() + ": drawn hatched.")
    return out
