"""The files of a series written together with what the journal says of them."""

from collections.abc import Mapping
from pathlib import Path

from kit.series import datapackage, settings_file
from kit.series.disk import replace_files, write_whole, writing
from kit.series.journal import (
    CHANGED_BY_HAND,
    FOUND,
    SETTINGS,
    Occasion,
    RowChange,
    Rows,
    changes_between,
    journal_files,
    lengthened,
    own_file,
    read_journal,
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

    Raises
    ------
    ChangedMeanwhile, Misuse
        As for `replace_files`.
    """
    changed = {n for n, content in files.items() if seen.get(n) != content} - {datapackage.FILE}
    names = {*journal_files(folder), *([own_file()] if changed else [])}
    files = {**files, datapackage.FILE: datapackage.with_journals(files[datapackage.FILE], names)}
    if not changed:
        replace_files(folder, files, seen)
        return
    files = _in_present_format(folder, seen, files)
    before, after = rows_of_files(seen), rows_of_files({**seen, **files})
    changes = changes_between(before, after)
    said = occasion or Occasion()
    if not said.what:
        said = Occasion(_what(changes), said.by, said.source, said.why, said.undoes)

    def journal() -> dict[str, bytes]:
        outside = _outside(folder, before, by_hand) if seen else []
        return lengthened(folder, [*outside, (said, changes)])

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
    now = settings_file.parse_settings(files[settings_file.FILE])[0]
    assert now is not None
    return {
        **files,
        settings_file.FILE: settings_file.amend_settings(files[settings_file.FILE], now),
    }


def _what(changes: list[RowChange]) -> str:
    """Name what happened by the tables that changed."""
    tables = {change.table for change in changes}
    if "tiles" in tables or "patches" in tables:
        return "planned"
    if tables == {"measurements"}:
        return "measured"
    return "entered" if "grades" in tables else "written"
