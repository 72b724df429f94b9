"""Photos from phones: checked, turned upright, made smaller and re-encoded, which drops place and camera."""

import io
import warnings
from typing import BinaryIO

from PIL import Image, ImageOps

FORMATS = ("JPEG", "PNG", "WEBP")
LARGEST_BYTES = 20 * 1024 * 1024
LARGEST_PIXELS = 50_000_000
LONGEST_SIDE = 1600


class NotAPicture(ValueError):
    """The file cannot be kept; the text says why, for the person who sent it."""


def clean(file: BinaryIO, size: int) -> bytes:
    """Return the picture in `file` (`size` bytes) as a fresh JPEG with no metadata. Raises NotAPicture."""
    if size > LARGEST_BYTES:
        raise NotAPicture(f"The photo is larger than {LARGEST_BYTES // 1024 // 1024} MB.")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            image = Image.open(file, formats=FORMATS)
            if image.width * image.height > LARGEST_PIXELS:
                raise NotAPicture("The photo has too many pixels.")
            image.load()
            upright = ImageOps.exif_transpose(image).convert("RGB")
        except NotAPicture:
            raise
        except (Image.DecompressionBombError, Image.DecompressionBombWarning):
            raise NotAPicture("The photo has too many pixels.") from None
        except Exception:  # Pillow raises many kinds for broken files; each means the same to the person.
            raise NotAPicture("This is not a JPEG, PNG or WebP photo that can be read.") from None
    upright.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    out = io.BytesIO()
    Image.frombytes("RGB", upright.size, upright.tobytes()).save(out, "JPEG", quality=82, optimize=True)
    return out.getvalue()
