"""A photo with its position as one find, and a small picture of it with nothing hidden inside."""

from __future__ import annotations

import io
import struct
import warnings
from pathlib import Path
from typing import Any

import shapely
from PIL import Image, ImageOps, UnidentifiedImageError

from fieldmap.errors import Fault, InputError
from fieldmap.read.exif import (
    ExifError,
    Gps,
    exif_gps,
    exif_texts,
    exif_time,
    spoken_stem,
)
from fieldmap.read.found import Found, from_rows

SUFFIXES = (".jpg", ".jpeg", ".tif", ".tiff", ".png")
_FORMATS = ("JPEG", "TIFF", "PNG")
_OTHERS = (".heic", ".heif", ".avif", ".webp", ".dng", ".raw")
_MOST_PIXELS = 50_000_000
_SIDE_PX = 320
_QUALITY = 70
_BROKEN = (OSError, ValueError, SyntaxError, KeyError, TypeError, IndexError, OverflowError,
           struct.error, EOFError, ZeroDivisionError, AttributeError)  # fmt: skip


class UnplacedError(InputError):
    """A photo that is whole, and of which nobody can tell where it was taken."""


def refuse_other_pictures(name: str | Path) -> None:
    """Say how to mend a picture of a kind that is not read.

    Raises
    ------
    InputError
        HEIC, HEIF, AVIF, WebP or a raw picture.
    """
    path = Path(name)
    if path.suffix.lower() in _OTHERS:
        raise InputError(
            Fault(
                "a kind of picture that is not read",
                path.name,
                "its position cannot be taken from it",
                "export it as JPEG with its place kept in it",
                where=str(name),
            )
        )


def read_photo(path: Path) -> Found:
    """One find: where the photo was taken, when, which way, its words and a small picture.

    Raises
    ------
    InputError
        Over 50 million pixels, broken or cut short, without a position, with half of one, or
        with one in another datum; the last three as :class:`UnplacedError`.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library's remarks; what matters is checked here
        with _opened(path) as picture:
            gps, row, notes = _facts(picture, path)
            row["photo"] = _small(picture, path)
    row |= {
        "geometry": shapely.Point(gps.lon, gps.lat),
        "heading_deg": gps.heading_deg,
        "accuracy_m": gps.error_m,
        "place": path.name,
    }
    return from_rows([row], path, faults=[], notes=[f"{path.name}: {note}" for note in notes])


def _opened(path: Path) -> Image.Image:
    try:
        picture = Image.open(path, formats=_FORMATS)
    except Image.DecompressionBombError:
        raise _refused(path, "a picture that is too large", f"over {_MOST_PIXELS} pixels",
                       "save a smaller copy, with its place kept in it") from None  # fmt: skip
    except (UnidentifiedImageError, *_BROKEN) as error:
        raise _broken(path, error) from None
    width, height = picture.size
    if width * height > _MOST_PIXELS:
        picture.close()
        raise _refused(
            path,
            "a picture that is too large",
            f"{width} x {height} pixels",
            "save a smaller copy, with its place kept in it",
        )
    return picture


def _facts(picture: Image.Image, path: Path) -> tuple[Gps, dict[str, Any], list[str]]:
    """Position, words and time as far as they are known, and what to tell of them."""
    try:
        exif = picture.getexif()
        gps = exif_gps(exif)
        texts = exif_texts(exif)
        moment, remarks = exif_time(exif)
    except ExifError as error:
        raise UnplacedError(_refused(path, error.what, error.seen, error.mend).faults) from None
    except _BROKEN as error:
        raise _broken(path, error) from None
    words = " - ".join(dict.fromkeys([*texts, *spoken_stem(path.stem)]))
    return gps, {"kind": words, "time": moment}, [*gps.remarks, *remarks]


def _small(picture: Image.Image, path: Path) -> bytes:
    """JPEG bytes, longest side at most 320 px, upright, with no EXIF, profile or comment."""
    try:
        picture.thumbnail((_SIDE_PX, _SIDE_PX))
        upright = ImageOps.exif_transpose(picture).convert("RGB")
    except Image.DecompressionBombError as error:
        raise _broken(path, error) from None
    except _BROKEN as error:
        raise _broken(path, error) from None
    clean = Image.new("RGB", upright.size)  # pixels alone: nothing that came with them
    clean.paste(upright)
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return out.getvalue()


def _broken(path: Path, error: Exception) -> InputError:
    return _refused(
        path,
        "a picture that is broken or cut short",
        str(error).splitlines()[0][:160] if str(error) else type(error).__name__,
        "copy it from the camera again",
    )


def _refused(path: Path, what: str, seen: str, mend: str) -> InputError:
    return InputError(
        Fault(what, seen, "a find without a place cannot be mapped", mend, where=str(path))
    )
