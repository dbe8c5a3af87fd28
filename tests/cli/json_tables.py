"""The README's tables of JSON fields, out of the schemas: run it for the text of the section."""

from __future__ import annotations

import sys
from collections.abc import Iterator

from json_schemas import ENVELOPE, RESULTS, SHARED, Schema


def rows(schema: Schema, before: str = "") -> Iterator[tuple[str, str, str]]:
    """Field, type and meaning of everything in an object; shared objects are only named."""
    for name, held in schema["properties"].items():
        path = f"{before}{name}"
        inner = held["items"] if held.get("type") == "array" else held
        yield path, kind_word(held), held["description"]
        if "x-geojson" in held:
            yield from rows({"properties": held["x-geojson"]}, f"{path}.properties.")
        elif "properties" in inner and shared_name(inner) is None:
            yield from rows(inner, f"{path}[]." if inner is not held else f"{path}.")


def shared_name(schema: Schema) -> str | None:
    found = (
        name for name, held in SHARED.items() if schema.get("description") == held["description"]
    )
    return next(found, None)


def kind_word(schema: Schema) -> str:
    """A type as a person reads it."""
    if "const" in schema:
        return f"`{schema['const']}`"
    if "x-geojson" in schema:
        return "GeoJSON"
    kinds = schema["type"] if isinstance(schema["type"], list) else [schema["type"]]
    if kinds == ["array"]:
        return f"list of {kind_word(schema['items'])}"
    if schema.get("additionalProperties") not in (None, False):
        return f"object of {kind_word(schema['additionalProperties'])}"
    words = {"string": "text", "integer": "whole number", "boolean": "true or false"}
    return " or ".join(shared_name(schema) or words.get(kind, kind) for kind in kinds)


def tables() -> dict[str, list[tuple[str, str, str]]]:
    """The README's tables: heading -> rows of field, type and meaning."""
    found = {"every command": list(rows(ENVELOPE))}
    found |= {f"`fieldmap {command}`": list(rows(held)) for command, held in RESULTS.items()}
    return found | {f"a {name}": list(rows(held)) for name, held in SHARED.items()}


def readme_section() -> str:
    """The README's section on JSON."""
    lines = [
        "## JSON",
        "",
        "`--json` prints one document on stdout, also on failure (not with `--help`). Figures are",
        "SI, places are WGS 84, `null` is unknown. `[]` stands for each member of a list; of",
        "GeoJSON only the properties are listed. `object of` has a person's own names for keys.",
    ]
    for heading, held in tables().items():
        lines += ["", f"### JSON: {heading}", "", "| field | type | meaning |", "|---|---|---|"]
        lines += [f"| `{path}` | {kind} | {meaning} |" for path, kind, meaning in held]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(readme_section())
