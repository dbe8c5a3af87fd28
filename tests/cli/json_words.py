"""The few words that the JSON Schemas of the commands are written in."""

from __future__ import annotations

from typing import Any

Schema = dict[str, Any]
LEVELS = ["ok", "care", "unknown", "stop"]
BASES = ["measured", "mapped", "assumed"]


def of(kind: str, meaning: str, *, maybe: bool = False, **more: Any) -> Schema:
    """A value of one type; ``maybe`` where it can be null."""
    if maybe and "enum" in more:
        more["enum"] = [*more["enum"], None]
    return {"type": [kind, "null"] if maybe else kind, "description": meaning, **more}


def text(meaning: str, *, maybe: bool = False, **more: Any) -> Schema:
    return of("string", meaning, maybe=maybe, **more)


def number(meaning: str, *, maybe: bool = False, **more: Any) -> Schema:
    return of("number", meaning, maybe=maybe, **more)


def whole(meaning: str, *, maybe: bool = False, **more: Any) -> Schema:
    return of("integer", meaning, maybe=maybe, minimum=0, **more)


def level(meaning: str) -> Schema:
    return text(meaning, enum=LEVELS)


def parts(meaning: str, properties: dict[str, Schema], *, optional: tuple[str, ...] = ()) -> Schema:
    """An object with exactly these properties."""
    required = [name for name in properties if name not in optional]
    return of(
        "object", meaning, properties=properties, required=required, additionalProperties=False
    )


def each(meaning: str, items: Schema) -> Schema:
    return of("array", meaning, items=items)


def named(meaning: str, values: Schema) -> Schema:
    """An object whose keys are names of the person's own."""
    return of("object", meaning, additionalProperties=values)


def collection(meaning: str, properties: dict[str, Schema], kinds: list[str]) -> Schema:
    """A GeoJSON FeatureCollection in WGS 84; only the properties are ours."""
    shape = {
        "type": "object",
        "required": ["type"],
        "properties": {"type": {"enum": kinds}, "coordinates": {"type": "array"}},
    }
    one = parts(
        "",
        {
            "type": {"const": "Feature"},
            "properties": parts("", properties),
            "geometry": shape,
        },
    )
    held = parts(
        meaning,
        {"type": {"const": "FeatureCollection"}, "features": {"type": "array", "items": one}},
    )
    return held | {"x-geojson": properties}


SHAPES = ["Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon"]
