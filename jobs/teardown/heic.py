"""Reads a phone's HEIC picture in a process of its own: run as a program, this turns stdin into a JPEG.

The decoders behind it are large, and a file made to harm can make them eat the memory, hang or fall. Here
they take that process with them, not the web server in which somebody types readings.
"""

import io
import re
import resource
import struct
import subprocess
import sys
import threading

TOO_LARGE = 3  # the status of leaving with; the pixels stand on stdout
MAX_MEMORY = 1536 * 1024 * 1024  # 50 megapixels take some 600 MB
MAX_SECONDS = 30
_SIZES = re.compile(rb"ispe\0{4}(.{8})", re.DOTALL)  # of each image in the file (ISO/IEC 23008-12, 6.5.3)
_one_at_a_time = threading.Lock()


class Unreadable(Exception):
    """Not a HEIC picture that can be decoded."""


class TooLarge(Exception):
    """It holds a picture of more pixels than are kept; the argument is how many."""


def looks_like(head: bytes) -> bool:
    """Whether a file that begins so is of the family of formats that HEIC belongs to."""
    return head[4:8] == b"ftyp"


def as_jpeg(content: bytes, *, most_pixels: int, side_px: int) -> bytes:
    """The picture upright, at most ``side_px`` wide and high, as JPEG bytes without metadata."""
    command = [sys.executable, "-I", __file__, str(most_pixels), str(side_px)]
    with _one_at_a_time:
        try:
            done = subprocess.run(
                command, input=content, capture_output=True, timeout=MAX_SECONDS, check=False
            )
        except subprocess.TimeoutExpired as error:
            raise Unreadable("decoding took too long") from error
    if done.returncode == TOO_LARGE:
        raise TooLarge(int(done.stdout))
    if done.returncode or not done.stdout:
        raise Unreadable(done.stderr.decode(errors="replace")[-500:])
    return done.stdout


def main(most_pixels: int, side_px: int) -> None:
    import pillow_heif
    from PIL import Image

    resource.setrlimit(resource.RLIMIT_AS, (MAX_MEMORY, MAX_MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (MAX_SECONDS, MAX_SECONDS))
    content = sys.stdin.buffer.read()
    _leave_if_larger(_claimed(content), most_pixels)
    pillow_heif.register_heif_opener(decode_threads=2, thumbnails=False, depth_images=False, aux_images=False)
    picture = Image.open(io.BytesIO(content), formats=["HEIF"])
    _leave_if_larger(picture.width * picture.height, most_pixels)
    picture.load()  # turned and cropped as the file says
    picture.thumbnail((side_px, side_px))
    plain = Image.new("RGB", picture.size, "white")
    plain.paste(picture.convert("RGB"), mask=picture.getchannel("A") if "A" in picture.getbands() else None)
    plain.save(sys.stdout.buffer, "JPEG", quality=95, subsampling=0)


def _claimed(content: bytes) -> int:
    """The most pixels that any image in the file claims: a crop or a grid hides how large its parts are."""
    sizes = (struct.unpack(">II", found) for found in _SIZES.findall(content))
    return max((width * height for width, height in sizes), default=0)


def _leave_if_larger(pixels: int, most_pixels: int) -> None:
    if pixels > most_pixels:
        sys.stdout.write(str(pixels))
        sys.exit(TOO_LARGE)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
