"""The files of a series written together with what the journal says of them."""

from collections.abc import Mapping
from pathlib import Path

from kit.series import datapackage, settings_file
from kit.series.disk import replace_files, write_whole, writing
from kit.series.journal import (
    CHANGED_BY_HAND,
    FOUND,
    Occasion,
    journal_files,
    lengthened,
    own_file,
    read_journal,
)
from kit.series.row_changes import (
    SETTINGS,
    RowChange,
    Rows,
    changes_between,
    rows_of_files,
)

_MEANT_FOR_HANDS = ("colours", SETTINGS)
"""What people write with an editor or a spreadsheet as a matter of course."""


def write_journaled(
    folder: Path,
    seen: Mapping[str, bytes],
    files: Mapping[str, bytes],
    occasion: Occasion | None = None,
    by_hand: tuple[str, ...] = _MEANT_FOR_HANDS,
    settled: tuple[RowChange, ...] = (),
) -> None:
    """Replace files of a series, all or none, and add what changes to its journal.

    Parameters
    ----------
    folder : Path
    seen : mapping of str to bytes
        The files as they were read; none for a new series.
    files : mapping of str to bytes
        As they shall be.
    occasion : Occasion, optional
    by_hand : tuple of str
        Tables whose changes from outside the kit are taken into the journal before.
    settled : tuple of RowChange
        Choices between values that the journal shall have, whatever the files say already.

    Raises
    ------
    ChangedMeanwhile, Misuse
        As for `replace_files`.
    """
    changed = {n for n, content in files.items() if seen.get(n) != content} - {datapackage.FILE}
    names = {*journal_files(folder), *([own_file()] if changed or settled else [])}
    package = files.get(datapackage.FILE) or seen.get(datapackage.FILE)
    if package:
        files = {**files, datapackage.FILE: datapackage.with_journals(package, names)}
    if not (changed or settled):
        replace_files(folder, files, seen)
        return
    files = _in_present_format(folder, seen, files)
    before, after = rows_of_files(seen), rows_of_files({**seen, **files})
    changes = changes_between(before, after)
    changes += [choice for choice in settled if choice not in changes]
    said = occasion or Occasion()
    if not said.what:
        said = Occasion(_what(changes), said.by, said.source, said.why, said.undoes)

    def journal() -> dict[str, bytes]:
        outside = _outside(folder, before, by_hand) if seen else []
        return lengthened(folder, [*outside, (said, changes)])

    replace_files(folder, files, seen, journal)


def take_in_by_hand(folder: Path, seen: Mapping[str, bytes], by: str, why: str = "") -> None:
    """Take into the journal whatever was changed in a series outside the kit; begin it if need be.

    Parameters
    ----------
    folder : Path
    seen : mapping of str to bytes
        The files as they were read.
    by, why : str

    Raises
    ------
    ChangedMeanwhile
        When they have changed since.
    """
    names = {own_file(), *journal_files(folder)}
    files = dict(seen)
    if package := seen.get(datapackage.FILE):
        files[datapackage.FILE] = datapackage.with_journals(package, names)

    def journal() -> dict[str, bytes]:
        found = rows_of_files(seen)
        known = read_journal(folder)
        if not known.events:
            return lengthened(folder, _outside(folder, found, ()))
        changes = changes_between(known.rows(), found)
        return lengthened(folder, [(Occasion(CHANGED_BY_HAND, by, why=why), changes)])

    replace_files(folder, files, seen, journal)


def _outside(
    folder: Path, found: Rows, tables: tuple[str, ...]
) -> list[tuple[Occasion, list[RowChange]]]:
    """What the journal does not know yet of the rows as they were found."""
    events = read_journal(folder).events
    if not events:
        return [
            (Occasion(FOUND, why="as they were when the journal began"), changes_between({}, found))
        ]
    known = read_journal(folder).rows()
    theirs = [c for c in changes_between(known, found) if c.table in tables]
    return [(Occasion(CHANGED_BY_HAND), theirs)]


def _in_present_format(
    folder: Path, seen: Mapping[str, bytes], files: Mapping[str, bytes]
) -> Mapping[str, bytes]:
    """Say the present format in series.toml, and keep the files of an older one as they were."""
    old = seen.get(settings_file.FILE)
    if old is None or (format_was := settings_file.format_of(old)) == settings_file.FORMAT:
        return files
    kept = folder / f"format-{format_was}"
    with writing(folder):
        kept.mkdir(exist_ok=True)
        for name, content in seen.items():
            if not (kept / name).exists():
                write_whole(kept / name, content)
    text = files.get(settings_file.FILE, old)
    now = settings_file.parse_settings(text)[0]
    if now is None:
        return files
    return {
        **files,
        settings_file.FILE: settings_file.amend_settings(text, now),
    }


def _what(changes: list[RowChange]) -> str:
    """Name what happened by the tables that changed."""
    tables = {change.table for change in changes}
    if "tiles" in tables or "patches" in tables:
        return "planned"
    if tables == {"measurements"}:
        return "measured"
    return "entered" if "grades" in tables else "written"
