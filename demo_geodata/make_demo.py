"""Make the invented farm Sallow Bottom: ``python make_demo.py [OUT]``.

Everything comes from one fixed seed; the same libraries give the same bytes every time.
Without OUT the files are written beside this script.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.dont_write_bytecode = True  # the folder is data: no caches beside it

from makers import books, farm, finds, ground, lanes, machines, walks  # noqa: E402


def make(out: Path) -> None:
    """Write the whole farm folder into ``out``."""
    out.mkdir(parents=True, exist_ok=True)
    ground.write_elevation(out / "elevation.tif")
    ground.write_flood(out / "flood.geojson")
    roads = lanes.build()
    roads.net.write(out / "roads.osm.pbf")
    fields = farm.fields(roads)
    farm.write_fields(out / "fields.gpkg", fields)
    farm.write_gates(out / "gates.geojson", fields, roads)
    farm.write_farm(out / "farm.toml", roads)
    farm.write_road_checks(out / "road_checks.csv", roads)
    machines.write_machines(out / "machines.toml")
    books.write_ledger(out / "ledger.csv")
    finds.write_all(out / "found", fields)
    walks.write_all(out / "walks", fields)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
