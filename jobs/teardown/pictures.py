"""Makes a picture from outside safe to keep: decoded, turned upright, re-encoded, without its metadata."""

import io
import uuid
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.uploadedfile import UploadedFile
from PIL import Image, ImageFile, ImageOps

from jobs.teardown import heic

FORMATS = ("JPEG", "PNG", "WEBP")
MAX_BYTES = 25 * 1024 * 1024
MAX_PIXELS = 50_000_000
KEPT_SIDE_PX = 2560
SMALL_SIDE_PX = 320


@dataclass(frozen=True)
class CleanPhoto:
    image: ContentFile
    small: ContentFile


def clean_photo(upload: UploadedFile) -> CleanPhoto:
    """The picture and its thumbnail as new JPEG files; a ValidationError says cause and way out."""
    size = upload.size or 0
    if size > MAX_BYTES:
        raise ValidationError(f"{upload.name} has {size / 1e6:.0f} MB: at most 25 MB can be kept.")
    picture = _plain(_decoded(upload))
    picture.thumbnail((KEPT_SIDE_PX, KEPT_SIDE_PX))
    small = picture.copy()
    small.thumbnail((SMALL_SIDE_PX, SMALL_SIDE_PX))
    # A name of our own: nothing of the sender's reaches the disk.
    name = uuid.uuid4().hex
    return CleanPhoto(_jpeg(picture, f"{name}.jpg"), _jpeg(small, f"{name}-small.jpg"))


def _decoded(upload: UploadedFile) -> Image.Image:
    # The library that makes our papers switches this on for the whole process; here a cut picture is refused.
    ImageFile.LOAD_TRUNCATED_IMAGES = False
    try:
        picture = Image.open(_opened(upload), formats=FORMATS)
        pixels = picture.width * picture.height
        if pixels <= MAX_PIXELS:
            # A large JPEG is decoded near the scale it is kept at: 50 megapixels fit in little memory.
            picture.draft("RGB", (KEPT_SIDE_PX, KEPT_SIDE_PX))
            picture.load()
            return ImageOps.exif_transpose(picture)
    except heic.TooLarge as error:
        (pixels,) = error.args
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        pixels = None
    except Exception as error:  # a decoder fed with a hostile file may raise anything
        raise ValidationError(
            f"{upload.name} can't be read as a JPEG, HEIC, PNG or WebP picture:"
            " take or save it again as JPEG."
        ) from error
    size = f"{pixels / 1e6:.0f}" if pixels else "far too many"
    raise ValidationError(
        f"{upload.name} has {size} megapixels: at most 50 can be kept. Make it smaller first."
    )


def _opened(upload: UploadedFile) -> UploadedFile | io.BytesIO:
    """The file to decode here: as it came, or what was made of a HEIC picture in a process of its own."""
    upload.seek(0)
    head = upload.read(16)
    upload.seek(0)
    if not heic.looks_like(head):
        return upload
    return io.BytesIO(heic.as_jpeg(upload.read(), most_pixels=MAX_PIXELS, side_px=KEPT_SIDE_PX))


def _plain(picture: Image.Image) -> Image.Image:
    """The pixels alone, on white where they were clear, in a new image that carries nothing else along."""
    clear = (
        picture.convert("RGBA")
        if picture.mode in {"LA", "PA", "RGBA"} or "transparency" in picture.info
        else None
    )
    plain = Image.new("RGB", picture.size, "white")
    plain.paste(clear or picture.convert("RGB"), mask=clear)
    return plain


def _jpeg(picture: Image.Image, name: str) -> ContentFile:
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=85, optimize=True)
    return ContentFile(file.getvalue(), name=name)
