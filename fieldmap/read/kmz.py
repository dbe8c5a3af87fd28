"""KMZ: the one KML file inside a zip archive, read in memory and never unpacked to the disk."""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from pathlib import Path

from fieldmap.errors import Fault, InputError

UNPACKED_MOST = 200 * 1024 * 1024
RATIO_MOST = 100
_MAIN = "doc.kml"
_CLIMBS = re.compile(r"(^|[/\\])\.\.([/\\]|$)|^[/\\]|^[a-zA-Z]:|\x00")
_ENCRYPTED = 1
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)


def kml_in(path: Path) -> io.BytesIO:
    """The archive's ``doc.kml``, or the only KML file in it.

    Raises
    ------
    InputError
        Not an archive, one that unpacks past 200 MB or 100:1, a name that leads out of it, or no
        or several KML files.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            members = [one for one in archive.infolist() if not one.is_dir()]
            _refuse(members, path)
            member = _main(members, path)
            return io.BytesIO(archive.read(member))
    except (zipfile.BadZipFile, NotImplementedError, zlib.error, EOFError, OSError) as error:
        raise _refused("a broken archive", str(error), "export it again", path) from None


def _refuse(members: list[zipfile.ZipInfo], path: Path) -> None:
    size = sum(one.file_size for one in members)
    packed = max(path.stat().st_size, 1)
    if size > UNPACKED_MOST or size > RATIO_MOST * packed:
        raise _refused(
            "an archive that unpacks too far",
            f"{size} bytes out of {packed}",
            "unpack it by hand and look",
            path,
        )
    climbing = [one.orig_filename for one in members if _CLIMBS.search(one.orig_filename)]
    if climbing:
        raise _refused(
            "an archive with a name that leads out of it",
            climbing[0][:80],
            "export it again from the program it came from",
            path,
        )


def _main(members: list[zipfile.ZipInfo], path: Path) -> zipfile.ZipInfo:
    inside = [one for one in members if one.filename.lower().endswith(".kml")]
    named = [one for one in inside if one.filename.lower() == _MAIN] or inside
    if len(named) != 1:
        raise _refused(
            "an archive with several KML files" if named else "an archive without a KML file",
            ", ".join(one.filename for one in named[:5]) or "none",
            "export it again, with one KML file in it",
            path,
        )
    if named[0].flag_bits & _ENCRYPTED:
        raise _refused("an archive with a password", named[0].filename, "save it without", path)
    if named[0].compress_type not in _METHODS:
        raise _refused(
            "an archive packed in a way that is not read",
            f"method {named[0].compress_type}",
            "pack it as a plain zip",
            path,
        )
    return named[0]


def _refused(what: str, value: str, mend: str, path: Path) -> InputError:
    return InputError(Fault(what, value, "nothing of it was taken", mend, where=str(path)))
