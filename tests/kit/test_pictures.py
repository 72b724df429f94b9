"""Photos from phones: what is kept is a fresh picture and nothing that hung on it."""

import io
import struct
import zlib

import pytest
from PIL import Image

from routeapp.kit import pictures

ORIENTATION, MAKE, GPS = 0x0112, 0x010F, 0x8825


def photo(size=(40, 20), kind="JPEG", colour="red", **more):
    out = io.BytesIO()
    Image.new("RGB", size, colour).save(out, kind, **more)
    return out.getvalue()


def clean(data):
    return pictures.clean(io.BytesIO(data), len(data))


def opened(data):
    return Image.open(io.BytesIO(data))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_photo_becomes_a_jpeg(kind):
    kept = opened(clean(photo(kind=kind)))
    assert (kept.format, kept.size) == ("JPEG", (40, 20))


def test_place_and_camera_are_dropped_and_the_picture_stands_upright():
    exif = Image.Exif()
    exif[ORIENTATION], exif[MAKE] = 6, "Lantern"
    exif.get_ifd(GPS)[1] = "N"

    kept = clean(photo(exif=exif))

    assert b"Lantern" not in kept
    assert dict(opened(kept).getexif()) == {}
    assert opened(kept).size == (20, 40)


def test_what_hangs_behind_the_picture_is_dropped():
    assert b"<script>" not in clean(photo() + b"<script>alert(1)</script>")


def test_text_inside_the_picture_is_dropped():
    assert b"secret" not in clean(photo(comment=b"secret"))


def test_large_photo_is_made_smaller():
    assert opened(clean(photo((3200, 1600)))).size == (pictures.LONGEST_SIDE, 800)


@pytest.mark.parametrize("mode", ["P", "L", "1", "CMYK", "RGBA", "LA", "I;16"])
def test_every_mode_of_picture_can_be_kept(mode):
    out = io.BytesIO()
    Image.new(mode, (10, 10)).save(out, "JPEG" if mode == "CMYK" else "PNG")
    assert opened(clean(out.getvalue())).mode == "RGB"


def png_claiming(width, height):
    """A PNG of a few bytes that says it is very large."""

    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")


@pytest.mark.parametrize("side", [8_000, 10_000, 40_000, 2**31 - 1])
def test_picture_that_would_burst_is_refused(side):
    with pytest.raises(pictures.NotAPicture, match="too many pixels"):
        clean(png_claiming(side, side))


def gif():
    out = io.BytesIO()
    Image.new("P", (4, 4)).save(out, "GIF")
    return out.getvalue()


@pytest.mark.parametrize(
    "data",
    [b"", b"\0", b"hello", b"<svg xmlns='http://www.w3.org/2000/svg'/>", gif(), photo()[:200], png_claiming(10, 10)],
    ids=["empty", "nul", "text", "svg", "gif", "cut off", "broken"],
)
def test_what_is_no_photo_is_refused(data):
    with pytest.raises(pictures.NotAPicture, match="not a JPEG, PNG or WebP"):
        clean(data)


def test_file_that_is_too_large_is_not_even_opened():
    with pytest.raises(pictures.NotAPicture, match="larger than 20 MB"):
        pictures.clean(io.BytesIO(b""), pictures.LARGEST_BYTES + 1)
