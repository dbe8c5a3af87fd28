"""The gate every input passes: a plain local file that is what its name says."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import IO
from xml.etree.ElementTree import Element, ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import iterparse, parse

from fieldmap.errors import Fault, InputError

_URL = re.compile(r"^[a-zA-Z][a-zA-Z0-9+.-]+:[/\\]|^[/\\]vsi", re.ASCII)
_VRT = re.compile(rb"<(OGR)?VRTData(set|source)", re.IGNORECASE)
_HEAD_BYTES = 65_536
_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
#: How a file of each kind begins (after a byte order mark and blanks, for text).
_BEGINS = {
    ".tif": _TIFF,
    ".tiff": _TIFF,
    ".gpkg": (b"SQLite format 3\0",),
    ".shp": (b"\0\0\x27\x0a",),
    ".geojson": (b"{",),
    ".json": (b"{",),
    ".gpx": (b"<",),
    ".kml": (b"<",),
    ".kmz": (b"PK\3\4",),
    ".jpg": (b"\xff\xd8\xff",),
    ".jpeg": (b"\xff\xd8\xff",),
    ".png": (b"\x89PNG",),
}
_NO_XML = (DefusedXmlException, ParseError, LookupError, ValueError)
_BLANKS = b"\xef\xbb\xbf \t\r\n"


def plain_file(name: str | Path, *, suffixes: Iterable[str], what: str) -> Path:
    """The path of an input, refused when it is not a plain file of a known kind.

    Parameters
    ----------
    name : str or Path
        As the user gave it.
    suffixes : iterable of str
        Endings this reader takes, lower case with the dot.
    what : str
        What is being read, for the words of an error.

    Raises
    ------
    InputError
        An address, a virtual file, a missing file or another ending.
    """
    text = str(name)
    taken = tuple(suffixes)
    if is_address(text):
        raise InputError(
            Fault(
                f"{what}: an address, not a file",
                text,
                "fieldmap reads local files only",
                "download it and give the file's name",
            )
        )
    path = Path(name)
    if not _is_file(path):
        raise InputError(
            Fault(
                f"{what}: no such file",
                "a folder" if path.is_dir() else "nothing of this name",
                "there is nothing to read",
                "correct the name",
                where=text,
            )
        )
    if not path.name.lower().endswith(taken):
        raise InputError(
            Fault(
                f"{what}: a kind of file that is not read",
                path.name,
                "it might be read wrongly",
                f"give one of {', '.join(taken)}",
                where=text,
            )
        )
    head = _head(path)
    if _VRT.search(head):
        raise InputError(
            Fault(
                f"{what}: a file that only points to others",
                path.name,
                "what stands behind it can change unseen",
                "give the file itself",
                where=text,
            )
        )
    begins = _BEGINS.get(path.suffix.lower())
    if begins is not None and not head.lstrip(_BLANKS).startswith(begins):
        raise InputError(
            Fault(
                f"{what}: not what the file's name says",
                "an empty file" if not head else f"begins with {head[:8]!r}",
                "it might be read wrongly, or not at all",
                f"export it again as {path.suffix.lower()}",
                where=text,
            )
        )
    return path


def is_address(name: str) -> bool:
    """Whether a name is an address or a virtual file, not a plain file.

    Examples
    --------
    >>> is_address("https://somewhere/fields.gpkg"), is_address("/vsizip/fields.zip/fields.gpkg")
    (True, True)
    >>> is_address("fields.gpkg:north"), is_address("C:/hay/fields.gpkg")
    (False, False)
    """
    return _URL.match(name) is not None


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name no disk takes
        return False


def refuse_doctype(path: Path) -> None:
    """Refuse an XML file that declares a document type or entities, or is not XML at all.

    Raises
    ------
    InputError
        A declaration was found, or the file cannot be parsed.
    """
    try:
        for _, element in iterparse(path, forbid_dtd=True):
            element.clear()
    except _NO_XML as error:
        raise InputError(_no_xml(error, path)) from None


def xml_root(source: Path | IO[bytes], *, path: Path) -> Element:
    """The root of an XML file (or of what was unpacked of it), with any document type refused.

    Raises
    ------
    InputError
        A declaration was found, or it cannot be parsed.
    """
    try:
        return parse(source, forbid_dtd=True).getroot()
    except _NO_XML as error:
        raise InputError(_no_xml(error, path)) from None


def local_name(element: Element) -> str:
    """An element's name without its namespace.

    Examples
    --------
    >>> local_name(Element("{http://www.opengis.net/kml/2.2}Point"))
    'Point'
    """
    return str(element.tag).rpartition("}")[2]


def _no_xml(error: Exception, path: Path) -> Fault:
    if isinstance(error, DefusedXmlException):
        return Fault(
            "XML with a document type",
            path.name,
            "such a file can pull in others or swell without end",
            "export it again from the program it came from",
            where=str(path),
        )
    return Fault(
        "XML that cannot be parsed",
        str(error),
        "nothing of it was taken",
        "export it again from the device",
        where=str(path),
    )


def _head(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_HEAD_BYTES)
    except OSError as error:
        raise InputError(
            Fault(
                "a file that cannot be opened",
                error.strerror or str(error),
                "there is nothing to read",
                "mend its permissions",
                where=str(path),
            )
        ) from None
