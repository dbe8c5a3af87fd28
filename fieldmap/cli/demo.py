"""``fieldmap demo``: the whole job on the invented farm."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated

import typer

from fieldmap.cli.options import Debug, Json
from fieldmap.cli.reply import Reply, err
from fieldmap.errors import Fault, MisuseError, StoreError

_DAY = date(2026, 6, 9)
_MACHINE = "pull-39"
_PICKED_UP = ("F07", "F08")  # a tyre and a roofing sheet
_PICKED_UP_AT = datetime(2026, 6, 8, 14, 30, tzinfo=UTC)
_MOVES = (("home", "S1", "rear-3"), ("home", "S5", "wide-87"))


def demo(
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where to write.")] = Path(
        "outputs/demo"
    ),
    json: Json = False,
    debug: Debug = False,
) -> Reply:
    """Do the whole job on an invented farm, and say what to open."""
    del json, debug
    from fieldmap.assessment import assess
    from fieldmap.farm import load_farm
    from fieldmap.intake import take_in
    from fieldmap.journey import plan_move
    from fieldmap.logbook import Word, clear
    from fieldmap.search import plan_search
    from fieldmap.write.assessment import write_assessment
    from fieldmap.write.move import write_move
    from fieldmap.write.search import write_search

    folder = _fresh_farm(out)
    err("reading the invented farm and importing what was found ...")
    take_in(load_farm(folder, with_roads=False), sorted((folder / "found").glob("*.*")))
    word = Word("Ada", _PICKED_UP_AT, "taken to the yard")
    clear(load_farm(folder, with_roads=False), _PICKED_UP, word)
    farm = load_farm(folder)
    err("checking two road moves ...")
    moves = [
        (
            move := plan_move(farm, start=start, goal=goal, machine_id=machine),
            write_move(move, farm, out, day=_DAY.isoformat(), index_follows=True)[0],
        )
        for start, goal, machine in _MOVES
    ]
    err("laying lines over the ground that nobody has looked at ...")
    search = write_search(plan_search(farm, day=_DAY), out, index_follows=True)[0]
    err("assessing the fields ...")
    done = assess(farm, day=_DAY, machine_id=_MACHINE)
    written = write_assessment(done, out)
    counts = ", ".join(f"{number} {level}" for level, number in done.counts().items())
    logged = len(farm.hazards)
    return Reply(
        result={
            "farm": str(folder),
            "hazards": logged,
            "counts": done.counts(),
            "moves": [
                {
                    "name": f"{move.names[0]} to {move.names[1]}",
                    "level": move.level,
                    "page": str(page),
                }
                for move, page in moves
            ],
            "search": str(search),
            "open": str(written[0]),
        },
        lines=[
            f"{farm.settings.name}: invented demo data; this farm does not exist.",
            f"{logged} hazards stand in the log; {len(done.answers)} fields: {counts}.",
            *(
                f"{move.names[0]} to {move.names[1]} with {move.machine}: {move.level}"
                for move, _ in moves
            ),
            "",
            "open these pages:",
            f"  {written[0]}",
            f"  {search}",
            *(f"  {page}" for _, page in moves),
        ],
    )


def _fresh_farm(out: Path) -> Path:
    """A copy of the invented farm that the demo may write into."""
    from fieldmap.farm import FARM_FILE
    from fieldmap.read.road_cache import FOLDER as ROAD_CACHE

    source = _demo_geodata()
    folder = out / "farm"
    if folder.exists() and _first_line(folder / FARM_FILE) != _first_line(source / FARM_FILE):
        raise MisuseError(
            Fault(
                "a folder in the way that the demo did not make",
                str(folder),
                "what is in it would be lost",
                "choose another --out",
            )
        )
    try:
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(
            source,
            folder,
            ignore=shutil.ignore_patterns(
                "makers", "pictures", "*.py", "__pycache__", "outputs", "hazards.gpkg*", ROAD_CACHE
            ),
        )
    except OSError as error:
        raise StoreError(
            Fault(
                "the demo cannot be written",
                error.strerror or str(error),
                "there is nothing to show",
                "choose another --out",
                where=str(out),
            )
        ) from error
    return folder


def _first_line(path: Path) -> str:
    """The line that says the farm is invented; nothing for a file that is not there."""
    try:
        return path.read_text("utf-8").partition("\n")[0]
    except (OSError, UnicodeDecodeError):
        return ""


def _demo_geodata() -> Path:
    package = Path(__file__).resolve().parents[1]
    for place in (package / "demo_geodata", package.parent / "demo_geodata"):
        if (place / "farm.toml").is_file():
            return place
    raise MisuseError(
        Fault(
            "the invented farm is not here",
            "demo_geodata",
            "there is nothing to show",
            "install fieldmap from its repository",
        )
    )
