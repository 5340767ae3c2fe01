"""Photos: what is taken for one, told by its bytes."""

import io

from PIL import Image, UnidentifiedImageError

from service.api.problems import Problem

MEDIA = ("image/jpeg", "image/png")
MOST_PIXELS = 50_000_000
_NOT_ONE = "send a JPEG or a PNG as the camera made it"


def media_of(body: bytes) -> str:
    """The media type of a photo. Raises Problem for bytes that are none, or one of more than fifty million pixels."""
    try:
        with Image.open(io.BytesIO(body), formats=("JPEG", "PNG")) as picture:
            wide, tall = picture.size
            media = Image.MIME[picture.format or ""]
            if wide * tall <= MOST_PIXELS:
                picture.verify()
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError) as error:
        raise Problem(422, "Not a photo", _NOT_ONE) from error
    if wide * tall > MOST_PIXELS:
        raise Problem(422, "Not a photo", f"it has {wide} × {tall} pixels, too many to show: {_NOT_ONE}")
    return media
