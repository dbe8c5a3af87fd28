"""What EXIF says of a photo: where, when, which way, in whose words (CIPA DC-008, from memory)."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

from PIL import Image
from PIL.ExifTags import GPS, IFD, Base

_LON_LAT = (
    ("latitude", GPS.GPSLatitude, GPS.GPSLatitudeRef, "NS", 90.0),
    ("longitude", GPS.GPSLongitude, GPS.GPSLongitudeRef, "EW", 180.0),
)
_BY_HAND = "log it by hand, with its place"
_WGS84 = ("", "WGS84", "WGS1984")
_CHARSET_BYTES = 8
_STAMP = re.compile(r"(\d{4}):(\d\d):(\d\d) (\d\d):(\d\d):(\d\d)(\.\d+)?", re.ASCII)
_DAY = re.compile(r"(\d{4})[:-](\d\d)[:-](\d\d)", re.ASCII)
_OFFSET = re.compile(r"([+-]\d\d:\d\d)|Z", re.ASCII)
#: What cameras put into a file's name by themselves; none of it says what was found.
_CAMERA = frozenset(
    re.findall(
        r"\w+",
        "img imag image dsc dscn dscf dcim pict pic picture photo pxl mvimg pano vid cimg p mg e "
        "screenshot camera cam hdr mp burst cover edit edited copy portrait night t z",
    )
)
_HEX = re.compile(r"(?=.*\d)[0-9a-f]{6,}", re.ASCII)


class ExifError(ValueError):
    """A photo that cannot be a find: what is wrong, what was seen, how to mend it."""

    def __init__(self, what: str, seen: str, mend: str = _BY_HAND) -> None:
        super().__init__(what)
        self.what, self.seen, self.mend = what, seen, mend


class Gps(NamedTuple):
    """Degrees east and north, heading from true north and error in metres (NaN unknown)."""

    lon: float
    lat: float
    heading_deg: float
    error_m: float
    remarks: tuple[str, ...]


def exif_gps(exif: Image.Exif) -> Gps:
    """Where the photo was taken, and which way it looks.

    Raises
    ------
    ExifError
        No position, half of one, one off the earth, one in another datum, or 0, 0, which a
        device writes when it had no fix.
    """
    gps = exif.get_ifd(IFD.GPSInfo)
    if GPS.GPSLatitude not in gps and GPS.GPSLongitude not in gps:
        raise ExifError("a photo without a position", "no GPS place in it")
    lat, lon = (_angle(gps, *axis) for axis in _LON_LAT)
    if lat == 0 and lon == 0:
        raise ExifError("a photo without a fix", "position 0, 0")
    datum = re.sub(r"[^A-Z0-9]", "", _text(gps.get(GPS.GPSMapDatum)).upper())
    if datum not in _WGS84:
        raise ExifError("a photo's position in another datum", _text(gps[GPS.GPSMapDatum]))
    heading_deg, remarks = _heading(gps)
    if _text(gps.get(GPS.GPSStatus)).upper() == "V":
        remarks.append("its GPS had lost its fix; check the place on the map")
    error_m = _number(gps.get(GPS.GPSHPositioningError))
    return Gps(lon, lat, heading_deg, error_m if error_m > 0 else math.nan, tuple(remarks))


def _angle(gps: dict[int, Any], name: str, tag: int, ref_tag: int, refs: str, most: float) -> float:
    held = gps.get(tag)
    parts = [_number(part) for part in held] if isinstance(held, Sequence) else []
    ref = _text(gps.get(ref_tag)).upper()
    if len(parts) != 3 or not all(map(math.isfinite, parts)):
        raise ExifError(f"a photo without its {name}", f"{held}"[:60])
    if ref not in tuple(refs):
        raise ExifError(
            f"a photo whose {name} has no {refs[0]} or {refs[1]}", ref or "nothing beside it"
        )
    degrees = parts[0] + parts[1] / 60 + parts[2] / 3600
    if min(parts) < 0 or max(parts[1:]) >= 60 or degrees > most:
        raise ExifError(f"a photo's {name} that is not on earth", f"{held}"[:60])
    return -degrees if ref == refs[1] else degrees


def _heading(gps: dict[int, Any]) -> tuple[float, list[str]]:
    heading_deg = _number(gps.get(GPS.GPSImgDirection))
    if not math.isfinite(heading_deg):
        return math.nan, []
    ref = _text(gps.get(GPS.GPSImgDirectionRef)).upper()
    if not 0 <= heading_deg <= 360:
        return math.nan, [f"its direction {heading_deg:g} left out: not an angle"]
    if ref == "M":
        return math.nan, [f"its direction {heading_deg:g} left out: from magnetic north"]
    if ref != "T":
        return math.nan, [f"its direction {heading_deg:g} left out: from which north is not said"]
    return heading_deg % 360, []


def exif_time(exif: Image.Exif) -> tuple[datetime | None, list[str]]:
    """When it was taken: by the GPS in UTC, else by the camera's clock; what to tell of it.

    A camera's clock without an offset gives a moment without a zone.
    """
    gps, camera = exif.get_ifd(IFD.GPSInfo), exif.get_ifd(IFD.Exif)
    moment = _gps_time(gps)
    if moment is not None:
        return moment, []
    said = _text(camera.get(Base.DateTimeOriginal))
    found = _STAMP.fullmatch(said)
    if found is None or found[1] == "0000":
        blank = not said.strip(": 0")
        return None, [] if blank else [f"its time left out: '{said[:40]}' cannot be read"]
    offset = _text(camera.get(Base.OffsetTimeOriginal))
    zone = offset.replace("Z", "+00:00") if _OFFSET.fullmatch(offset) else ""
    try:
        return datetime.fromisoformat(
            f"{found[1]}-{found[2]}-{found[3]}T{found[4]}:{found[5]}:{found[6]}{zone}"
        ), []
    except ValueError:
        return None, [f"its time left out: '{said[:40]}' cannot be read"]


def _gps_time(gps: dict[int, Any]) -> datetime | None:
    day = _DAY.fullmatch(_text(gps.get(GPS.GPSDateStamp)))
    held = gps.get(GPS.GPSTimeStamp)
    parts = [_number(part) for part in held] if isinstance(held, Sequence) else []
    if day is None or len(parts) != 3 or not all(map(math.isfinite, parts)):
        return None
    hours, minutes, seconds = parts
    if not (0 <= hours < 24 and 0 <= minutes < 60 and 0 <= seconds < 61):
        return None
    try:
        start = datetime(int(day[1]), int(day[2]), int(day[3]), tzinfo=UTC)
    except ValueError:
        return None
    return start + timedelta(hours=hours, minutes=minutes, seconds=seconds)


def exif_texts(exif: Image.Exif) -> list[str]:
    """The words people gave the photo: title, description, comments; each once."""
    camera = exif.get_ifd(IFD.Exif)
    little = getattr(exif, "endian", "<") != ">"
    texts = [
        _wide(exif.get(Base.XPTitle), little=True),
        _text(exif.get(Base.ImageDescription)),
        _comment(camera.get(Base.UserComment), little=little),
        _wide(exif.get(Base.XPComment), little=True),
    ]
    return list(dict.fromkeys(text for text in texts if text))


def _comment(held: Any, *, little: bool) -> str:
    """A user comment: eight bytes name its character code, the rest is written in it."""
    if not isinstance(held, bytes):
        return _text(held)
    code, rest = held[:_CHARSET_BYTES].rstrip(b"\0 ").upper(), held[_CHARSET_BYTES:]
    if code == b"UNICODE":
        return _wide(rest, little=little)
    if code == b"JIS":
        return _clean(rest.decode("iso2022_jp", "replace"))
    if code not in (b"ASCII", b""):
        rest = held  # written without its code
    return _text(rest)


def _wide(held: Any, *, little: bool) -> str:
    """UTF-16; a mark of its byte order wins, then which half of its characters is zero."""
    if isinstance(held, tuple | list):
        held = bytes(part & 0xFF for part in held)
    if not isinstance(held, bytes):
        return _text(held)
    if held.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _clean(held.decode("utf-16", "replace"))
    low, high = held[1::2].count(0), held[0::2].count(0)
    if low != high:
        little = low > high
    return _clean(held.decode("utf-16-le" if little else "utf-16-be", "replace"))


def _text(held: Any) -> str:
    """Bytes or text as clean text; UTF-8 that was taken for Latin-1 is put right."""
    if isinstance(held, tuple | list) and len(held) == 1:
        held = held[0]
    if isinstance(held, str):
        try:
            held = held.encode("latin-1")
        except UnicodeEncodeError:
            return _clean(held)
    if not isinstance(held, bytes):
        return ""
    try:
        return _clean(held.decode("utf-8"))
    except UnicodeDecodeError:
        return _clean(held.decode("latin-1"))


def _clean(text: str) -> str:
    """Up to the first zero, without signs that cannot be printed."""
    whole = text.partition("\0")[0] if text.strip("\0") else ""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in whole).split())


def _number(held: Any) -> float:
    try:
        return float(held)
    except (TypeError, ValueError, ZeroDivisionError):
        return math.nan


def spoken_stem(stem: str) -> list[str]:
    """A file's name without its ending, when a person gave it; nothing when a camera did.

    Examples
    --------
    >>> [spoken_stem(stem) for stem in ("IMG_1234", "DSC0001", "PXL_20260601_093000123")]
    [[], [], []]
    >>> [spoken_stem(stem) for stem in ("2026-06-01 09.30.00", "6ba7b810-9dad42", "WA0012~2")]
    [[], [], []]
    >>> spoken_stem("old wire by gate 3"), spoken_stem("loose_wire-2")
    (['old wire by gate 3'], ['loose wire 2'])
    """
    pieces = re.findall(r"[A-Za-z0-9]+|[^\W_]+", stem)
    for piece in pieces:
        letters = "".join(sign for sign in piece.lower() if not sign.isdigit())
        named = letters == "" or letters in _CAMERA or _HEX.fullmatch(piece.lower())
        numbered = len(letters) <= 2 and len(piece) - len(letters) >= 4
        if not (named or numbered):
            return [" ".join(re.sub(r"[_\-]+", " ", stem).split())]
    return []
