import io
import struct
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from kit.errors import Misuse
from kit.photo import Unmeasurable
from kit.photo.view import image_file
from kit.photo.view.image_file import (
    bare_jpeg,
    open_picture,
    open_reduced,
    pictures_in,
    thumbnail,
)


def saved(path: Path, pixels: np.ndarray, **how) -> Path:
    Image.fromarray(pixels).save(path, **how)
    return path


def bomb(width: int, height: int) -> bytes:
    """A PNG of a few hundred bytes that claims to be enormous."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        check = zlib.crc32(kind + body)
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", check)

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


@pytest.mark.parametrize(("width", "height"), [(15_000, 10_000), (100_000, 100_000)])
def test_a_picture_with_too_many_pixels_is_refused_before_it_is_unpacked(tmp_path, width, height):
    path = tmp_path / "bomb.png"
    path.write_bytes(bomb(width, height))
    with pytest.raises(Unmeasurable, match="pixels"):
        open_picture(path)


def test_a_file_of_many_megabytes_is_refused_unread(tmp_path):
    path = tmp_path / "long.jpg"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    with pytest.raises(Unmeasurable, match="200 MB"):
        open_picture(path)


@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_a_picture_cut_short_is_named(tmp_path, noise, suffix):
    path = saved(tmp_path / f"cut.{suffix}", noise)
    path.write_bytes(path.read_bytes()[:-5000])
    with pytest.raises(Unmeasurable, match="cut short"):
        open_picture(path)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "empty"),
        (b"patch,firing\n1-1,1\n", "not a picture"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1heic", "HEIC|cut short"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 200, "not a picture|cut short"),
        (b"%PDF-1.7", "not a picture"),
    ],
)
def test_what_is_no_picture_is_named(tmp_path, content, reason):
    path = tmp_path / "thing.jpg"
    path.write_bytes(content)
    with pytest.raises(Unmeasurable, match=reason):
        open_picture(path)


def test_a_preview_is_too_small(tmp_path, noise):
    with pytest.raises(Unmeasurable, match="not a preview"):
        open_picture(saved(tmp_path / "small.png", noise[:300, :400]))


def test_sixteen_bits_are_refused_in_words(tmp_path):
    path = tmp_path / "deep.tif"
    Image.fromarray(np.zeros((900, 1200), np.uint16)).save(path)
    with pytest.raises(Unmeasurable, match="8 bits"):
        open_picture(path)


@pytest.mark.parametrize("mode", ["L", "RGBA", "CMYK", "P"])
def test_other_kinds_of_colour_open_as_rgb(tmp_path, noise, mode):
    path = tmp_path / ("picture.jpg" if mode == "CMYK" else "picture.png")
    Image.fromarray(noise).convert(mode).save(path)
    assert open_picture(path).pixels.shape == (900, 1200, 3)


def test_the_focal_length_is_read_from_the_picture(tmp_path, noise):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = 24
    path = saved(tmp_path / "wide.jpg", noise, exif=exif)
    assert open_picture(path).focal_35mm == 24
    assert open_picture(saved(tmp_path / "plain.jpg", noise)).focal_35mm == 26


@pytest.mark.parametrize("focal", [0, 65535])
def test_a_senseless_focal_length_is_not_believed(tmp_path, noise, focal):
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0xA405] = focal
    path = saved(tmp_path / "odd.jpg", noise, exif=exif)
    assert open_picture(path).focal_35mm == 26


def test_a_reduced_picture_is_small_and_grey(tmp_path):
    big = np.zeros((3000, 4000, 3), np.uint8)
    for name in ("big.jpg", "big.png"):
        small = open_reduced(saved(tmp_path / name, big), 2000)
        assert small.ndim == 2
        assert max(small.shape) == 2000


def test_links_are_refused_and_hidden_files_passed_over(tmp_path, noise):
    outside = saved(tmp_path / "outside.png", noise)
    photos = tmp_path / "photos"
    (photos / "folder").mkdir(parents=True)
    (photos / "link.png").symlink_to(outside)
    (photos / ".hidden.png").write_bytes(b"")
    saved(photos / "real.png", noise)
    pictures, refused = pictures_in(photos)
    assert [p.name for p in pictures] == ["real.png"]
    assert list(refused) == ["link.png"]
    (tmp_path / "also").symlink_to(photos)
    with pytest.raises(Misuse, match="link"):
        pictures_in(tmp_path / "also")
    with pytest.raises(Misuse, match="no folder"):
        pictures_in(tmp_path / "none")


def test_damaged_pictures_never_fail_in_another_way(tmp_path, noise):
    buffer = io.BytesIO()
    Image.fromarray(noise).save(buffer, "JPEG")
    whole = np.frombuffer(buffer.getvalue(), np.uint8)
    rng = np.random.default_rng(5)
    path = tmp_path / "damaged.jpg"
    for _ in range(25):
        damaged = whole.copy()
        damaged[rng.integers(0, 700, 12)] = rng.integers(0, 256, 12)
        path.write_bytes(damaged.tobytes())
        try:
            assert open_picture(path).pixels.dtype == np.uint8
        except Unmeasurable as reason:
            assert str(reason).endswith(".")


@pytest.fixture
def plain():
    """Smooth, so that no word stands in it by chance."""
    across = np.arange(1200)[None, :, None] // 5
    return np.tile(across, (900, 1, 3)).astype(np.uint8)


@pytest.fixture
def telltale(tmp_path, plain):
    """A JPEG that says where, when and by whom it was taken, and lies on its side."""
    exif = Image.Exif()
    exif[0x010F], exif[0x013B], exif[0x0112] = "Maker", "Owner Name", 6
    exif.get_ifd(0x8825).update({1: "N", 2: (51.0, 30.0, 0.0), 3: "W", 4: (0.0, 7.0, 0.0)})
    exif.get_ifd(0x8769)[0x9003] = "2024:05:01 10:00:00"
    path = tmp_path / "telltale.jpg"
    Image.fromarray(plain).save(path, exif=exif, comment=b"at home")
    return path


def test_a_published_picture_says_nothing_of_place_time_or_owner(telltale):
    assert b"Owner Name" in telltale.read_bytes()
    content = bare_jpeg(thumbnail(telltale, 600))
    for word in (b"Owner Name", b"Maker", b"2024:05", b"Exif", b"GPS", b"at home"):
        assert word not in content
    with Image.open(io.BytesIO(content)) as clean:
        assert not clean.getexif()
        assert set(clean.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_a_thumbnail_stands_upright(telltale):
    small = thumbnail(telltale, 600)
    assert small.shape == (600, 450, 3)
    # Lying on its side it grew lighter to the right; upright it does downwards.
    assert small[-50:].mean() > small[:50].mean() + 50


def test_time_and_camera_are_read_from_the_picture(telltale):
    opened = open_picture(telltale)
    assert f"{opened.taken:%Y-%m-%d %H:%M}" == "2024-05-01 10:00"
    assert opened.camera == "Maker"


def test_folders_within_are_looked_into_one_a_phone(tmp_path, noise):
    for name in ("anna/IMG_1.png", "ben/IMG_1.png", ".cache/x.png"):
        (tmp_path / name).parent.mkdir()
        saved(tmp_path / name, noise)
    (tmp_path / "notes.csv").write_text("a")
    pictures, _ = pictures_in(tmp_path, passed_over=["notes.csv"])
    assert [p.relative_to(tmp_path).as_posix() for p in pictures] == [
        "anna/IMG_1.png",
        "ben/IMG_1.png",
    ]


def test_heic_opens_as_any_other_picture(tmp_path, noise):
    heif = pytest.importorskip("pillow_heif")
    heif.from_pillow(Image.fromarray(noise)).save(tmp_path / "phone.heic")
    assert open_picture(tmp_path / "phone.heic").pixels.shape == noise.shape
    assert open_reduced(tmp_path / "phone.heic", 800).shape == (600, 800)


def test_without_its_package_heic_is_asked_for_in_words(tmp_path, noise, monkeypatch):
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    image_file._formats.cache_clear()
    (tmp_path / "phone.heic").write_bytes(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic")
    try:
        with pytest.raises(Unmeasurable, match="pip install pillow-heif"):
            open_picture(tmp_path / "phone.heic")
    finally:
        image_file._formats.cache_clear()
