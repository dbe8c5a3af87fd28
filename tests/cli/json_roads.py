"""JSON Schema of what fetching roads prints."""

from __future__ import annotations

from json_words import Schema, each, number, parts, text, whole

ROADS: dict[str, Schema] = {
    "roads": parts(
        "",
        {
            "file": text("the file that was written", minLength=1),
            "line": text("the line to put under `[files]` in `farm.toml`", pattern="^roads = "),
            "service": text("host that was asked"),
            "area_km2": number("square kilometres asked for"),
            "ways": whole("roads in it"),
            "legs": whole("pieces they are cut into"),
            "lacks": each("what such a file does not hold; it is unknown on every move", text("")),
            "credit": text("whose data it is, and its licence"),
        },
    )
}
