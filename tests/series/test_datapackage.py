"""The folder of a series is valid by the open standard, judged by the standard's own library."""

import json

import pytest

from kit.series import read_series

frictionless = pytest.importorskip("frictionless")


def _report(folder):
    return frictionless.Package(str(folder / "datapackage.json")).validate()


def test_a_series_is_a_valid_data_package(folder):
    report = _report(folder)
    assert report.valid, report.flatten(["type", "message"])
    assert report.stats["tasks"] == 6, "five tables and a journal"


@pytest.mark.parametrize(
    ("file", "old", "new", "error"),
    [
        ("colours.csv", ",leaded,", ",led,", "constraint-error"),
        ("patches.csv", "T1-1,1,", "T1-1,77,", "foreign-key"),
        ("tiles.csv", "2,Ferry", "1,Ferry", "primary-key"),
        ("tiles.csv", ",60,", ",heavy,", "type-error"),
    ],
)
def test_the_package_knows_what_is_wrong_too(folder, file, old, new, error):
    path = folder / file
    path.write_text(path.read_text().replace(old, new, 1))
    assert error in {kind for (kind,) in _report(folder).flatten(["type"])}


def test_a_folder_from_before_a_column_was_thought_of_stays_valid(folder):
    patches = folder / "patches.csv"
    lines = [line.rsplit(",", 1)[0] for line in patches.read_text().splitlines()]
    assert patches.read_text().splitlines()[0].endswith(",lost_at")
    patches.write_text("\n".join(lines) + "\n")
    series = read_series(folder)
    (folder / "datapackage.json").write_bytes(series.files()["datapackage.json"])
    report = _report(folder)
    assert report.valid, report.flatten(["type", "message"])


def test_every_field_says_what_it_means(folder):
    package = json.loads((folder / "datapackage.json").read_text())
    fields = [f for r in package["resources"] if "schema" in r for f in r["schema"]["fields"]]
    assert all(f["description"] for f in fields)
    (journal,) = (r for r in package["resources"] if "schema" not in r)
    assert (folder / journal["path"]).is_file() and journal["description"]
    assert {f["unit"] for f in fields if f["name"] == "coat_weight"} == {"mg/cm²"}
