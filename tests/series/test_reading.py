"""Files as real spreadsheets save them are read as meant."""

import pandas as pd
import pytest

import kit

AS_SAVED = {
    "byte-order mark": lambda text: b"\xef\xbb\xbf" + text.encode(),
    "Windows line ends": lambda text: text.replace("\n", "\r\n").encode(),
    "semicolons": lambda text: text.replace(",", ";").encode(),
    "tabs": lambda text: text.replace(",", "\t").encode(),
    "decimal commas": lambda text: text.replace(",", ";").replace("60", "60,0").encode(),
    "sixteen bits": lambda text: text.encode("utf-16"),
    "blank rows": lambda text: (text.replace("\n", "\n,,,,,\n", 3) + ",,,,,\n\n\n").encode(),
    "stray spaces": lambda text: text.replace(",", " , ").encode(),
    "empty columns": lambda text: text.replace("\n", ",,\n").encode(),
    "headings with capitals": lambda text: text.replace("coat_weight", "Coat weight").encode(),
    "whole numbers as decimals": lambda text: text.replace(",2,", ",2.0,").encode(),
}


@pytest.mark.parametrize("quirk", AS_SAVED)
def test_a_quirk_of_spreadsheets_changes_nothing(folder, fired, quirk):
    path = folder / "tiles.csv"
    path.write_bytes(AS_SAVED[quirk](path.read_text()))
    pd.testing.assert_frame_equal(kit.read_series(folder).tiles, fired.tiles)


def test_families_are_read_whatever_their_capitals(folder):
    path = folder / "colours.csv"
    path.write_text(path.read_text().replace(",leaded", ",Leaded"))
    assert set(kit.read_series(folder).colours["family"]) == {"leaded", "unleaded"}


def test_settings_written_on_windows_are_read(folder, fired):
    path = folder / "series.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert kit.read_series(folder).settings == fired.settings


def test_a_column_added_by_hand_is_kept(folder):
    path = folder / "tiles.csv"
    first, *rest = path.read_text().splitlines()
    lines = [f"{first},Shelf", *(f"{line},top" for line in rest)]
    path.write_text("\n".join(lines) + "\n")
    series = kit.read_series(folder)
    assert set(series.tiles["shelf"]) == {"top"}
    series.write(folder)
    assert set(kit.read_series(folder).tiles["shelf"]) == {"top"}
