"""The house is built as DEVELOPERS.md draws it: imports go one way, rooms open through one door."""

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import kit

KIT = Path(kit.__file__).parent
GUIDE = (KIT.parent / "DEVELOPERS.md").read_text("utf-8")
FLOORS = (
    ("errors",),
    ("wording",),
    ("series",),
    ("mixed",),
    ("model", "photo"),
    ("drawing",),
    ("record",),
    ("design",),
    ("studio",),
    ("sheets",),
    ("report",),
    ("piece",),
    ("cli",),
)
"""A room may use the rooms on the floors below its own."""
NEVER_USED = {("sheets", "studio"), ("report", "studio"), ("piece", "studio")}
"""What is printed and published comes from what was fired, never from the invented studio."""
BELOW = {
    room: {under for floor in FLOORS[:level] for under in floor}
    - {used for user, used in NEVER_USED if user == room}
    for level, floor in enumerate(FLOORS)
    for room in floor
}
FILES = sorted(KIT.rglob("*.py"))
OTHERS = {"BaseHTTPRequestHandler", "TyperGroup", "TyperCommand", "AsyncKernelManager"}
"""Classes of other libraries, which call the methods that ours override."""


def _room(path):
    return path.relative_to(KIT).parts[0].removesuffix(".py")


def _imports(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("kit."):
            yield node.module.split(".")[1:]


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(KIT)))
def test_imports_go_one_way_and_through_the_door(path):
    room = _room(path)
    if room == "__init__":
        return
    for other, *inside in _imports(path):
        if other == room:
            continue
        assert other in BELOW[room], other
        assert not inside, f"{path.name} reaches into {other}"


def test_no_file_is_too_long_to_be_read_in_one_sitting():
    lengths = {path.name: len(path.read_text("utf-8").splitlines()) for path in FILES}
    assert max(lengths.values()) <= 400, max(lengths, key=lengths.get)


def test_a_stem_stands_for_one_thing():
    stems = [path.stem for path in FILES if path.stem != "__init__"]
    assert sorted({stem for stem in stems if stems.count(stem) > 1}) == []


def test_no_file_has_the_name_of_a_function_in_it():
    """`kit.model.pairs` is one thing: what a room opens with never hides a file of it."""
    same = [
        str(path.relative_to(KIT))
        for path in FILES
        for node in ast.parse(path.read_text("utf-8")).body
        if isinstance(node, ast.FunctionDef) and node.name == path.stem
    ]
    assert same == []


def _defined(tree: ast.Module) -> Iterator[str]:
    """Public functions, classes, constants and methods; what other libraries call is not ours."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
        if isinstance(node, ast.ClassDef) and not OTHERS & {ast.unparse(b) for b in node.bases}:
            yield from (part.name for part in node.body if isinstance(part, ast.FunctionDef))
        if isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            yield from (one.id for one in targets if isinstance(one, ast.Name))


def _mentioned(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Load):
            yield node.id if isinstance(node, ast.Name) else node.attr


def _cells() -> Iterator[str]:
    for path in (KIT.parent / "notebooks").glob("*.ipynb"):
        for cell in json.loads(path.read_text("utf-8"))["cells"]:
            if cell["cell_type"] == "code":
                yield "".join(line for line in cell["source"] if line[:1] not in "%!")


def test_nothing_in_the_kit_is_used_by_tests_alone():
    """A name that neither the kit nor a notebook mentions serves nobody, but for the verbs."""
    trees = {path: ast.parse(path.read_text("utf-8")) for path in FILES}
    mentioned = {
        name for tree in (*trees.values(), *map(ast.parse, _cells())) for name in _mentioned(tree)
    }
    idle = {
        f"{path.relative_to(KIT)}: {name}"
        for path, tree in trees.items()
        for name in _defined(tree)
        if not name.startswith("_") and name not in mentioned | set(dir(kit))
    }
    assert sorted(idle) == []


def _with_own_percent(tree: ast.Module) -> Iterator[str]:
    """Strings that put a number before a percent sign by themselves."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.JoinedStr):
            continue
        written = ast.unparse(node)
        # In a style it is a length for the browser.
        if re.search(r"%'?\}|\}(\\xa0| )?%(?!;)", written) and "style=" not in written:
            yield written


def test_percentages_are_written_in_one_room():
    own = [
        f"{path.relative_to(KIT)}: {written}"
        for path in FILES
        if _room(path) != "wording"
        for written in _with_own_percent(ast.parse(path.read_text("utf-8")))
    ]
    assert own == []


def _drawn_in_the_guide():
    """Paths of the tree, from the house down, by how far each line stands in."""
    tree = re.search(r"^    kit/\n(?:    .*\n)+", GUIDE, re.MULTILINE)
    above = {}
    for line in tree[0].splitlines():
        depth = len(line) - len(line.lstrip())
        above = {at: name for at, name in above.items() if at < depth}
        named = re.split(r" {2,}", line.strip())[0]
        for name in named.split(", "):
            yield "".join((*above.values(), name))
        above[depth] = named


def _told_in_the_guide():
    """Paths of the table of questions; one without a folder stands beside the one before it."""
    for row in re.findall(r"^\| .*\? \| (.*) \|$", GUIDE, re.MULTILINE):
        beside = "kit"
        for path in re.findall(r"[\w/]+\.(?:py|js)\b", row):
            full = f"kit/{path}" if "/" in path else f"{beside}/{path}"
            beside = full.rpartition("/")[0]
            yield full


def test_the_tree_in_the_guide_is_the_tree():
    drawn = set(_drawn_in_the_guide())
    assert [path for path in sorted(drawn) if not (KIT.parent / path).exists()] == []
    rooms = {path.parent for path in FILES} - {KIT}
    packages = {f"{room.relative_to(KIT.parent).as_posix()}/" for room in rooms}
    assert packages - drawn == set()


def test_the_guide_answers_by_files_that_are_there():
    told = list(_told_in_the_guide())
    assert len(told) > 30
    assert [path for path in told if not (KIT.parent / path).exists()] == []


def test_the_guide_tells_the_floors():
    floors = " <- ".join(", ".join(floor) for floor in FLOORS)
    assert f"`{floors}`" in " ".join(GUIDE.split())
