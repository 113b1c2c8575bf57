"""Photos of a visit: decoded, turned upright, stripped of place and device, written anew."""

import io
from dataclasses import dataclass

from PIL import Image, ImageOps, UnidentifiedImageError

from service.errors import InvalidError, TooLargeError

MOST_BYTES = 12 * 1024 * 1024
# More than any phone takes in one picture; a small file that unpacks to more is no photo.
_MOST_PIXELS = 60_000_000
_LONGEST_SIDE_PX = 3000
# Phones write JPEG with a second picture in it (MPO); only the first is kept.
_KINDS = {"JPEG": "JPEG", "MPO": "JPEG", "PNG": "PNG", "WEBP": "WEBP"}
_MEDIA_TYPES = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}


@dataclass(frozen=True, slots=True, kw_only=True)
class CleanPhoto:
    """A photo that holds the picture and nothing else."""

    data: bytes
    media_type: str
    width_px: int
    height_px: int


def clean_photo(data: bytes) -> CleanPhoto:
    """Decode a photo and write its picture anew, without anything that says where or by whom.

    Raises
    ------
    TooLargeError : too many bytes or pixels
    InvalidError : no JPEG, PNG or WebP, or a broken one
    """
    if len(data) > MOST_BYTES:
        raise TooLargeError(
            f"A photo may have at most {MOST_BYTES // 2**20} MiB; take it in a smaller size."
        )
    try:
        with Image.open(io.BytesIO(data), formats=tuple(_MEDIA_TYPES)) as opened:
            kind = _KINDS[opened.format or ""]
            if opened.width * opened.height > _MOST_PIXELS:
                raise TooLargeError("A photo may have at most 60 million pixels; take it smaller.")
            opened.draft("RGB", (_LONGEST_SIDE_PX, _LONGEST_SIDE_PX))
            picture = ImageOps.exif_transpose(opened)
            picture.thumbnail((_LONGEST_SIDE_PX, _LONGEST_SIDE_PX))
            bare = picture.convert("RGB" if kind == "JPEG" or picture.mode == "CMYK" else "RGBA")
    except UnidentifiedImageError:
        raise InvalidError(
            "This is no JPEG, PNG or WebP. Set the phone's camera to JPEG (“most compatible”) and "
            "take the photo again.",
            field="photo",
        ) from None
    except Image.DecompressionBombError:
        raise TooLargeError(
            "A photo may have at most 60 million pixels; take it smaller."
        ) from None
    except (OSError, SyntaxError, ValueError) as error:
        raise InvalidError(
            f"The photo is broken ({error}); take it or send it again.", field="photo"
        ) from None
    bare.info.clear()
    out = io.BytesIO()
    bare.save(out, format=kind, **({} if kind == "PNG" else {"quality": 88}))
    return CleanPhoto(
        data=out.getvalue(),
        media_type=_MEDIA_TYPES[kind],
        width_px=bare.width,
        height_px=bare.height,
    )
