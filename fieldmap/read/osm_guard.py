"""What must hold of a road file before any parser sees it."""

from __future__ import annotations

import gzip
import zlib
from pathlib import Path

from fieldmap.errors import Fault, InputError
from fieldmap.read.paths import plain_file

SUFFIXES = (".osm.pbf", ".osm.gz", ".osm", ".graphml")
UNPACKED_MOST = 200 * 1024 * 1024
RATIO_MOST = 100
_CHUNK = 1 << 20
_FORBIDDEN = (b"<!DOCTYPE", b"<!ENTITY", b"<VRTDATASET", b"<OGRVRTDATASOURCE")
_DELETED = (b"ACTION='DELETE'", b'ACTION="DELETE"')
_OVERLAP = max(len(word) for word in (*_FORBIDDEN, *_DELETED)) - 1


def guarded(path: str | Path) -> Path:
    """The path, once it is known to be a plain road file that may be parsed.

    Parameters
    ----------
    path : str or Path
        A file ending in ``.osm.pbf``, ``.osm``, ``.osm.gz`` or ``.graphml``.

    Raises
    ------
    InputError
        An address or a virtual path, not a file, another ending, a document type or entity
        in XML, things an editor marked as deleted, or an archive that unpacks past 200 MB or
        100:1.
    """
    file = plain_file(path, suffixes=SUFFIXES, what="the road file")
    if not file.name.lower().endswith(".pbf"):
        _scan_xml(file)
    return file


def _scan_xml(file: Path) -> None:
    packed = file.name.lower().endswith(".gz")
    most = min(UNPACKED_MOST, RATIO_MOST * max(file.stat().st_size, 1)) if packed else None
    seen = 0
    tail = b""
    try:
        with gzip.open(file) if packed else file.open("rb") as stream:
            while chunk := stream.read(_CHUNK):
                seen += len(chunk)
                if most is not None and seen > most:
                    raise _refused(
                        "an archive that unpacks too far",
                        f"over {most} bytes",
                        "it could fill the memory",
                        "unpack it by hand and look",
                        file.name,
                    )
                tail = _look(tail + chunk, file)
    except (gzip.BadGzipFile, EOFError, zlib.error) as error:
        raise _refused(
            "a broken archive",
            str(error),
            "part of the roads would be missing",
            "fetch the file again",
            file.name,
        ) from None


def _look(data: bytes, file: Path) -> bytes:
    if b"\x00" in data:
        raise _refused(
            "XML that is not UTF-8",
            "zero bytes",
            "it cannot be looked through",
            "save it as UTF-8",
            file.name,
        )
    upper = data.upper()
    for word in _FORBIDDEN:
        if word in upper:
            raise _refused(
                "a document type, entity or virtual file in XML",
                word.decode(),
                "it could make the reader open other files",
                "save the file without it",
                file.name,
            )
    if any(word in upper for word in _DELETED):
        raise _refused(
            "things marked as deleted by an editor",
            "action='delete'",
            "a road that is no more would be driven",
            "save the file after they are purged, or fetch it again",
            file.name,
        )
    return data[-_OVERLAP:]


def _refused(what: str, value: str, why: str, mend: str, where: str) -> InputError:
    return InputError(Fault(what, value, why, mend, where=where))
