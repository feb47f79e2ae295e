"""Photos as they are kept: decided by their bytes, drawn anew as JPEG, so that nothing but the picture is left.

A camera writes place, time, maker and serial number beside the picture (Exif, XMP, IPTC), and what else its maker
likes. All of it is dropped: the record says itself where, when and at which gate a photo came, under its seal, and
the rest is the customer's or the technician's own. Only the orientation is carried out, and then dropped too.
"""

from __future__ import annotations

import io
import struct
import warnings
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from handsfree.problem import Problem, one_line

if TYPE_CHECKING:
    from PIL import Image

LARGEST_GIVEN = 24 << 20
"""Bytes of a file that is looked at; a camera's picture of 50 megapixels has fewer."""
LARGEST_SENT = 3 << 20
"""Bytes that a phone's page sends: it makes the picture smaller first."""
LARGEST_KEPT = 1_000_000
"""Bytes of a photo beside the record."""
MOST_PIXELS = 50_000_000
LONGEST_SIDE = 2048
"""Pixels: a plate that fills the picture has letters of forty of them."""
FORM = "image/jpeg"

_BROKEN = (OSError, SyntaxError, ValueError, ArithmeticError, LookupError, TypeError, MemoryError, struct.error)
"""What reading something that is no picture raises in the library."""
_HEIF_BRANDS = (b"heic", b"heix", b"mif1", b"msf1", b"avif")
_QUALITIES = (85, 75, 60, 45, 30)


@dataclass(frozen=True)
class Photo:
    """A photo as it is kept, and where it came from; the page says for which gate, a folder cannot."""

    content: bytes
    source: Literal["page", "folder"]
    gate: str = ""


def form_of(data: bytes) -> str | None:
    """Return the form of a picture by its first bytes: JPEG, PNG or WEBP; None when it is none of them."""
    if data.startswith(b"\xff\xd8\xff"):  # ITU-T T.81, B.1.1.3: SOI, and the first marker
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):  # ISO/IEC 15948, 5.2
        return "PNG"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":  # RFC 9649, 2.4
        return "WEBP"
    return None


def kept_form(data: bytes, name: str = "the photo", side: int = LONGEST_SIDE) -> bytes:
    """Return a picture as it is kept: JPEG, at most so many pixels a side, upright, without anything beside it.

    Raises Problem when it is too large, no picture of a form that is taken, or damaged.
    """
    from PIL import Image, ImageOps  # noqa: PLC0415 - slow to load, and few visits need it

    named = one_line(name)
    if len(data) > LARGEST_GIVEN:
        raise Problem(f"{named} is larger than {LARGEST_GIVEN >> 20} MB", remedy="take a smaller picture")
    form = form_of(data)
    if form is None:
        high = data[4:8] == b"ftyp" and data[8:12] in _HEIF_BRANDS
        remedy = "set the camera to JPEG (most compatible)" if high else "take a picture as JPEG, PNG or WebP"
        raise Problem(f"{named} is no picture that can be taken, whatever its name says", remedy=remedy)
    try:
        with warnings.catch_warnings(), Image.open(io.BytesIO(data), formats=[form]) as image:
            warnings.simplefilter("ignore")  # of oddities beside the picture, which is drawn anew
            if image.width * image.height > MOST_PIXELS:
                what = f"{named} has more than {MOST_PIXELS // 1_000_000} megapixels"
                raise Problem(what, remedy="take a smaller picture")
            image.draft("RGB", (side, side))
            upright = ImageOps.exif_transpose(image)
            upright.thumbnail((side, side))
            flat = Image.new("RGB", upright.size, "white")
            seen_through = upright.convert("RGBA") if "A" in upright.getbands() or upright.mode == "P" else None
            flat.paste(upright.convert("RGB"), mask=seen_through and seen_through.getchannel("A"))
            return _written(flat)
    except (*_BROKEN, Image.DecompressionBombError) as error:
        raise Problem(f"{named} is damaged, and no picture", remedy="take it again") from error


def _written(image: Image.Image) -> bytes:
    """Return pixels as JPEG, small enough to be kept."""
    while True:
        for quality in _QUALITIES:
            out = io.BytesIO()
            image.save(out, "JPEG", quality=quality, optimize=True)
            if out.tell() <= LARGEST_KEPT:
                return out.getvalue()
        image = image.reduce(2)


def is_kept_form(data: bytes) -> bool:
    """Say whether a payload may be a kept photo: of its size and form; what decodes it stands on its own guard."""
    return len(data) <= LARGEST_KEPT and form_of(data) == "JPEG"
