"""The gate every input passes: a plain local file that is what its name says."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from xml.etree.ElementTree import ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import iterparse

from fieldmap.errors import Fault, InputError

_URL = re.compile(r"^[a-zA-Z][a-zA-Z0-9+.-]+:[/\\]{2}|^[/\\]vsi", re.ASCII)
_VRT = re.compile(rb"<(OGR)?VRTData(set|source)", re.IGNORECASE)
_HEAD_BYTES = 65_536


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
    if _URL.match(text):
        raise InputError(
            Fault(
                f"{what} is an address",
                text,
                "fieldmap reads local files only",
                "download it and give the file's name",
            )
        )
    path = Path(name)
    if not path.is_file():
        raise InputError(
            Fault(
                f"no {what} here",
                text,
                "there is nothing to read",
                "correct the name, or take the line out of farm.toml",
            )
        )
    if not path.name.lower().endswith(taken):
        raise InputError(
            Fault(
                f"{what} of a kind that is not read",
                path.name,
                "it might be read wrongly",
                f"give one of {', '.join(taken)}",
                where=text,
            )
        )
    if _VRT.search(_head(path)):
        raise InputError(
            Fault(
                f"{what} only points to other files",
                path.name,
                "what stands behind it can change unseen",
                "give the file itself",
                where=text,
            )
        )
    return path


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
    except DefusedXmlException:
        raise InputError(
            Fault(
                "XML with a document type",
                path.name,
                "such a file can pull in others or swell without end",
                "export it again from the program it came from",
                where=str(path),
            )
        ) from None
    except ParseError as error:
        raise InputError(
            Fault(
                "XML that cannot be parsed",
                str(error),
                "nothing of it was taken",
                "export it again from the device",
                where=str(path),
            )
        ) from None


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
