"""Hazard words, moments and shapes as the exported formats can hold them."""

from __future__ import annotations

import re
from collections.abc import Iterable

import pandas as pd
import shapely
from shapely.geometry.polygon import orient

INSTEAD = "\ufffd"
#: A zero character ends a text in many programs; half a surrogate pair is no character.
BARRED = re.compile("[\x00\ud800-\udfff]")
#: XML 1.0 (fifth edition), section 2.2: characters that no document may hold, escaped or not.
BARRED_IN_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")


def holdable(
    table: pd.DataFrame, columns: Iterable[str], barred: re.Pattern[str]
) -> tuple[pd.DataFrame, int]:
    r"""The table with barred characters replaced, and how many texts that changed.

    Examples
    --------
    >>> held, changed = holdable(pd.DataFrame({"note": ["bell\x07", "plain"]}), ["note"],
    ...                          BARRED_IN_XML)
    >>> ascii(held["note"][0]), changed
    ("'bell\\ufffd'", 1)
    """
    out, changed = table.copy(), 0
    for name in columns:
        words = [barred.sub(INSTEAD, text) for text in table[name]]
        changed += sum(new != old for new, old in zip(words, table[name], strict=True))
        out[name] = pd.Series(words, index=table.index, dtype=object)
    return out, changed


def moment_text(moment: pd.Timestamp) -> str | None:
    """A moment in UTC as ISO 8601 with Z; ``None`` when it is not known.

    Examples
    --------
    >>> moment_text(pd.Timestamp("2026-06-01T09:30:00+02:00")), moment_text(pd.NaT)
    ('2026-06-01T07:30:00Z', None)
    """
    if pd.isna(moment):
        return None
    return pd.Timestamp(moment).tz_convert("UTC").isoformat().replace("+00:00", "Z")


def right_handed(shape: shapely.Geometry) -> shapely.Geometry:
    """The same shape with outer rings anticlockwise and holes clockwise.

    Examples
    --------
    >>> right_handed(shapely.Polygon([(0, 0), (0, 1), (1, 0)])).exterior.is_ccw
    True
    """
    if isinstance(shape, shapely.Polygon):
        return orient(shape)
    if hasattr(shape, "geoms"):
        return type(shape)([right_handed(part) for part in shape.geoms])
    return shape
