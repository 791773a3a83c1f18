"""Plants one-line faults where something is decided, and reports those that no test notices.

Run by hand, on a quiet machine:

    python tests/planted_faults.py            every fault of planted_faults.toml
    python tests/planted_faults.py piece      those whose file or decision has one of the words

Each fault is planted by itself in a copy of the tree below a temporary folder, where the tests that
ought to notice it are run; the working tree is only read. A fault counts as caught by tests alone
that pass without it. It ends with 1 when a fault survives or could not be tried.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
TABLE = Path(__file__).with_suffix(".toml")

_LEFT_BEHIND = (".git", ".venv", "__pycache__", ".*_cache", ".hypothesis", "dist", "reports")
_PASSED, _FAILED = 0, 1
"""What pytest ends with; anything else means that the tests could not be run at all."""

CAUGHT, SURVIVED, GONE, NOT_TRIED = "caught", "SURVIVED", "no longer applies", "could not be tried"


@dataclass(frozen=True)
class Fault:
    """One line made wrong.

    Parameters
    ----------
    file : str
        Below kit/.
    stands, faulty : str
        The line as it stands and as it is to be wrong, without its indentation. It must stand once
        in the file.
    tests : tuple of str
        What ought to notice, as pytest is told it, below tests/.
    decides : str
        What is decided in that line.
    """

    file: str
    stands: str
    faulty: str
    tests: tuple[str, ...]
    decides: str


def read_faults(table: Path = TABLE) -> list[Fault]:
    """Read the table of faults: by file, each with the tests of the file unless it has its own."""
    found = []
    for group in tomllib.loads(table.read_text("utf-8"))["file"]:
        usual = group.get("tests", "")
        for fault in group["fault"]:
            tests = tuple(fault.get("tests", usual).split())
            found.append(
                Fault(group["name"], fault["stands"], fault["faulty"], tests, fault["decides"])
            )
    return found


@contextmanager
def planted(tree: Path, fault: Fault) -> Iterator[bool]:
    """Make the line wrong and right again; yields whether it was there to be made wrong."""
    file = tree / "kit" / fault.file
    text = file.read_text("utf-8") if file.exists() else ""
    line = re.compile(rf"^([ \t]*){re.escape(fault.stands)}$", re.MULTILINE)
    if len(line.findall(text)) != 1:
        yield False
        return
    before = file.stat()
    file.write_text(line.sub(lambda at: at[1] + fault.faulty, text), "utf-8")
    # Another time than the right file's, so that Python does not take what it compiled of that.
    os.utime(file, (before.st_atime + 3600, before.st_mtime + 3600))
    try:
        yield True
    finally:
        file.write_text(text, "utf-8")
        os.utime(file, (before.st_atime, before.st_mtime))


def run_tests(tree: Path, tests: Sequence[str], keep_compiled: bool = False) -> int:
    """Run tests of a tree one after the other until one fails; what pytest ended with."""
    own = {"PYTHONPATH": str(tree), "OMP_NUM_THREADS": "1"}
    if not keep_compiled:
        own["PYTHONDONTWRITEBYTECODE"] = "1"
    asked = [sys.executable, "-m", "pytest", "-n", "0", "-x", "-q", "-p", "no:cacheprovider"]
    told = [f"tests/{name}" for name in tests]
    ended = subprocess.run(
        asked + told, cwd=tree, env={**os.environ, **own}, capture_output=True, check=False
    )
    return ended.returncode


def try_fault(tree: Path, fault: Fault) -> str:
    """Plant a fault and say what became of it."""
    with planted(tree, fault) as there:
        if not there:
            return GONE
        ended = run_tests(tree, fault.tests)
    return {_PASSED: SURVIVED, _FAILED: CAUGHT}.get(ended, NOT_TRIED)


def main() -> int:
    """Try the faults asked for and print what became of each."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    asked.add_argument("words", nargs="*", help="only faults whose file or decision has one")
    words = asked.parse_args().words
    faults = [
        fault
        for fault in read_faults()
        if not words or any(word in f"{fault.file} {fault.decides}" for word in words)
    ]
    with tempfile.TemporaryDirectory() as place:
        tree = Path(place) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(*_LEFT_BEHIND))
        passes: dict[str, bool] = {}
        outcomes: list[str] = []
        for fault in faults:
            for name in set(fault.tests) - set(passes):
                passes[name] = run_tests(tree, [name], keep_compiled=True) == _PASSED
            fit = all(passes[name] for name in fault.tests)
            tried = try_fault(tree, fault) if fit else NOT_TRIED
            outcomes.append(tried)
            print(f"{tried}: {fault.file}: {fault.decides}", flush=True)
            if tried != CAUGHT:
                print(f"    {fault.stands}\n    {fault.faulty}\n    {' '.join(fault.tests)}")
        for name in (name for name, passed in passes.items() if not passed):
            print(f"tests/{name} does not pass even without a fault")
    counts = {name: outcomes.count(name) for name in (CAUGHT, SURVIVED, GONE, NOT_TRIED)}
    print(f"{len(faults)} faults:", ", ".join(f"{n} {name}" for name, n in counts.items() if n))
    return int(counts[CAUGHT] < len(faults))


if __name__ == "__main__":
    sys.exit(main())
