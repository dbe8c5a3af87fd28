"""``fieldmap roads``: fetch the roads round a farm, the only command that goes online."""

from __future__ import annotations

from json import dumps
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fieldmap.cli.options import Debug, Folder, Json, Overwrite
from fieldmap.cli.reply import Reply, err
from fieldmap.errors import Fault, MisuseError

if TYPE_CHECKING:
    import geopandas as gpd

    from fieldmap.farm import Farm

_FURTHEST_KM = 50.0
_NAME = "roads.graphml"


def roads(
    folder: Folder,
    around: Annotated[
        float, typer.Option("--around", metavar="KM", help="How far round fields and places.")
    ],
    online: Annotated[
        bool, typer.Option("--online", help="Yes, ask the map's public service.")
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help=f"Where to [default: FOLDER/{_NAME}]."),
    ] = None,
    overwrite: Overwrite = False,
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Fetch the roads round the farm from OpenStreetMap; nothing else goes online."""
    del json, debug
    target = _target(folder, out)
    _hold(around, online=online, target=target)
    from fieldmap.farm import load_farm
    from fieldmap.read.roads import read_roads
    from fieldmap.read.roads_online import CREDIT, area_around, fetch_roads, save_roads
    from fieldmap.write.outputs import refuse_in_the_way
    from fieldmap.write.whole_files import whole_files

    farm = load_farm(folder, with_roads=False)
    refuse_in_the_way(target, overwrite=overwrite)
    area, area_km2 = area_around(_shapes(farm), km=around)
    err(f"asking the map service for the roads of {area_km2:.0f} km2 ...")
    fetched = fetch_roads(area, area_km2=area_km2)
    with whole_files([target], overwrite=overwrite) as (place,):
        save_roads(fetched, place)
        data = read_roads(place, crs=farm.crs)  # what cannot be read again is not kept
    line = f"roads = {dumps(_named(target, folder), ensure_ascii=False)}"
    result: dict[str, Any] = {
        "file": str(target),
        "line": line,
        "service": fetched.service,
        "area_km2": round(area_km2, 1),
        "ways": fetched.ways,
        "legs": len(data.edges),
        "lacks": list(data.lacks),
        "credit": CREDIT,
    }
    return Reply(result=result, lines=_lines(result), warnings=(*farm.notes, *data.warnings))


def _lines(result: dict[str, Any]) -> list[str]:
    return [
        f"{result['ways']} ways in {result['legs']} legs, written to {result['file']}",
        "put this line under [files] in farm.toml:",
        f"  {result['line']}",
        "An extract of the district (.osm.pbf) holds what this file lacks.",
        result["credit"],
    ]


def _target(folder: Path, out: Path | None) -> Path:
    return folder / _NAME if out is None else out


def _hold(around: float, *, online: bool, target: Path) -> None:
    """Refuse what was asked wrongly, before anything is read or sent.

    Raises
    ------
    MisuseError
        Nobody said ``--online``, a distance that is none, or another kind of file.
    """
    faults = []
    if not online:
        faults.append(
            Fault(
                "nobody said --online",
                "nothing was asked of any service",
                "it tells a public service where your fields lie, and nothing else goes online",
                "say --online, or download an extract (.osm.pbf) yourself and name it in farm.toml",
            )
        )
    if not 0 < around <= _FURTHEST_KM:
        faults.append(
            Fault(
                "not a distance to fetch round",
                f"{around:g} km",
                "it is how far beyond fields and places roads are fetched",
                f"give more than 0 and at most {_FURTHEST_KM:g} km",
            )
        )
    if target.suffix.lower() != ".graphml":
        faults.append(
            Fault(
                "a kind of file that is not written",
                target.name,
                "the roads are kept as GraphML",
                "give a name that ends in .graphml",
            )
        )
    if faults:
        raise MisuseError(faults)


def _shapes(farm: Farm) -> gpd.GeoSeries:
    """Fields, gates and places of a farm, in its metric system."""
    import geopandas as gpd
    import pandas as pd

    from fieldmap.crs import WGS84

    places = list(farm.settings.places.values())
    lon, lat = [one[0] for one in places], [one[1] for one in places]
    told = gpd.GeoSeries(gpd.points_from_xy(lon, lat), crs=WGS84).to_crs(farm.crs)
    held = pd.concat([farm.fields.geometry, farm.gates.geometry, told], ignore_index=True)
    return gpd.GeoSeries(held, crs=farm.crs)


def _named(target: Path, folder: Path) -> str:
    """The file as farm.toml names it: from the farm folder on, where it lies in it."""
    whole, home = target.absolute(), folder.absolute()
    return whole.relative_to(home).as_posix() if whole.is_relative_to(home) else whole.as_posix()
