"""What stands on a page's map and, row by row, in the tables beside it.

An item is a feature with a short id of its own (``h1``, ``z2``), so that no person's text
ever names an element, and with the lines its map note and its table row show.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from fieldmap.units import System, shown
from fieldmap.write.page_findings import said

Item = dict[str, Any]
Collection = Mapping[str, Any]
Describe = Callable[[Mapping[str, Any], str, System], Item]

#: More outlines than this are painted on a canvas and get no name of their own on the map.
MANY = 400
#: From this length on a leg is said in kilometres or miles (m).
LONG_WAY_M = 300.0


def items(collection: Collection, prefix: str, units: System, describe: Describe) -> list[Item]:
    """The items of a feature collection, numbered from 1 in its order.

    Parameters
    ----------
    collection : GeoJSON FeatureCollection, WGS 84
    prefix : str
        One letter; with the number it makes the item's id.
    units : {"us", "metric"}
    describe : callable
        From properties, the number as text, and units to ``title``, ``lines`` and the rest.
    """
    made = []
    for number, feature in enumerate(collection["features"], start=1):
        held = describe(feature["properties"], str(number), units)
        geometry = feature.get("geometry")
        lines = [[name, text] for name, text in held.pop("lines") if text]
        made.append({"id": f"{prefix}{number}", "geometry": geometry, "lines": lines, **held})
    return made


def field_item(props: Mapping[str, Any], number: str, units: System) -> Item:
    """A field of the farm: one row of the index."""
    del number
    area = shown(props["area_ha"], "ha", units)
    return {
        **said(props["level"]),
        "n": "",
        "title": str(props["name"] or props["field_id"]),
        "crop": str(props["crop"] or "crop not given"),
        "area": area,
        "hazards": props["hazards"],
        "steepest": _steepest(props, units),
        "reason": props["reason"],
        "page": inside(props["page"]),
        "sheet": inside(props.get("sheet", "")),
        "lines": [
            ("Crop", props["crop"]),
            ("Area", area),
            ("Why", props["reason"]),
            ("Hazards logged", str(props["hazards"])),
        ],
    }


def _steepest(props: Mapping[str, Any], units: System) -> str:
    """The steepest ground; where part of the field is unknown it is at least that."""
    words = shown(props["slope_max_pct"], "%", units)
    known = props["slope_known_share"] >= 1 or props["slope_max_pct"] is None
    return words if known else f"{words} or more"


def zone_item(props: Mapping[str, Any], number: str, units: System) -> Item:
    """A piece of ground with one thing to do about it."""
    del number
    area = shown(props["area_ha"], "ha", units)
    return {
        **said(props["level"]),
        "n": "",
        "title": props["action"],
        "area": area,
        "reason": props["reason"],
        "cause": props["cause"],
        "lines": [("Why", props["reason"]), ("Cause", props["cause"]), ("Area", area)],
    }


def hazard_item(props: Mapping[str, Any], number: str, units: System) -> Item:
    """A thing that somebody logged."""
    radius = props["radius_m"]
    place = "" if radius is None else f"within {shown(radius, 'm', units)}"
    step = props.get("step_m")
    since = props.get("since", "")
    heading = props.get("heading_deg")
    where = f"{props['lat']:.6f}, {props['lon']:.6f}" if props.get("lat") is not None else ""
    return {
        **said(props["level"]),
        "n": number,
        "title": str(props["label"] or props["kind"]),
        "mark": str(props.get("hazard_id") or ""),
        "note": props["note"],
        "who": props["who"],
        "time": props["time"],
        "call": props["call"],
        "action": props["action"],
        "place": place,
        "radius_m": radius,
        "group": props.get("group", ""),
        "step": "" if step is None else way_length(step, units),
        "where": where,
        "since": since,
        "photo": props.get("photo", ""),
        "looking": "" if heading is None else f"taken looking {heading:.0f} deg from true north",
        "lines": [
            ("Do", props["action"]),
            ("Note", props["note"]),
            ("Seen by", ", ".join(filter(None, (props["who"], props["time"])))),
            ("Since then", since),
            ("Mark", str(props.get("hazard_id") or "")),
            ("Call", props["call"]),
            ("North, east", where),
            ("Place known", place),
        ],
    }


def gate_item(props: Mapping[str, Any], number: str, units: System) -> Item:
    """A way into the field; a width nobody measured is unknown."""
    width = shown(props["width_m"], "m", units)
    return {
        **said("ok" if props["width_m"] is not None else "unknown"),
        "n": f"G{number}",
        "title": f"Gate {props['gate_id']}",
        "width": width,
        "lines": [("Width", width)],
    }


def leg_item(props: Mapping[str, Any], number: str, units: System) -> Item:
    """A leg of a road move with what was checked on it, the worst check first."""
    del number
    length = way_length(props["length_m"], units)
    return {
        **said(props["level"]),
        "n": str(props["n"]),
        "title": str(props["name"] or "road without a name"),
        "way": str(props["way_id"]),
        "length": length,
        "what": props["what"],
        "lines": [("Do", props["what"]), ("Length", length)],
    }


def survey_item(place: Mapping[str, Any], number: str, units: System) -> Item:
    """A place where one measurement would settle what is unknown."""
    figure = place["must_beat"]
    beat = "an answer, no figure" if figure is None else shown(figure, place["unit"], units)
    if figure is not None and units == "us":
        beat += f" ({figure:.2f} m)" if place["unit"] == "m" else f" ({figure:.0f} kg)"
    return {
        **said("unknown"),
        "n": f"M{number}",
        "title": place["place"],
        "where": place["where"],
        "measure": place["measure"],
        "beat": beat,
        "wanted": "an answer is wanted" if figure is None else f"must beat {beat}",
        "why": place["why"],
        "lines": [
            ("Where", place["where"]),
            ("Measure", place["measure"]),
            ("Must beat", beat),
            ("Why", place["why"]),
        ],
    }


def ground_item(props: Mapping[str, Any], number: str, units: System) -> Item:
    """A line or outline that is only there to find one's way by."""
    del units
    return {**said("ok"), "n": number, "title": str(props.get("name") or ""), "lines": []}


def points(places: list[Mapping[str, Any]]) -> dict[str, Any]:
    """Places with ``lon`` and ``lat`` as a feature collection; one without stays placeless."""
    return {
        "features": [
            {
                "properties": place,
                "geometry": None
                if place["lon"] is None or place["lat"] is None
                else {"type": "Point", "coordinates": [place["lon"], place["lat"]]},
            }
            for place in places
        ]
    }


def group(
    key: str,
    name: str,
    draw: str,
    held: list[Item],
    *,
    home: bool = False,
    ticked: bool = True,
) -> Item:
    """One layer of the map that can be shown or hidden.

    Parameters
    ----------
    key, name : str
        Its id and what the reader calls it.
    draw : str
        How: ``area``, ``outline``, ``mark``, ``survey``, ``gate``, ``leg``, ``direct``,
        ``track``, ``road``; of the lie of a field ``headland``, ``drop``, ``run``, ``first``;
        on a search ``plot``, ``ground``, ``keep``, ``walk``, ``start``.
    held : list of items
    home : bool
        Whether the first view must show it.
    ticked : bool
        Whether it is drawn from the start; else a reader ticks it.
    """
    made = {"key": key, "name": name, "draw": draw, "items": held}
    return made | {"home": home, "ticked": ticked}


def drawn(made: Item) -> Item:
    """A group as the map's JSON block carries it: what has a place, and no more than is shown."""
    told = ("id", "n", "level", "word", "title", "lines", "geometry", "radius_m")
    keep = (*told, "walker", "several", "sketch", "spacing_m", "sketch_m", "crest")
    placed = [item for item in made["items"] if item["geometry"]]
    return {**made, "items": [{key: item[key] for key in keep if key in item} for item in placed]}


def way_length(length_m: float | None, units: System) -> str:
    """Short ways in metres or feet, longer ones in kilometres or miles."""
    if length_m is None or length_m < LONG_WAY_M:
        return shown(length_m, "m", units)
    return shown(length_m / 1000.0, "km", units)


def inside(page: str) -> str:
    """A page's address when it is one of ours: relative, and no scheme in front."""
    return "" if ":" in page or page.startswith("/") else page
