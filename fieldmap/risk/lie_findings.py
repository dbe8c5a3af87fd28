"""What the lie of a field says of driving: turning, sight ahead, speed, runs and turns."""

from __future__ import annotations

import math

import numpy as np

from fieldmap.finding import Finding, Level
from fieldmap.machine import Machine
from fieldmap.risk.layers import Layers, brow, hidden, no_hold, sloping
from fieldmap.risk.lie import Heights
from fieldmap.risk.place_findings import edge_finding, place_findings, share_of, share_words
from fieldmap.risk.speed import SPEED_CAUSES, UNKNOWN
from fieldmap.risk.told import SLOPE_CAUTION, Told
from fieldmap.tables import Tables

SIGHT_CAUTION = (
    "WARNING: worked out over the bare ground. A standing crop, hedges and machines hide what lies "
    "or stands behind them; people and animals move. Wet grass doubles the way to a stop. Drive so "
    "that you can stop in what you see."
)


def lie_findings(
    field_id: str, layers: Layers, heights: Heights, machine: Machine | None, *, tables: Tables
) -> list[Told]:
    """Turning, sight, speed, runs, hollows, edges and wet ground.

    Where no slope is known the runs alone, and what is known of edges beside the field.

    Parameters
    ----------
    field_id : str
    layers : Layers
    heights : Heights
    machine : Machine or None
    tables : Tables
    """
    lie = layers.lie
    work = _work(field_id, layers, machine, tables)
    if not np.isfinite(lie.ground.percent.values[lie.inside]).any():
        near = not lie.edges.empty
        return [work, edge_finding(field_id, layers, heights, tables=tables)] if near else [work]
    return [
        _turning(field_id, layers, heights, machine, tables),
        _sight(field_id, layers, heights, tables),
        _speed(field_id, layers, heights, tables),
        work,
        *place_findings(field_id, layers, heights, tables=tables),
    ]


def _turning(
    field_id: str, layers: Layers, heights: Heights, machine: Machine | None, tables: Tables
) -> Told:
    lie = layers.lie
    there = lie.headland & lie.inside
    slopes = lie.ground.percent.values[there]
    known = slopes[np.isfinite(slopes)]
    loose, unbounded = math.isnan(lie.work.radius_m), lie.work.laps is None
    too_steep = share_of(slopes >= lie.limits.stop_pct)
    perhaps = share_of(
        (slopes < lie.limits.stop_pct) & (lie.steep_high.values[there] >= lie.limits.stop_pct)
    )
    slow = share_of(sloping(lie, tables)[lie.inside if loose else there])
    leaning = bool((known >= lie.limits.proven_pct).any())
    level: Level = "ok"
    if too_steep >= tables.number("side_slopes.field_stop_share"):
        level = "stop"
    elif (
        machine is None
        or known.size < slopes.size
        or (slow > 0 and (loose or unbounded))
        or perhaps > 0
        or math.isnan(lie.sigma)
        or leaning
    ):
        level = "unknown"
    elif slow > 0:
        level = "care"
    words = [_headland_words(layers)]
    if slow > 0:
        words.append(
            f"On {share_words(slow)} of {'the field' if loose else 'it'} the slope asks for care, "
            "or a turn at the usual speed leans to the side-slope limit."
        )
    if too_steep > 0:
        words.append(f"{share_words(too_steep)} is too steep to turn on at any speed.")
    if perhaps > 0:
        words.append(f"Within the error of the elevation {share_words(perhaps)} more may be.")
    change = ""
    if level == "unknown" and slow > 0 and loose:
        change = "Give turning_radius_m in machines.toml"
    elif level == "unknown" and slow > 0 and unbounded:
        change = "Give working_width_m in machines.toml: how deep the headland is hangs on it"
    elif level != "ok":
        change = _turning_change(too_steep > 0, perhaps > 0, leaning)
    only_error = machine is not None and known.size == slopes.size and not (slow > 0 and loose)
    only_error = only_error and not leaning
    return Told(
        Finding(
            level=level,
            what="turning on the headland",
            where=field_id,
            why=" ".join(words),
            basis="mapped",
            sources=(
                heights.name,
                *lie.limits.sources,
                *tables.source_of("passes.turn_kmh"),
            ),
            value=float(np.percentile(known, 95)) if known.size else None,
            high=float(known.max()) if known.size else None,
            limit=lie.limits.stop_pct,
            unit="%",
            caution=SLOPE_CAUTION if level != "ok" else "",
        ),
        change,
        echo=level == "unknown" and math.isnan(lie.sigma) and only_error,
    )


def _turning_change(too_steep: bool, perhaps: bool, leaning: bool) -> str:
    if too_steep:
        return "Turn on gentler ground: leave the steep headland, or mow it straight up and down"
    if perhaps:
        return "Measure the headland with a slope meter before turning on it"
    if leaning:
        return (
            "Give the track width and the height of the centre of gravity in machines.toml: the "
            "headland slopes, and nobody can tell how near the machine is to tipping"
        )
    return ""


def _headland_words(layers: Layers) -> str:
    work = layers.lie.work
    if work.laps is None:
        return (
            "The working width is not known, so all of the field is reckoned as ground to turn on."
        )
    radius = "" if not math.isnan(work.radius_m) else ", with a turning radius that is not known"
    return (
        f"The headland is {work.laps} laps wide{radius}. While it turns the machine stands across "
        "the slope whatever the line of travel."
    )


def _sight(field_id: str, layers: Layers, heights: Heights, tables: Tables) -> Told:
    lie = layers.lie
    sight = lie.speed.sight_m[lie.inside]
    known = sight[np.isfinite(sight)]
    slides = share_of(no_hold(lie)[lie.inside])
    short = share_of(brow(lie)[lie.inside])
    slow = share_of(hidden(lie)[lie.inside])
    coarse = heights.source_cell_m > tables.number("terrain.coarse_cell_m")
    level: Level = "care" if slow > 0 else "ok"
    looked = (
        "Looking along the line of travel both ways, on headlands all round, as far as the machine "
        "needs to stop on the field's steepest ground."
    )
    words = [looked]
    if short > 0:
        words.append(
            f"On {share_words(short)} of the field the ground hides a low thing until it is too "
            "near to stop for at the field speed."
        )
    if slides > 0:
        words.append(
            f"On {share_words(slides)} the slope takes all that wet grass leaves to brake with."
        )
    if slow > max(short, slides):
        words.append("On more of it the slope asks for less than the field speed.")
    change = "Slow down before the brows that the map marks, or mow away from them" if short else ""
    if slides > 0:
        change = change or (
            "Do not go down the steepest ground on wet grass: a towed mower cannot be held there"
        )
    vague = not heights.error_m < tables.number("stopping.target_m")  # NaN is vague too
    missing = known.size < sight.size or coarse or not lie.work.own_speed
    if missing or vague:
        level = "unknown"
    if vague:
        words.append("The heights may be wrong by more than a low thing stands up.")
    if not lie.work.own_speed:
        words.append("How fast the machine mows is not known; the fast end of the usual is taken.")
        change = change or "Give field_speed_kmh in machines.toml"
    if coarse:
        words.append("Cells of this size do not show a brow that hides a person.")
        change = change or "Get finer elevation to see brows, and drive by sight until then"
    return Told(
        Finding(
            level=level,
            what="sight ahead",
            where=field_id,
            why=" ".join(words),
            basis="mapped",
            sources=(
                heights.name,
                *tables.source_of(
                    "stopping.eye_m",
                    "stopping.target_m",
                    "stopping.friction",
                    "stopping.reaction_s",
                ),
            ),
            value=float(known.min()) if known.size else None,
            limit=lie.speed.range_m,
            unit="m",
            caution=SIGHT_CAUTION if level != "ok" else "",
        ),
        change,
        echo=vague and not missing,
    )


def _speed(field_id: str, layers: Layers, heights: Heights, tables: Tables) -> Told:
    lie = layers.lie
    limit = lie.speed.limit_kmh[lie.inside]
    known = limit[np.isfinite(limit)]
    causes = lie.speed.cause[lie.inside]
    parts = [
        f"{SPEED_CAUSES[code]} on {share_words(float((causes == code).mean()))}"
        for code in sorted(set(causes.tolist()), key=lambda code: -int((causes == code).sum()))
    ]
    unknown = bool((causes == UNKNOWN).any()) or not lie.work.own_speed
    level: Level = "unknown" if unknown else "ok"
    if level == "ok" and bool(hidden(lie)[lie.inside].any()):
        level = "care"
    return Told(
        Finding(
            level=level,
            what="field speed limit",
            where=field_id,
            why=f"Half of the field's cells allow at least the value. Governed by "
            f"{', '.join(parts)} of the field. What the driver sees can "
            "ask for less.",
            basis="assumed",
            sources=tuple(
                dict.fromkeys(
                    (
                        heights.name,
                        *tables.source_of("stopping.field_kmh", "stopping.rough_kmh"),
                    )
                )
            ),
            value=float(np.median(known)) if known.size else None,
            low=float(known.min()) if known.size else None,
            high=float(known.max()) if known.size else None,
            unit="km/h",
            caution=SIGHT_CAUTION if level != "ok" else "",
        ),
        echo=True,
    )


def _work(field_id: str, layers: Layers, machine: Machine | None, tables: Tables) -> Told:
    work, heading = layers.lie.work, layers.lie.heading
    sources = tables.source_of("passes.laps_least", "passes.turn_kmh", "stopping.field_kmh")
    if work.laps is None or heading is None or heading.minutes is None:
        name = "the machine" if machine is None else machine.name
        return Told(
            Finding(
                level="unknown",
                what="runs and turns",
                where=field_id,
                why=f"The working width of {name} is not known."
                if work.laps is None
                else "No slope is known, so no line of travel was chosen.",
                basis="assumed",
                sources=sources,
                unit="min",
            ),
            "Give working_width_m in machines.toml" if work.laps is None else "",
            echo=work.laps is not None,
        )
    own = "its own" if work.own_speed else "the tool's default"
    return Told(
        Finding(
            level="ok",
            what="runs and turns",
            where=field_id,
            why=f"{heading.runs} runs and {heading.turns} turns inside {work.laps} laps of "
            f"headland, over the field's own outline, at {own} field speed or what the field "
            "allows, cell by cell. Stops and unloading are not counted.",
            basis="assumed",
            sources=sources,
            value=heading.minutes,
            unit="min",
            choice=f"{heading.runs} runs, {heading.turns} turns",
        )
    )
