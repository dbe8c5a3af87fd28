"""What was found: people's files, each in the shape their own device wrote.

The finds themselves are written by hand in ``found_list.csv``. ``near_x``, ``near_y`` and
``reach_m`` there are a local place and a distance, for finds that belong somewhere: beside
the levee, under the power line, in a hollow, or next to a find in another person's file.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np
from makers.farm import Field
from makers.place import INVENTED, OFFSET, in_degrees, lonlat, rng
from PIL import ExifTags, Image, ImageDraw
from shapely.geometry import LineString, Point, Polygon, mapping
from shapely.geometry.base import BaseGeometry

GEOJSON_FIELDS = ("id", "kind", "time", "who", "radius_m", "height_m", "note")
CSV_FIELDS = ("id", "lon", "lat", "kind", "time", "who", "radius_m", "height_m", "note")
Farm = Mapping[str, Polygon]
Find = dict[str, str]


def write_all(folder: Path, farm: list[Field]) -> None:
    """The files of finds."""
    folder.mkdir(parents=True, exist_ok=True)
    shapes = {one.plan.field_id: one.shape for one in farm}
    with (Path(__file__).parent / "found_list.csv").open(encoding="utf-8", newline="") as page:
        finds = list(csv.DictReader(page))
    _write_geojson(folder / "after_flood.geojson", _spots(finds, "after_flood", shapes), shapes)
    _write_csv(folder / "ridge_walk.csv", _spots(finds, "ridge_walk", shapes))
    _write_gpx(folder / "phone.gpx", _spots(finds, "phone", shapes))
    _write_kml(folder / "levee_office.kml", shapes["S3"])
    _write_photo(folder / "twine on the headland.jpg", shapes["S2"])


def _spots(finds: list[Find], file: str, farm: Farm) -> Iterator[tuple[Find, Point]]:
    """A place for each find of one file: by chance in its field, near what it names."""
    dice = rng(file)
    for find in (one for one in finds if one["file"] == file):
        room = farm[find["field_id"]].buffer(-14)
        if find["near_x"]:
            near = Point(float(find["near_x"]), float(find["near_y"]))
            room = room.intersection(near.buffer(float(find["reach_m"])))
        if room.is_empty:
            raise ValueError(f"found_list.csv {find['id']}: no such place in {find['field_id']}")
        west, south, east, north = room.bounds
        while True:
            spot = Point(dice.uniform(west, east), dice.uniform(south, north))
            if room.contains(spot):
                break
        yield find, spot


def _moment(find: Find) -> str:
    return f"2026-{find['when'].replace(' ', 'T')}:00{OFFSET}"


def _number(text: str) -> float | None:
    return float(text) if text else None


def _drawn(find: Find, spot: Point) -> BaseGeometry:
    """A point, a loose run of wire, or the rounded edge of a sheet of silt."""
    dice = rng(f"drawn {find['id']}")
    here = np.array([spot.x, spot.y])
    if find["drawn"] == "line":
        steps = dice.uniform((6, -5), (14, 9), (4, 2)).cumsum(axis=0)
        return LineString(np.vstack([here, here + steps]))
    if find["drawn"] == "area":
        turn = np.linspace(0, 2 * np.pi, 18, endpoint=False)
        reach = 20 + 6 * np.sin(2 * turn + dice.uniform(0, 6)) + dice.uniform(-2, 2, 18)
        return Polygon(here + np.column_stack([1.7 * reach * np.cos(turn), reach * np.sin(turn)]))
    return spot


def _write_geojson(path: Path, placed: Iterator[tuple[Find, Point]], farm: Farm) -> None:
    features = []
    for find, spot in placed:
        told: dict[str, object] = {name: find.get(name) for name in GEOJSON_FIELDS}
        told["time"] = _moment(find)
        told["radius_m"] = _number(find["radius_m"])
        told["height_m"] = _number(find["height_m"])
        shape = in_degrees(_drawn(find, spot).intersection(farm[find["field_id"]]))
        features.append({"type": "Feature", "properties": told, "geometry": mapping(shape)})
    table = {"type": "FeatureCollection", "name": "after_flood", "features": features}
    text = json.dumps(table, indent=1, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")


def _write_csv(path: Path, placed: Iterator[tuple[Find, Point]]) -> None:
    page = io.StringIO()
    out = csv.DictWriter(page, CSV_FIELDS, lineterminator="\n", extrasaction="ignore")
    out.writeheader()
    for find, spot in placed:
        lon, lat = lonlat(spot.x, spot.y, digits=6)
        out.writerow({**find, "lon": f"{lon:.6f}", "lat": f"{lat:.6f}", "time": _moment(find)})
    path.write_text(page.getvalue(), encoding="utf-8", newline="\n")


def _write_gpx(path: Path, placed: Iterator[tuple[Find, Point]]) -> None:
    """Waypoints; the type is a kind or the finder's own words. A phone writes UTC."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx version="1.1" creator="{INVENTED}" xmlns="http://www.topografix.com/GPX/1/1">',
    ]
    for find, spot in placed:
        lon, lat = lonlat(spot.x, spot.y, digits=6)
        moment = np.datetime64(_moment(find).removesuffix(OFFSET)) + np.timedelta64(5, "h")
        lines += [
            f'  <wpt lat="{lat:.6f}" lon="{lon:.6f}">',
            f"    <time>{moment}Z</time>",
            f"    <name>{escape(find['id'])}</name>",
            f"    <desc>{escape(find['note'])}</desc>",
            f"    <type>{escape(find['kind'])}</type>",
            "  </wpt>",
        ]
    path.write_text("\n".join([*lines, "</gpx>", ""]), encoding="utf-8", newline="\n")


def _write_kml(path: Path, ground: Polygon) -> None:
    """A line and an outline drawn on a screen, as a map program saves them."""
    west, south, _, north = ground.bounds
    fence = LineString(
        [(west + 60, south + 90), (west + 150, south + 130), (west + 170, south + 210)]
    )
    wash = Polygon(
        [(west + 250, north - 250), (west + 300, north - 235), (west + 290, north - 200)]
    )
    marks = (
        ("L1", "fence wire", "old fence, the flood laid it down", fence),
        ("L2", "washout", "bank gone beside the culvert", wash),
    )
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document><name>{INVENTED}</name>',
    ]
    for name, kind, note, shape in marks:
        there = in_degrees(shape.intersection(ground))
        rim = there.exterior if isinstance(there, Polygon) else there
        places = " ".join(f"{lon:.7f},{lat:.7f}" for lon, lat in rim.coords)
        drawn = f"<coordinates>{places}</coordinates>"
        if isinstance(there, Polygon):
            ring = f"<LinearRing>{drawn}</LinearRing>"
            held = f"<Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>"
        else:
            held = f"<LineString>{drawn}</LineString>"
        told = "".join(
            f'<Data name="{key}"><value>{escape(value)}</value></Data>'
            for key, value in (("kind", kind), ("who", "Ines"))
        )
        lines += [
            f"<Placemark><name>{name}</name><description>{escape(note)}</description>",
            "<TimeStamp><when>2026-06-05T15:00:00Z</when></TimeStamp>",
            f"<ExtendedData>{told}</ExtendedData>{held}</Placemark>",
        ]
    path.write_text("\n".join([*lines, "</Document></kml>", ""]), encoding="utf-8", newline="\n")


def _write_photo(path: Path, ground: Polygon) -> None:
    """A drawn picture with the tags a phone writes: place, how well it knew it, time, direction."""
    spot = ground.representative_point()
    lon, lat = lonlat(spot.x, spot.y, digits=6)
    picture = Image.new("RGB", (640, 480), (158, 169, 110))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((0, 0, 640, 170), fill=(196, 208, 214))
    dice = rng("photo")
    knots = [(40 + 70 * step, 330 + float(dice.uniform(-60, 60))) for step in range(9)]
    draw.line(knots, fill=(214, 92, 40), width=9, joint="curve")
    draw.text((16, 448), "invented picture", fill=(40, 40, 30))
    tags = Image.Exif()
    tags[ExifTags.Base.ImageDescription] = "baler twine (invented)"
    tags[ExifTags.Base.Artist] = "Tobias"
    clock = tags.get_ifd(ExifTags.IFD.Exif)
    clock[ExifTags.Base.DateTimeOriginal] = "2026:06:02 10:05:00"
    clock[ExifTags.Base.OffsetTimeOriginal] = OFFSET
    place = tags.get_ifd(ExifTags.IFD.GPSInfo)
    place[ExifTags.GPS.GPSLatitudeRef] = "N" if lat >= 0 else "S"
    place[ExifTags.GPS.GPSLatitude] = _sexagesimal(lat)
    place[ExifTags.GPS.GPSLongitudeRef] = "E" if lon >= 0 else "W"
    place[ExifTags.GPS.GPSLongitude] = _sexagesimal(lon)
    place[ExifTags.GPS.GPSHPositioningError] = 4.0
    place[ExifTags.GPS.GPSImgDirectionRef] = "T"
    place[ExifTags.GPS.GPSImgDirection] = 130.0
    picture.save(path, quality=60, exif=tags)


def _sexagesimal(degrees: float) -> tuple[float, float, float]:
    whole, rest = divmod(abs(degrees) * 60.0, 60.0)
    return whole, float(int(rest)), round((rest - int(rest)) * 60.0, 3)
