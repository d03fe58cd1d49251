"""Photos: taken in by those who may, kept as the picture alone; hostile files are refused with a reason."""

import io
import re
import struct
import zlib
from html import unescape

import pillow_heif
import pytest
from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from PIL import Image, ImageFile

from jobs.models import Photo
from jobs.teardown import heic, pictures
from shop.models import new_key
from tests import build

pytestmark = pytest.mark.django_db
HTMX = {"HX-Request": "true"}


def picture(kind="JPEG", size=(64, 48), mode="RGB", colour="red", **options):
    file = io.BytesIO()
    Image.new(mode, size, colour).save(file, kind, **options)
    return file.getvalue()


def upload(content, name="unit.jpg"):
    return SimpleUploadedFile(name, content, content_type="image/jpeg")


def send(client, job, *contents, **options):
    values = {"photos": [upload(content) for content in contents], "caption": "the head", "once": new_key()}
    return client.post(reverse("add_photos", args=[job.number]), values, **options)


def heic_of(size=(64, 48), mode="RGB", colour="red", **options):
    return picture("HEIF", size, mode, colour, **options)


def claiming(content, width, height):
    """A HEIC file in which each image claims another size than it has ("ispe", ISO/IEC 23008-12, 6.5.3)."""
    said = b"ispe\0\0\0\0" + struct.pack(">II", width, height)
    changed, count = re.subn(rb"ispe\0{4}.{8}", lambda _: said, content, flags=re.DOTALL)
    assert count
    return changed


def png_of(width, height, *chunks):
    """A PNG that claims this size, with the chunks given, by the PNG specification (ISO/IEC 15948)."""

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + b"".join(chunk(*one) for one in chunks) + chunk(b"IEND", b"")


pillow_heif.register_heif_opener()
HEIC = heic_of()
JPEG = picture()
PNG = picture("PNG")
WEBP = picture("WEBP")
HOSTILE = {
    "empty": b"",
    "text": b"not a picture at all",
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "html": b"<!doctype html><script>alert(1)</script>",
    "pdf": b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n",
    "zip": b"PK\x03\x04" + b"\0" * 200,
    "elf": b"\x7fELF" + b"\0" * 200,
    "gif": picture("GIF"),
    "bmp": picture("BMP"),
    "tiff": picture("TIFF"),
    "ico": picture("ICO"),
    "ppm": picture("PPM"),
    "postscript": b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n",
    "jpeg cut in half": JPEG[: len(JPEG) // 2],
    "jpeg head only": JPEG[:20],
    "jpeg marker only": b"\xff\xd8\xff",
    "jpeg with a bad table": JPEG.replace(b"\xff\xdb", b"\xff\xdb\x00\x01", 1),
    "jpeg of zero width": JPEG.replace(b"\x00\x30\x00\x40", b"\x00\x30\x00\x00", 1),
    "png cut in half": PNG[: len(PNG) // 2],
    "png head only": PNG[:8],
    "png with a wrong checksum": PNG[:20] + b"\xff" + PNG[21:],
    "png without data": png_of(64, 64),
    "png with broken data": png_of(64, 64, (b"IDAT", b"\0\1\2\3")),
    "png of too little data": png_of(4000, 4000, (b"IDAT", zlib.compress(b"\0"))),
    "png of zero size": png_of(0, 0, (b"IDAT", zlib.compress(b"\0"))),
    "png of 51 megapixels": png_of(8500, 6000, (b"IDAT", zlib.compress(b"\0"))),
    "png of 100 megapixels": png_of(10000, 10000, (b"IDAT", zlib.compress(b"\0"))),
    "png of 4 gigapixels": png_of(65000, 65000, (b"IDAT", zlib.compress(b"\0"))),
    "png of the greatest size": png_of(2**31 - 1, 2**31 - 1, (b"IDAT", zlib.compress(b"\0"))),
    "png with a bomb of text": png_of(
        64, 64, (b"zTXt", b"comment\0\0" + zlib.compress(b"A" * 80_000_000)), (b"IDAT", zlib.compress(b"\0"))
    ),
    "webp cut in half": WEBP[: len(WEBP) // 2],
    "webp head only": WEBP[:12],
    "riff that is a sound": b"RIFF\x24\0\0\0WAVEfmt " + b"\0" * 30,
    "heic head only": b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 100,
    "heic cut in half": HEIC[: len(HEIC) // 2],
    "heic cut at its end": HEIC[:-10],
    "heic with a broken stream": HEIC[:-40] + b"\xff" * 40,
    "heic that says it has 900 megapixels": claiming(HEIC, 30000, 30000),
    "heic of the greatest size": claiming(HEIC, 2**32 - 1, 2**32 - 1),
    "heic of zero size": claiming(HEIC, 0, 0),
    "video": b"\0\0\0\x18ftypmp42\0\0\0\0mp42isom" + b"\0" * 100,
    "avif": b"\0\0\0\x18ftypavif\0\0\0\0mif1avif" + b"\0" * 100,
    "php after a jpeg head": JPEG[:30] + b"<?php system($_GET['c']); ?>",
    "nulls": b"\0" * 4096,
    "jpeg head then noise": JPEG[:200] + bytes(range(256)) * 8,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_file_is_refused_with_a_reason_and_nothing_is_kept(client_as, name):
    job, client = build.job(), client_as("counter")
    answer = send(client, job, HOSTILE[name], headers=HTMX)
    assert answer.status_code == 422
    assert 'class="wrong"' in answer.content.decode()
    assert not Photo.objects.exists()


@pytest.mark.parametrize("name", [name for name in HOSTILE if "cut in half" in name])
def test_cut_picture_is_refused_whatever_another_library_has_set(monkeypatch, name):
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    with pytest.raises(ValidationError):
        pictures.clean_photo(upload(HOSTILE[name]))


@pytest.mark.parametrize("content", [JPEG, PNG, WEBP, HEIC], ids=["jpeg", "png", "webp", "heic"])
@pytest.mark.parametrize("role", ["owner", "technician", "counter"])
def test_picture_is_kept_as_jpeg_under_a_name_of_our_own(client_as, content, role):
    job, client = build.job(), client_as(role)
    assert send(client, job, content, headers=HTMX).status_code == 200
    photo = job.photos.get()
    assert (photo.width, photo.height, photo.caption, photo.by) == (64, 48, "the head", client.person)
    for file in (photo.image, photo.small):
        assert "unit" not in file.name
        with file.open("rb") as kept:
            assert kept.read(3) == b"\xff\xd8\xff"
    assert job.history.get().verb == "added a photo"


def test_nothing_but_the_picture_is_kept():
    exif = Image.Exif()
    exif[0x010E] = "taken at home"  # ImageDescription, Exif 2.3
    exif.get_ifd(0x8825)[1] = "N"  # GPSLatitudeRef
    secret = picture(exif=exif, comment=b"secret words", icc_profile=b"profile " * 20)
    assert b"taken at home" in secret
    kept = pictures.clean_photo(upload(secret)).image.read()
    for word in (b"taken at home", b"secret words", b"profile", b"Exif"):
        assert word not in kept
    assert not Image.open(io.BytesIO(kept)).getexif()


def test_picture_is_turned_upright():
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation, Exif 2.3: the camera was turned a quarter to the right
    kept = Image.open(pictures.clean_photo(upload(picture(size=(64, 48), exif=exif))).image)
    assert kept.size == (48, 64)


def test_heic_picture_is_turned_upright_once():
    """A phone writes the turn twice, in the file ("irot") and in Exif; only the one in the file counts."""
    exif, taken, file = Image.Exif(), Image.new("RGB", (64, 48), "blue"), io.BytesIO()
    exif[0x0112] = 6
    taken.paste("red", (0, 0, 32, 48))
    taken.info["exif"] = exif.tobytes()
    taken.save(file, "HEIF")
    assert b"irot" in file.getvalue()
    kept = Image.open(pictures.clean_photo(upload(file.getvalue())).image)
    assert kept.size == (48, 64)
    assert kept.getpixel((24, 10))[0] > 200  # what was on the left of a camera turned to the right is on top
    assert kept.getpixel((24, 54))[2] > 200


def test_nothing_but_the_picture_is_kept_of_a_heic_file():
    exif = Image.Exif()
    exif[0x010E] = "taken at home"
    secret = heic_of(exif=exif, xmp=b"<x:xmpmeta>secret words</x:xmpmeta>")
    assert b"taken at home" in secret
    assert b"secret words" in secret
    kept = pictures.clean_photo(upload(secret)).image.read()
    for word in (b"taken at home", b"secret words", b"Exif"):
        assert word not in kept


def test_heic_of_many_tiles_as_phones_make_it_is_kept_smaller():
    clean = pictures.clean_photo(upload(heic_of((2688, 2016), quality=1, tile_size=512)))
    kept = Image.open(clean.image)
    assert kept.size == (2560, 1920)
    red, green, blue = kept.getpixel((1300, 1000))
    assert red > 240
    assert max(green, blue) < 15


@pytest.mark.parametrize("options", [{}, {"tile_size": 128}], ids=["whole", "in tiles"])
@pytest.mark.parametrize("says_it_is_small", [False, True])
def test_heic_over_the_limit_of_pixels_is_refused(monkeypatch, options, says_it_is_small):
    content = heic_of((1024, 768), **options)
    assert pictures.clean_photo(upload(content))
    monkeypatch.setattr(pictures, "MAX_PIXELS", 700_000)
    with pytest.raises(ValidationError, match="can't be read" if says_it_is_small else "has 1 megapixels"):
        pictures.clean_photo(upload(claiming(content, 64, 48) if says_it_is_small else content))


def test_heic_of_too_many_pixels_says_how_many():
    with pytest.raises(ValidationError, match="has 900 megapixels: at most 50"):
        pictures.clean_photo(upload(HOSTILE["heic that says it has 900 megapixels"]))


def test_decoder_that_hangs_or_falls_leaves_the_server_standing(monkeypatch, tmp_path):
    hanging, falling = tmp_path / "hanging.py", tmp_path / "falling.py"
    hanging.write_text("import time; time.sleep(60)")
    falling.write_text("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)")
    monkeypatch.setattr(heic, "MAX_SECONDS", 1)
    for program in (hanging, falling):
        monkeypatch.setattr(heic, "__file__", str(program))
        with pytest.raises(ValidationError, match="take or save it again as JPEG"):
            pictures.clean_photo(upload(HEIC))


def test_pictures_are_decoded_before_the_database_is_held(client_as, monkeypatch):
    decoded, wrote = pictures.heic.as_jpeg, []

    def decoding(*args, **options):
        wrote.append(connection.in_atomic_block and len(connection.savepoint_ids))
        return decoded(*args, **options)

    monkeypatch.setattr(pictures.heic, "as_jpeg", decoding)
    job, client = build.job(), client_as("counter")
    outside = len(connection.savepoint_ids)
    send(client, job, HEIC)
    client.post(
        reverse("new_job"),
        {"stock": "on", "unit-maker": "Ember & Stroud", "once": new_key(), "photos": [upload(HEIC)]},
    )
    assert wrote == [outside, outside]
    assert Photo.objects.count() == 2


def test_clear_pixels_become_white():
    clear = picture("PNG", mode="RGBA", colour=(0, 0, 0, 0))
    assert Image.open(pictures.clean_photo(upload(heic_of(mode="RGBA", colour=(0, 0, 0, 0)))).image).getpixel(
        (5, 5)
    ) >= (250, 250, 250)
    assert Image.open(pictures.clean_photo(upload(clear)).image).getpixel((5, 5)) == (255, 255, 255)


@pytest.mark.parametrize(
    ("kind", "mode"), [("PNG", "L"), ("PNG", "P"), ("PNG", "1"), ("PNG", "I;16"), ("JPEG", "CMYK")]
)
def test_every_kind_of_pixel_is_taken(kind, mode):
    assert pictures.clean_photo(upload(picture(kind, mode=mode, colour=0))).image.size > 0


def test_large_picture_is_kept_smaller_and_its_thumbnail_smaller_still():
    clean = pictures.clean_photo(upload(picture(size=(7000, 5000))))
    assert Image.open(clean.image).size == (2560, 1829)
    assert max(Image.open(clean.small).size) == 320


def test_file_over_25_mb_is_refused():
    big = upload(JPEG)
    big.size = pictures.MAX_BYTES + 1
    with pytest.raises(ValidationError, match="at most 25 MB"):
        pictures.clean_photo(big)


def test_good_pictures_are_kept_beside_a_bad_one(client_as):
    job, client = build.job(), client_as("counter")
    answer = send(client, job, JPEG, HOSTILE["svg"], PNG)
    assert answer.status_code == 422
    assert job.photos.count() == 2


def test_corrected_send_is_taken_after_a_refused_one(client_as):
    job, client = build.job(), client_as("counter")
    refused = send(client, job, HOSTILE["svg"], headers=HTMX).content.decode()
    key = refused.split('name="once" value="')[1].split('"')[0]
    values = {"photos": [upload(JPEG)], "once": key}
    client.post(reverse("add_photos", args=[job.number]), values)
    client.post(reverse("add_photos", args=[job.number]), values | {"photos": [upload(JPEG)]})
    assert job.photos.count() == 1


def test_no_file_and_too_many_files_are_refused(client_as):
    job, client = build.job(), client_as("counter")
    assert "No photo chosen" in send(client, job, headers=HTMX).content.decode()
    assert "At most 20" in send(client, job, *[JPEG] * 21, headers=HTMX).content.decode()
    assert not job.photos.exists()


def test_photo_is_shown_to_those_logged_in_and_to_no_one_else(client_as, client):
    job, counter = build.job(), client_as("counter")
    send(counter, job, JPEG)
    photo = job.photos.get()
    for size in ("large", "small"):
        address = reverse("photo", args=[job.number, photo.pk, size])
        assert reverse("login") in client.get(address)["Location"]
        answer = counter.get(address)
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert "sandbox" in answer["Content-Security-Policy"]
        assert answer["Cache-Control"].startswith("private")
        assert b"".join(answer.streaming_content)[:2] == b"\xff\xd8"
    other = build.job()
    assert counter.get(reverse("photo", args=[other.number, photo.pk, "large"])).status_code == 404
    assert counter.get(reverse("photo", args=[job.number, photo.pk, "huge"])).status_code == 404


def test_photo_is_not_served_from_the_folder_of_files(client_as):
    job, counter = build.job(), client_as("counter")
    send(counter, job, JPEG)
    name = job.photos.get().image.name
    assert (settings.MEDIA_ROOT / name).exists()
    for prefix in ("/files/", "/media/", "/static/"):
        assert counter.get(prefix + name).status_code == 404


def test_photo_taken_off_can_be_put_back(client_as):
    job, client = build.job(), client_as("counter")
    send(client, job, JPEG)
    photo = job.photos.get()
    address = reverse("remove_photo", args=[job.number, photo.pk])
    picture = reverse("photo", args=[job.number, photo.pk, "small"])
    assert client.get(address).status_code == 405
    card = client.get(client.post(address)["Location"]).content.decode()
    assert "is off the card" in card
    assert f'action="{address}"' in card
    assert picture not in card
    assert client.get(picture).status_code == 404
    card = client.get(client.post(address, {"restore": "1"})["Location"]).content.decode()
    assert picture in card
    assert [entry.verb for entry in job.history.all()] == [
        "added a photo",
        "took a photo off",
        "put a photo back",
    ]


def test_stranger_and_closed_card_take_no_photo(client_as, client):
    job = build.job()
    assert reverse("login") in send(client, job, JPEG)["Location"]
    closed = build.job(stage="hand_back", closed_at=timezone.now())
    assert send(client_as("owner"), closed, JPEG).status_code == 403
    assert not Photo.objects.exists()


def test_photos_come_with_a_new_card(client_as):
    client = client_as("counter")
    values = {"stock": "on", "unit-maker": "Ember & Stroud", "once": new_key()}
    refused = client.post(reverse("new_job"), values | {"photos": [upload(HOSTILE["svg"])]})
    assert refused.status_code == 422
    answer = client.post(reverse("new_job"), values | {"photos": [upload(JPEG), upload(PNG)]})
    assert answer.status_code == 302
    assert Photo.objects.count() == 2


def refused_with(client, **changes):
    values = {"stock": "on", "unit-maker": "Ember & Stroud", "once": new_key()} | changes
    answer = client.post(reverse("new_job"), values)
    assert answer.status_code == 422
    assert not Photo.objects.exists()
    return " ".join(unescape(answer.text).split()).split('id="id_photos_error">')[1].split("</p>")[0]


def test_photos_sent_with_a_refused_card_are_asked_for_by_name(client_as):
    photos = [upload(JPEG, "front.jpg"), upload(JPEG, "stamp.jpg")]
    said = refused_with(client_as("counter"), **{"unit-maker": "", "photos": photos})
    assert said == "Choose the 2 photos again, a browser keeps none: front.jpg, stamp.jpg."


def test_one_bad_picture_is_named_and_the_good_ones_asked_for(client_as):
    photos = [upload(JPEG, "front.jpg"), upload(HOSTILE["svg"], "drawing.jpg"), upload(JPEG, "stamp.jpg")]
    said = refused_with(client_as("counter"), photos=photos)
    assert said.startswith("drawing.jpg can't be read")
    assert said.endswith("Choose the other 2 photos again, a browser keeps none: front.jpg, stamp.jpg.")
    alone = [upload(HOSTILE["svg"], "drawing.jpg")]
    said = refused_with(client_as("counter"), **{"unit-maker": "", "photos": alone})
    assert said.startswith("drawing.jpg can't be read")
    assert "a browser keeps none" not in said


def test_an_empty_picture_is_named(client_as):
    said = refused_with(client_as("counter"), photos=[upload(JPEG, "front.jpg"), upload(b"", "nothing.jpg")])
    assert "nothing.jpg: The submitted file is empty." in said
    assert "front.jpg" in said


def test_a_page_filled_in_without_a_script_says_which_photos_are_gone(client_as):
    job = build.job(stage="hand_back", closed_at=timezone.now())
    typed = {"once": new_key(), "start": str(job.pk), "photos": [upload(JPEG, "front.jpg")]}
    client = client_as("counter")
    page = client.post(reverse("new_job"), typed)
    assert "Choose the photo again, a browser keeps none: front.jpg." in page.text
    page = client.post(reverse("new_job"), typed | {"photos": [upload(JPEG, "front.jpg")]}, headers=HTMX)
    assert "a browser keeps none" not in page.text  # there the field itself stays


@pytest.mark.parametrize(
    ("wrong", "name"),
    [
        ({"unit-cylinders": "99", "engine-year": "1"}, "unit-cylinders"),
        ({"estimate": "lots"}, "estimate"),
        ({"stock": ""}, "customer"),
        ({}, "photos"),
    ],
)
def test_focus_lies_on_the_first_refused_field(client_as, wrong, name):
    values = {"stock": "on", "unit-maker": "Ember & Stroud", "once": new_key()} | wrong
    photos = [upload(HOSTILE["svg"], "drawing.jpg")]
    page = client_as("counter").post(reverse("new_job"), values | {"photos": photos}).text
    focused = re.findall(r"<(?:input|select|textarea)[^>]* autofocus[^>]*>", page)
    assert [re.search(r'name="([^"]+)"', tag)[1] for tag in focused] == [name]
