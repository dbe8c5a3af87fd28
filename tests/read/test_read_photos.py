"""Photos as finds: the place out of the picture, and nothing hidden in the small one we keep."""

from __future__ import annotations

import io
import math
from fractions import Fraction
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms
from PIL.ExifTags import GPS, IFD, Base

from fieldmap.errors import Fault, InputError
from fieldmap.read.exif import spoken_stem
from fieldmap.read.finds import read_finds
from fieldmap.read.vectors import Layer
from fieldmap.tables import load_tables

TABLES = load_tables()
FACTOR = TABLES.number("looking.accuracy_factor")
PLACE = {
    GPS.GPSLatitudeRef: "N", GPS.GPSLatitude: (40.0, 37.0, 26.5),
    GPS.GPSLongitudeRef: "W", GPS.GPSLongitude: (92.0, 55.0, 54.0),
}  # fmt: skip


def photo(
    path: Path,
    *,
    gps: dict[int, Any] | None = None,
    camera: dict[int, Any] | None = None,
    first: dict[int, Any] | None = None,
    size: tuple[int, int] = (800, 600),
    **options: Any,
) -> Path:
    """A photo made for the test; ``gps`` replaces its place, ``None`` leaves the usual one."""
    exif = Image.Exif()
    for tag, held in (first or {}).items():
        exif[tag] = held
    for group, told in ((IFD.Exif, camera or {}), (IFD.GPSInfo, PLACE if gps is None else gps)):
        exif.get_ifd(group).update(told)
        exif[group] = exif.get_ifd(group)  # the library leaves out a group that is only filled
    rng = np.random.default_rng(7)
    small = rng.integers(0, 255, (size[1] // 20, size[0] // 20, 3), dtype=np.uint8)
    Image.fromarray(small).resize(size).save(path, exif=exif, **options)
    return path


def finds(path: Path, **options: Any) -> Layer:
    return read_finds(path, tables=TABLES, **options)


def fault_of(path: Path) -> Fault:
    with pytest.raises(InputError) as caught:
        finds(path)
    (fault,) = caught.value.faults
    assert fault.mend
    assert fault.where.endswith(path.name)
    return fault


def without(*tags: int) -> dict[int, Any]:
    return {tag: held for tag, held in PLACE.items() if tag not in tags}


@pytest.mark.parametrize("ending", [".jpg", ".JPEG", ".png", ".tif"])
def test_by_hand_a_place_out_of_each_kind_of_picture(tmp_path: Path, ending: str) -> None:
    table, _ = finds(photo(tmp_path / f"IMG_1234{ending}"))
    assert len(table) == 1
    assert table.geometry.iloc[0].x == pytest.approx(-(92 + 55 / 60 + 54 / 3600), abs=1e-9)
    assert table.geometry.iloc[0].y == pytest.approx(40 + 37 / 60 + 26.5 / 3600, abs=1e-9)
    row = table.iloc[0]
    assert (row["kind"], row["note"], row["who"], row["hazard_id"]) == ("unknown", "", "", "")
    assert math.isnan(row["radius_m"])
    assert math.isnan(row["heading_deg"])


def test_by_hand_accuracy_direction_and_gps_time(tmp_path: Path) -> None:
    gps = PLACE | {
        GPS.GPSHPositioningError: 4.5, GPS.GPSImgDirection: 271.5, GPS.GPSImgDirectionRef: "T",
        GPS.GPSDateStamp: "2026:06:01", GPS.GPSTimeStamp: (14.0, 30.0, 12.0),
    }  # fmt: skip
    camera = {Base.DateTimeOriginal: "2020:01:01 00:00:00"}
    layer = finds(photo(tmp_path / "a.jpg", gps=gps, camera=camera))
    row = layer.table.iloc[0]
    assert row["radius_m"] == pytest.approx(4.5 * FACTOR)
    assert row["heading_deg"] == 271.5
    assert row["time"].isoformat() == "2026-06-01T14:30:12+00:00"
    assert f"a.jpg: 1 x accuracy times {FACTOR:g} taken as the 95 % radius" in layer.notes


@pytest.mark.parametrize(
    ("ref", "degrees", "words"),
    [("M", 10.0, "magnetic"), (None, 10.0, "which north"), ("T", 400.0, "not an angle")],
)
def test_by_hand_a_direction_that_is_not_taken(
    tmp_path: Path, ref: str | None, degrees: float, words: str
) -> None:
    gps = PLACE | {GPS.GPSImgDirection: degrees}
    if ref:
        gps[GPS.GPSImgDirectionRef] = ref
    layer = finds(photo(tmp_path / "a.jpg", gps=gps))
    assert math.isnan(layer.table["heading_deg"].iloc[0])
    assert any(words in note for note in layer.notes)


@pytest.mark.parametrize(
    ("camera", "moment", "said"),
    [
        ({Base.DateTimeOriginal: "2026:06:01 09:30:00", Base.OffsetTimeOriginal: "+02:00"},
         "2026-06-01T07:30:00+00:00", ""),
        ({Base.DateTimeOriginal: "2026:06:01 09:30:00"}, "2026-06-01T14:30:00+00:00", "1 times"),
        ({Base.DateTimeOriginal: "    :  :     :  :  "}, "NaT", ""),
        ({Base.DateTimeOriginal: "0000:00:00 00:00:00"}, "NaT", ""),
        ({Base.DateTimeOriginal: "2026:13:41 09:30:00"}, "NaT", "cannot be read"),
        ({Base.DateTimeOriginal: "yesterday"}, "NaT", "cannot be read"),
    ],
)  # fmt: skip
def test_by_hand_the_cameras_clock(
    tmp_path: Path, camera: dict[int, Any], moment: str, said: str
) -> None:
    layer = finds(photo(tmp_path / "a.jpg", camera=camera), zone=ZoneInfo("America/Chicago"))
    held = layer.table["time"].iloc[0]
    assert (held.isoformat() if moment != "NaT" else str(held)) == moment
    assert any(said in note for note in layer.notes if "clock" in note or "time" in note) == bool(
        said
    )


@pytest.mark.parametrize("code", ["ASCII", "UNICODE-LE", "UNICODE-BE", "JIS", "none"])
def test_by_hand_a_comment_in_each_of_its_codes(tmp_path: Path, code: str) -> None:
    text = "fence wire"
    coded = {
        "ASCII": b"ASCII\0\0\0" + text.encode(),
        "UNICODE-LE": b"UNICODE\0" + text.encode("utf-16-le"),
        "UNICODE-BE": b"UNICODE\0" + text.encode("utf-16-be"),
        "JIS": b"JIS\0\0\0\0\0" + text.encode("iso2022_jp"),
        "none": b"\0" * 8 + text.encode() + b"\0\0",
    }[code]
    row = finds(photo(tmp_path / "a.jpg", camera={Base.UserComment: coded})).table.iloc[0]
    assert (row["kind"], row["note"]) == ("loose_wire", "fence wire - a")


def test_by_hand_words_from_all_who_gave_them(tmp_path: Path) -> None:
    first = {
        Base.ImageDescription: "by the gate",
        Base.XPTitle: "Drum\0".encode("utf-16-le"),
        Base.XPComment: "blue \u2013 full?\0".encode("utf-16-le"),
    }
    row = finds(photo(tmp_path / "second bench.jpg", first=first)).table.iloc[0]
    assert row["kind"] == "drum"
    assert row["note"] == "Drum - by the gate - blue \u2013 full? - second bench"
    gone = finds(photo(tmp_path / "no wire left.jpg", first=first)).table.iloc[0]
    assert gone["kind"] == "unknown"


def test_by_hand_a_file_named_by_a_person(tmp_path: Path) -> None:
    row = finds(photo(tmp_path / "old_post-2.jpg")).table.iloc[0]
    assert (row["kind"], row["note"]) == ("post", "old post 2")


@given(
    number=st.integers(0, 10**17), start=st.sampled_from(["IMG_", "DSC", "PXL_", "", "P", "img-"])
)
def test_property_a_cameras_own_names_are_no_words(number: int, start: str) -> None:
    assert spoken_stem(f"{start}{number:04d}") == []


def test_by_hand_the_small_picture_is_upright_and_bare(tmp_path: Path) -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    path = photo(
        tmp_path / "a.jpg", first={Base.Orientation: 6, Base.ImageDescription: "SECRET"},
        size=(1600, 900), icc_profile=profile, comment=b"SECRET", dpi=(300, 300),
        xmp=b"<x:xmpmeta>SECRET</x:xmpmeta>",
    )  # fmt: skip
    held = finds(path).table["photo"].iloc[0]
    small = Image.open(io.BytesIO(held))
    assert (small.format, small.mode, small.size) == ("JPEG", "RGB", (180, 320))
    assert dict(small.getexif()) == {}
    assert not {"exif", "icc_profile", "comment", "xmp", "photoshop"} & set(small.info)
    assert b"SECRET" not in held
    assert b"Exif" not in held
    assert len(held) < 40_000
    assert finds(path).table["photo"].iloc[0] == held


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "CMYK", "I;16", "1"])
def test_by_hand_pictures_of_every_mode(tmp_path: Path, mode: str) -> None:
    exif = Image.Exif()
    exif.get_ifd(IFD.GPSInfo).update(PLACE)
    exif[IFD.GPSInfo] = exif.get_ifd(IFD.GPSInfo)
    path = tmp_path / ("a.tif" if mode == "CMYK" else "a.png")
    Image.new(mode, (40, 30)).save(path, exif=exif)
    small = Image.open(io.BytesIO(finds(path).table["photo"].iloc[0]))
    assert (small.mode, small.size) == ("RGB", (40, 30))


@pytest.mark.parametrize(
    ("gps", "words"),
    [
        ({}, "without a position"),
        (without(GPS.GPSLatitudeRef), "no N or S"),
        (without(GPS.GPSLongitudeRef), "no E or W"),
        (PLACE | {GPS.GPSLatitudeRef: "X"}, "no N or S"),
        (without(GPS.GPSLongitude), "without its longitude"),
        (PLACE | {GPS.GPSLatitude: (0.0, 0.0, 0.0), GPS.GPSLongitude: (0.0, 0.0, 0.0)}, "fix"),
        (PLACE | {GPS.GPSLatitude: (91.0, 0.0, 0.0)}, "not on earth"),
        (PLACE | {GPS.GPSLatitude: (40.0, 60.0, 0.0)}, "not on earth"),
        (PLACE | {GPS.GPSLatitude: (40.0, 10.0)}, "without its latitude"),
        (PLACE | {GPS.GPSMapDatum: "TOKYO"}, "another datum"),
    ],
)
def test_by_hand_places_that_are_refused(tmp_path: Path, gps: dict[int, Any], words: str) -> None:
    assert words in fault_of(photo(tmp_path / "a.jpg", gps=gps)).what


def test_by_hand_a_photo_without_a_place_says_how_to_mend_it(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.new("RGB", (30, 20)).save(path)
    assert fault_of(path).mend == "log it by hand, with its place"


def test_by_hand_zero_over_zero_is_no_place(tmp_path: Path) -> None:
    path = photo(tmp_path / "a.jpg", gps=PLACE | {GPS.GPSLatitude: (40.0, 37.0, 26.5)})
    held = path.read_bytes()
    seconds = Fraction(53, 2)
    for order in ("big", "little"):
        pair = b"".join(part.to_bytes(4, order) for part in (53, 2))
        held = held.replace(pair, bytes(8))
    assert seconds == 26.5
    assert held != path.read_bytes()
    path.write_bytes(held)
    assert "without its latitude" in fault_of(path).what


def test_by_hand_a_lost_fix_is_said(tmp_path: Path) -> None:
    layer = finds(photo(tmp_path / "a.jpg", gps=PLACE | {GPS.GPSStatus: "V"}))
    assert any("lost its fix" in note for note in layer.notes)


@pytest.mark.parametrize("share", [0.02, 0.1, 0.5, 0.95])
def test_by_hand_a_photo_cut_short(tmp_path: Path, share: float) -> None:
    path = photo(tmp_path / "a.jpg", size=(1200, 900), quality=95)
    held = path.read_bytes()
    path.write_bytes(held[: int(len(held) * share)])
    fault = fault_of(path)
    assert "broken or cut short" in fault.what or "without a position" in fault.what


@given(at=st.integers(2, 600), byte=st.integers(0, 255))
def test_property_a_damaged_head_is_a_find_or_a_fault(
    tmp_path_factory: pytest.TempPathFactory, at: int, byte: int
) -> None:
    path = photo(tmp_path_factory.mktemp("photo") / "a.jpg", size=(60, 40))
    held = bytearray(path.read_bytes())
    held[at % len(held)] = byte
    path.write_bytes(bytes(held))
    try:
        found = len(finds(path).table)
    except InputError as error:
        found = len(error.faults)
    assert found == 1


def test_by_hand_garbage_and_other_pictures(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    for held in (b"", b"GIF89a", b"\xff\xd8\xff", b"\xff\xd8\xff" + b"\0" * 100):
        path.write_bytes(held)
        assert fault_of(path).what
    heic = tmp_path / "a.HEIC"
    heic.write_bytes(b"\0\0\0\x18ftypheic")
    assert "JPEG" in fault_of(heic).mend


@pytest.mark.parametrize("side", [(10_000, 5_001), (20_000, 20_000)])
def test_by_hand_a_picture_too_large_is_never_decoded(
    tmp_path: Path, side: tuple[int, int]
) -> None:
    path = tmp_path / "a.png"
    Image.new("1", side).save(path)
    assert fault_of(path).what == "a picture that is too large"
