"""Two machines take turns on one series through a drive; whatever happens, no grade is lost.

KIT_STEPS sets the number of random steps of each run (200 for the figures in RESULTS.md).
"""

import importlib.util
import os
import shutil
import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from kit.errors import ChangedMeanwhile, DataProblems, Misuse
from kit.record import (
    apply,
    correct,
    merge,
    reconcile,
    restore,
    take_in,
    undo,
    withdraw,
)
from kit.series import (
    Series,
    changes_between,
    examine,
    files_of,
    read_journal,
    rows_of_files,
    take_in_by_hand,
)


def planned(**told: object) -> Series:
    """The planned series of this room's tests."""
    place = Path(__file__).with_name("conftest.py")
    spec = importlib.util.spec_from_file_location("conftest_of_record", place)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.planned(**told)


STEPS = int(os.environ.get("KIT_STEPS", "15"))
MACHINES = st.sampled_from(["a", "b"])
PATCHES = st.sampled_from([f"T{t}-{p}" for t in (1, 2, 3) for p in (1, 2)])
GRADERS = st.sampled_from(["Ada", "Ben"])
TABLES = st.sampled_from(["grades.csv", "patches.csv", "tiles.csv", "firings.csv"])
REFUSALS = (Misuse, DataProblems, ChangedMeanwhile)


class TwoMachines(RuleBasedStateMachine):
    """Each machine has a folder of its own; a drive copies between them now and then."""

    @initialize()
    def begin(self) -> None:
        self.place = Path(tempfile.mkdtemp())
        self.folders = {m: self.place / m / "trial" for m in "ab"}
        for folder in self.folders.values():
            folder.parent.mkdir()
            self.on("a")
            if folder == self.folders["a"]:
                planned(graders=("Ada", "Ben")).write(folder)
            else:
                shutil.copytree(self.folders["a"], folder)
        self.synced = self.contents("a")
        self.entered: set[tuple[str, str, str]] = set()
        self.kept: dict[str, bytes] = {}

    def teardown(self) -> None:
        if hasattr(self, "place"):
            self.settle()
            shutil.rmtree(self.place)
            os.environ.pop("KIT_MACHINE", None)

    def on(self, machine: str) -> None:
        os.environ["KIT_MACHINE"] = machine

    def contents(self, machine: str) -> dict[str, bytes]:
        folder = self.folders[machine]
        return {
            p.relative_to(folder).as_posix(): p.read_bytes()
            for p in folder.rglob("*")
            if p.is_file() and p.name != ".lock"
        }

    @rule(machine=MACHINES, patch=PATCHES, grader=GRADERS, grade=st.integers(0, 4))
    def enter(self, machine: str, patch: str, grader: str, grade: int) -> None:
        self.on(machine)
        file = self.place / "in.csv"
        file.write_text(f"patch,firing,grader,spread\n{patch},1,{grader},{grade}\n")
        try:
            intake = take_in(self.folders[machine], file, grader)
            if any(intake.held_back):
                return
            apply(intake)
        except REFUSALS:
            return
        self.entered.add((patch, grader, str(grade)))

    @rule(machine=MACHINES, patch=PATCHES)
    def correct(self, machine: str, patch: str) -> None:
        self.amend(machine, lambda f: correct(f, patch, "sifter", "80", why="", by="Ada"))

    @rule(machine=MACHINES, patch=PATCHES)
    def withdraw(self, machine: str, patch: str) -> None:
        self.amend(machine, lambda f: withdraw(f, patch, firing=1, why="mistaken"))

    @rule(machine=MACHINES)
    def undo(self, machine: str) -> None:
        self.amend(machine, lambda f: undo(f))

    @rule(machine=MACHINES)
    def restore(self, machine: str) -> None:
        self.amend(machine, lambda f: restore(f))

    @rule(machine=MACHINES)
    def accept(self, machine: str) -> None:
        folder = self.folders[machine]
        self.on(machine)
        if examine(folder)[0] is not None:
            take_in_by_hand(folder, files_of(folder), "Ada")

    def amend(self, machine: str, prepare) -> None:
        self.on(machine)
        try:
            amendment = prepare(self.folders[machine])
            amendment.write(even_with_problems=False)
        except REFUSALS:
            return

    @rule(machine=MACHINES, table=TABLES)
    def open_in_a_spreadsheet(self, machine: str, table: str) -> None:
        path = self.folders[machine] / table
        if path.exists():
            self.kept[f"{machine}/{table}"] = path.read_bytes()

    @rule(machine=MACHINES, table=TABLES)
    def save_what_was_open(self, machine: str, table: str) -> None:
        if old := self.kept.pop(f"{machine}/{table}", None):
            (self.folders[machine] / table).write_bytes(old)

    @rule(machine=MACHINES, table=TABLES)
    def delete(self, machine: str, table: str) -> None:
        (self.folders[machine] / table).unlink(missing_ok=True)

    @rule()
    def sync(self) -> None:
        """As drives do it: the newer side wins, and where both changed a copy is made."""
        ours, theirs = self.contents("a"), self.contents("b")
        for name in {*ours, *theirs, *self.synced}:
            a, b, was = ours.get(name), theirs.get(name), self.synced.get(name)
            if a == b:
                continue
            if a == was:
                self.put("a", name, b)
            elif b == was or b is None:
                self.put("b", name, a)
            elif a is None:
                self.put("a", name, b)
            else:
                stem, _, suffix = name.rpartition(".")
                for machine in "ab":
                    self.put(machine, f"{stem} (conflicted copy).{suffix}", b)
                self.put("b", name, a)
        self.synced = self.contents("a")

    def put(self, machine: str, name: str, content: bytes | None) -> None:
        path = self.folders[machine] / name
        if content is None:
            path.unlink(missing_ok=True)
        else:
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(content)

    @rule(machine=MACHINES, choice=st.integers(0, 1))
    def merge(self, machine: str, choice: int) -> None:
        self.on(machine)
        try:
            found = merge(self.folders[machine])
            chosen = [c.values[min(choice, len(c.values) - 1)][0] for c in found.conflicts]
            found.settled(chosen, "Ada").write()
        except REFUSALS:
            return
        found.put_copies_away()

    @invariant()
    def every_difference_is_named(self) -> None:
        for folder in getattr(self, "folders", {}).values():
            told = reconcile(folder)
            known = read_journal(folder).rows()
            found = rows_of_files(files_of(folder))
            if changes_between(known, found):
                assert told.sentences

    def settle(self) -> None:
        """At the end every grade ever entered is in the tables, or the journal has it."""
        self.sync()
        for machine in "ab":
            self.on(machine)
            folder = self.folders[machine]
            restore(folder).write(even_with_problems=True)
            said = {
                (*(c.key[0], c.key[2]), (c.now or {}).get("spread", ""))
                for event in read_journal(folder).events
                for c in event.changes
                if c.table == "grades"
            }
            in_tables = {
                (key[0], key[2], cells.get("spread", ""))
                for (table, key), cells in rows_of_files(files_of(folder)).items()
                if table == "grades"
            }
            assert self.entered <= said | in_tables
            assert not read_journal(folder).damage


TwoMachines.TestCase.settings = settings(
    max_examples=2,
    stateful_step_count=STEPS,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
TestTwoMachines = TwoMachines.TestCase
