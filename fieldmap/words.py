"""People's own words made comparable."""

from __future__ import annotations

import re


def plain_words(text: str) -> str:
    """Lower case, one space between words, no signs: what two spellings have in common.

    Examples
    --------
    >>> plain_words("Loose_Wire,  by the gate!")
    'loose wire by the gate'
    >>> plain_words("")
    ''
    """
    return " ".join(re.sub(r"[_\W]+", " ", text.lower()).split())
