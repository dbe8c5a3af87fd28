"""Which places of a GPX file this tool planned: they are no finds of anybody.

A pick-up list, a planned search or a planned move may come back from the device it was loaded
into, perhaps written anew by another program that kept some of the elements and dropped others.
So every planned place says so twice: in ``src``, which names the source of the data, and at the
end of its description.
"""

from __future__ import annotations

from xml.etree.ElementTree import Element

from fieldmap.read.paths import local_name

#: What stands in ``src`` and at the end of the description of every planned place.
PLANNED = "Planned by fieldmap; no find."
CREATOR = "fieldmap"
_TOLD_IN = ("src", "desc", "cmt")


def planned(element: Element) -> bool:
    """Whether a waypoint or route says of itself that it was planned.

    Examples
    --------
    >>> from xml.etree.ElementTree import fromstring
    >>> planned(fromstring(f"<wpt><name>start</name><desc>Gate G1. {PLANNED}</desc></wpt>"))
    True
    >>> planned(fromstring("<wpt><name>start</name></wpt>"))
    False
    """
    said = ("".join(child.itertext()) for child in element if local_name(child) in _TOLD_IN)
    return any(PLANNED in words for words in said)


def all_planned(root: Element) -> bool:
    """Whether a whole file is a plan of this tool: it names the tool, and holds nothing logged.

    An export of the log names the tool too; what it holds carries the log's own elements, which
    a plan has none of.
    """
    logged = any(str(one.tag).startswith("{urn:fieldmap:log:") for one in root.iter())
    return root.get("creator") == CREATOR and not logged
