"""Small invented map files, for the tests of reading roads."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import quoteattr

from pyproj import CRS

from fieldmap.network import RoadData
from fieldmap.read.roads import read_roads

UTM = CRS.from_epsg(32632)
HEAD = "<?xml version='1.0' encoding='UTF-8'?>"


def osm(nodes, ways, relations="", head=HEAD) -> str:
    """``nodes``: id -> (lon, lat, tags); ``ways``: id -> (refs, tags)."""
    text = [head, "<osm version='0.6'>"]
    for key, (lon, lat, tags) in nodes.items():
        text.append(f"<node id='{key}' version='1' lon='{lon}' lat='{lat}'>{_tags(tags)}</node>")
    for key, (refs, tags) in ways.items():
        points = "".join(f"<nd ref='{ref}'/>" for ref in refs)
        text.append(f"<way id='{key}' version='1'>{points}{_tags(tags)}</way>")
    return "\n".join([*text, relations, "</osm>"])


def relation(key, rule, *members, **tags) -> str:
    """A turn restriction; ``members`` are (kind, id, role), ``rule`` may be None."""
    rows = "".join(
        f"<member type='{kind}' ref='{ref}' role='{role}'/>" for kind, ref, role in members
    )
    said = {"type": "restriction"} | ({} if rule is None else {"restriction": rule}) | tags
    return f"<relation id='{key}' version='1'>{rows}{_tags(said)}</relation>"


def _tags(tags) -> str:
    return "".join(f"<tag k={quoteattr(key)} v={quoteattr(value)}/>" for key, value in tags.items())


def read(tmp_path: Path, *parts, **more) -> RoadData:
    file = tmp_path / "small.osm"
    file.write_text(osm(*parts, **more), encoding="utf-8")
    return read_roads(file, crs=UTM)


def row_of(count, *, lat=50.0, tags=None) -> dict:
    return {n: (11.5 + n * 0.001, lat, (tags or {}).get(n, {})) for n in range(1, count + 1)}
