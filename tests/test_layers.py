"""The house is built as DEVELOPERS.md draws it: imports go one way, rooms open through one door."""

import ast
from pathlib import Path

import pytest

import kit

KIT = Path(kit.__file__).parent
UPWARDS = ("errors", "wording", "series", "mixed", "model", "photo", "record", "design", "studio")
BELOW = {
    "errors": set(),
    "wording": {"errors"},
    "series": {"errors", "wording"},
    "mixed": {"errors", "wording"},
    "model": {"errors", "wording", "series", "mixed"},
    "photo": {"errors", "wording", "series"},
    "record": {"errors", "wording", "series"},
    "design": {"errors", "wording", "series", "mixed", "model"},
    "studio": set(UPWARDS) - {"record", "studio"},
    "sheets": set(UPWARDS) - {"studio"},
    "report": {*UPWARDS, "sheets"} - {"studio"},
    "cli": {*UPWARDS, "sheets", "report"},
}
FIRED_WHEN_CALLED = {("design", "studio")}
"""The chance of noticing a difference is found by firing the plan in the invented studio."""

FILES = sorted(KIT.rglob("*.py"))


def _room(path):
    return path.relative_to(KIT).parts[0].removesuffix(".py")


def _imports(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("kit."):
            yield node.module.split(".")[1:], node.col_offset > 0


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(KIT)))
def test_imports_go_one_way_and_through_the_door(path):
    room = _room(path)
    if room == "__init__":
        return
    for (other, *inside), when_called in _imports(path):
        if other == room:
            continue
        assert other in BELOW[room] or ((room, other) in FIRED_WHEN_CALLED and when_called), other
        assert not inside, f"{path.name} reaches into {other}"


def test_no_file_is_too_long_to_be_read_in_one_sitting():
    lengths = {path.name: len(path.read_text("utf-8").splitlines()) for path in FILES}
    assert max(lengths.values()) <= 400, max(lengths, key=lengths.get)
