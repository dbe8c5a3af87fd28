"""File names made from people's own words."""

from __future__ import annotations

import hashlib
import re


def page_name(words: str) -> str:
    """A file name that any disk takes; words that had to be changed get a digest, so none clash.

    Examples
    --------
    >>> page_name("S1")
    'S1'
    >>> page_name("../up") == page_name("--up")
    False
    >>> page_name("CON").startswith("CON-")
    True
    """
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", words).strip("-")[:60]
    reserved = re.fullmatch(r"(?i)con|prn|aux|nul|com\d|lpt\d|index", plain)
    if plain == words and not reserved:
        return plain
    digest = hashlib.sha256(words.encode()).hexdigest()[:6]
    return f"{plain or 'x'}-{digest}"
