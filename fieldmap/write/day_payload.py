"""What the page and the files of a day are given: plain JSON types, the user's text untouched."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import datetime
from typing import Any

import geopandas as gpd
import shapely

from fieldmap import __version__
from fieldmap.crs import WGS84
from fieldmap.day_answer import DayPlan, Drive, Stop, TeamDay
from fieldmap.day_left import Left, Why, counted
from fieldmap.finding import Finding
from fieldmap.journey import place
from fieldmap.roads.wording import OTHER_STATE, WHOLE_WAY
from fieldmap.write.files import features, plain
from fieldmap.write.move_payload import move_stem
from fieldmap.write.payload import cited, credit, road_lines
from fieldmap.write.pictures import farm_images

Item = dict[str, Any]

_ON_PAPER = (
    "WARNING: this is an order on paper, from volunteer map data. Signs on the ground, the road "
    "authority, the police and your own law win over it. Check each drive with 'fieldmap move' and "
    "take its sheet along before the machine is on the road."
)
_NOT_KNOWN = (
    "CAUTION: the plan knows no weather, no wet ground, no traffic, no breakdown and no tired "
    "driver. Nobody has to keep to it: stop when the light, the ground or the driver says so."
)
#: What stands before every day.
CAUTIONS = (_ON_PAPER, _NOT_KNOWN)
_SURVEY = ("place", "where", "measure", "must_beat", "unit", "why", "lon", "lat")
_DRIVE = ("n", "machine", "title", "level", "when", "length_m", "why", "sheet")
_AROUND_M = 800.0
_S_PER_MIN = 60.0


def day_payload(plan: DayPlan, *, sheets: bool = False) -> Item:
    """Everything on the page of a day; with links to the sheets of its drives where they are."""
    farm = plan.farm
    box = _around(plan)
    findings = drive_findings(plan)
    return {
        "title": f"{farm.settings.name}: day of {plan.day.isoformat()}",
        "farm": farm.settings.name,
        "note": farm.settings.note,
        "units": farm.settings.units,
        "made": {"date": plan.day.isoformat(), "version": __version__},
        "sources": cited(farm, tuple(one for one, _ in findings)),
        "credit": credit(farm),
        "day": head(plan),
        "notes": list(plan.notes),
        "cautions": [*CAUTIONS, *_cautions(one for one, _ in findings)],
        "machines": [machine_day(one) for one in plan.teams],
        "left": [left_out(one) for one in plan.left],
        "findings": [one.as_dict() | {"drives": list(drives)} for one, drives in findings],
        "fields": _fields(plan),
        "drives": _drives(plan, sheets=sheets),
        "places": _places(plan),
        "survey": survey_of(plan),
        "roads": road_lines(farm, box),
        "images": farm_images(farm, box),
        "ground": [] if farm.roads is None else list(farm.roads.warnings),
        "links": {"index": "../index.html"},
    }


def head(plan: DayPlan) -> Item:
    """The day as a whole: level, hours, light, how many fields."""
    sun, clock, hours = plan.hours.sun, plan.clock, plan.hours
    stops = [stop for team in plan.teams for stop in team.stops]
    return {
        "date": plan.day.isoformat(),
        "level": plan.level,
        "time_zone": plan.farm.settings.time_zone,
        "from": _iso(clock.moment(hours.early_s)),
        "to": _iso(clock.moment(hours.late_s)),
        "sunrise": _iso(sun.sunrise),
        "sunset": _iso(sun.sunset),
        "sun": sun.kind,
        "fields": len(stops),
        "left": len(plan.left),
        "area_ha": sum(stop.job.area_ha for stop in stops),
        "with_unknown": plan.unknown,
    }


def machine_day(team: TeamDay) -> Item:
    """One machine's day."""
    drives = team.drives
    return {
        "machine": team.team.machine.id,
        "name": team.team.machine.name,
        "state": team.team.state,
        "start": team.team.start,
        "stops": [_stop(number, one) for number, one in enumerate(team.stops, start=1)],
        "home": None if team.home is None else drive_told(team.home),
        "slow": list(team.slow),
        "drive_min": sum(_minutes(one.leave, one.arrive) for one in drives),
        "length_km": sum(one.length_m for one in drives) / 1000.0,
        "mowing_min": sum(_minutes(one.mow_from, one.mow_to) for one in team.stops),
        "area_ha": sum(one.job.area_ha for one in team.stops),
    }


def _stop(number: int, stop: Stop) -> Item:
    job = stop.job
    return {
        "n": number,
        "field_id": job.field_id,
        "name": job.name,
        "area_ha": job.area_ha,
        "level": stop.level,
        "ground_level": job.level,
        "ground_why": job.reason,
        "drive": drive_told(stop.drive),
        "mow_from": _iso(stop.mow_from),
        "mow_to": _iso(stop.mow_to),
        "leave": _iso(stop.leave),
        "mowing_min": _minutes(stop.mow_from, stop.mow_to),
        "mowing_low_min": plain(job.low_min),
        "mowing_high_min": plain(job.high_min),
        "heading_deg": plain(job.heading_deg),
        "runs": plain(job.runs),
        "turns": plain(job.turns),
    }


def drive_told(drive: Drive) -> Item:
    """One drive with the level and the words of its road move."""
    return {
        "from": drive.start,
        "to": drive.goal,
        "leave": _iso(drive.leave),
        "arrive": _iso(drive.arrive),
        "minutes": _minutes(drive.leave, drive.arrive),
        "length_km": drive.length_m / 1000.0,
        "level": drive.level,
        "why": drive_why(drive),
    }


def drive_why(drive: Drive) -> str:
    """What is not ``ok`` on a drive, in a few words; the way as a whole where nothing is."""
    if drive.move is None:
        return "The two places are one: no road."
    told = [one for one in drive.move.findings if _speaks(one)]
    words = [
        f"{word}: {'; '.join(counted([one for one in told if one.level == level]))}."
        for level, word in (("stop", "Refused"), ("unknown", "Unknown"), ("care", "Care"))
        if any(one.level == level for one in told)
    ]
    return " ".join(words) or drive.move.reason


def _speaks(finding: Finding) -> bool:
    return finding.level != "ok" and finding.what not in (WHOLE_WAY, OTHER_STATE)


def left_out(one: Left) -> Item:
    """A field that is in no day, with the reasons."""
    return {
        "field_id": one.field_id,
        "name": one.name,
        "area_ha": one.area_ha,
        "reasons": [_why(why) for why in one.reasons],
    }


def _why(why: Why) -> Item:
    return {
        "machine": why.machine,
        "kind": why.kind,
        "level": why.level,
        "why": why.why,
        "survey": [_measure(row) for row in why.survey],
    }


def _measure(row: Item) -> Item:
    return {key: plain(row[key]) for key in _SURVEY}


def drive_findings(plan: DayPlan) -> list[tuple[Finding, tuple[str, ...]]]:
    """What was found on the drives, each once, with the drives it was found on."""
    found: dict[tuple[str, str, str, str], tuple[Finding, list[str]]] = {}
    for team in plan.teams:
        for drive in team.drives:
            for one in () if drive.move is None else drive.move.findings:
                if _speaks(one):
                    key = (one.what, one.where, one.level, one.why)
                    drives = found.setdefault(key, (one, []))[1]
                    drives.append(f"{drive.start} to {drive.goal}")
    return [(one, tuple(dict.fromkeys(drives))) for one, drives in found.values()]


def survey_of(plan: DayPlan) -> list[Item]:
    """Places whose measuring would open a field's road or settle a drive, each once."""
    rows = [row for one in plan.left for why in one.reasons for row in why.survey]
    rows += [
        row
        for team in plan.teams
        for drive in team.drives
        for row in (() if drive.move is None else drive.move.survey)
    ]
    found: dict[tuple[str, str], Item] = {}
    for row in rows:
        held = _measure(row)
        first = found.setdefault((row["place"], row["measure"]), held)
        beat = [one["must_beat"] for one in (first, held) if one["must_beat"] is not None]
        first["must_beat"] = max(beat) if beat else None
    return list(found.values())


def _cautions(findings: Iterable[Finding]) -> list[str]:
    return list(dict.fromkeys(one.caution for one in findings if one.caution))


def _fields(plan: DayPlan) -> Item:
    farm = plan.farm
    stops = {one.job.field_id: one for team in plan.teams for one in team.stops}
    left = {one.field_id: one for one in plan.left}
    ids = [*stops, *left]
    table = farm.fields[farm.fields["field_id"].isin(ids)]
    told = gpd.GeoDataFrame(
        {
            "field_id": list(table["field_id"]),
            "name": list(table["name"]),
            "level": [
                stops[name].level if name in stops else "unknown" for name in table["field_id"]
            ],
            "when": [
                f"{stops[name].mow_from:%H:%M} to {stops[name].mow_to:%H:%M}"
                if name in stops
                else "not in the day"
                for name in table["field_id"]
            ],
        },
        geometry=table.geometry.to_numpy(),
        crs=table.crs,
    )
    return features(told, ("field_id", "name", "level", "when"))


def _drives(plan: DayPlan, *, sheets: bool) -> Item:
    driven = [
        (number, team, drive)
        for team in plan.teams
        for number, drive in enumerate(team.drives, start=1)
        if drive.move is not None and len(drive.move.legs)
    ]
    told = gpd.GeoDataFrame(
        {
            "n": [number for number, _, _ in driven],
            "machine": [team.team.machine.name for _, team, _ in driven],
            "title": [f"{drive.start} to {drive.goal}" for _, _, drive in driven],
            "level": [drive.level for _, _, drive in driven],
            "when": [f"{one.leave:%H:%M} to {one.arrive:%H:%M}" for _, _, one in driven],
            "length_m": [drive.length_m for _, _, drive in driven],
            "why": [drive_why(drive) for _, _, drive in driven],
            "sheet": [_sheet(drive) if sheets else "" for _, _, drive in driven],
        },
        geometry=[_line(drive) for _, _, drive in driven],
        crs=plan.farm.crs,
    )
    return features(told, _DRIVE)


def _sheet(drive: Drive) -> str:
    return "" if drive.move is None else f"../{move_stem(drive.move)}-sheet.html"


def _line(drive: Drive) -> shapely.Geometry:
    """The whole way as one line, as it is driven."""
    legs = [] if drive.move is None else list(drive.move.legs.geometry)
    return shapely.LineString([xy for leg in legs for xy in leg.coords])


def _places(plan: DayPlan) -> list[Item]:
    """Where each machine starts, and the way into each field of the day."""
    farm = plan.farm
    starts = dict.fromkeys(team.team.start for team in plan.teams)
    rows = [(name, "start", "", "") for name in starts]
    several = len(plan.teams) > 1
    for letter, team in zip("ABCDEFGHIJKLMNOPQRSTUVWXYZ", plan.teams, strict=False):
        rows += [
            (
                stop.job.field_id,
                "stop",
                f"{letter if several else ''}{number}",
                f"{stop.mow_from:%H:%M} to {stop.mow_to:%H:%M}",
            )
            for number, stop in enumerate(team.stops, start=1)
        ]
    found = []
    for name, kind, number, when in rows:
        lon, lat = place(farm, name)
        found.append(
            {"name": name, "kind": kind, "n": number, "when": when, "lon": lon, "lat": lat}
        )
    return found


def _around(plan: DayPlan) -> shapely.Polygon:
    farm = plan.farm
    moves = [drive.move for team in plan.teams for drive in team.drives if drive.move is not None]
    legs = [leg for move in moves for leg in move.legs.geometry]
    asked = {one.field_id for one in plan.left} | {
        stop.job.field_id for team in plan.teams for stop in team.stops
    }
    fields = list(farm.fields[farm.fields["field_id"].isin(asked)].geometry)
    starts = [shapely.Point(place(farm, team.team.start)) for team in plan.teams]
    points = list(gpd.GeoSeries(starts, crs=WGS84).to_crs(farm.crs))
    bounds = shapely.total_bounds([*legs, *fields, *points])
    return shapely.box(*shapely.buffer(shapely.box(*bounds), _AROUND_M).bounds)


def _minutes(begin: datetime, end: datetime) -> float:
    return round((end - begin).total_seconds() / _S_PER_MIN, 1)


def _iso(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat(timespec="minutes")


def rounded(figure: float | None, digits: int) -> float | None:
    """A figure for a table; unknown is ``None``."""
    return None if figure is None or math.isnan(figure) else round(figure, digits)
