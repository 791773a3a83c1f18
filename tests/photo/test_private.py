import numpy as np
import pytest
from PIL import Image

from kit.photo import strip_private


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


@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_a_published_picture_says_nothing_of_place_time_or_owner(telltale, tmp_path, suffix):
    assert b"Owner Name" in telltale.read_bytes()
    target = tmp_path / f"clean.{suffix}"
    strip_private(telltale, target)
    content = target.read_bytes()
    for word in (b"Owner Name", b"Maker", b"2024:05", b"Exif", b"GPS", b"at home"):
        assert word not in content
    with Image.open(target) as clean:
        assert not clean.getexif()
        assert set(clean.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_it_stands_upright_without_its_note(telltale, tmp_path):
    target = tmp_path / "clean.png"
    strip_private(telltale, target)
    with Image.open(target) as clean, Image.open(telltale) as original:
        assert clean.size == original.size[::-1]
        turned = np.asarray(original.convert("RGB")).transpose(1, 0, 2)[:, ::-1]
        np.testing.assert_array_equal(np.asarray(clean), turned)


def test_pixels_can_be_given_instead_of_a_file(noise, tmp_path):
    strip_private(noise, tmp_path / "drawn.png")
    with Image.open(tmp_path / "drawn.png") as clean:
        np.testing.assert_array_equal(np.asarray(clean), noise)
