"""Every series' report, and one page over all of them."""

import hashlib
import re
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path

import joblib

from kit.errors import DataProblems, Misuse
from kit.report.findings.pair_findings import PairFindings
from kit.report.gallery.colour_page import FOLDER, colour_addresses, colour_document
from kit.report.gallery.index_page import index_document
from kit.report.gallery.pooled import Pooled, analyse_together, read_every_series, series_folders
from kit.report.page.document import Document
from kit.report.page.html import page
from kit.report.publish import MARK, fingerprint_on_disk, is_current, write_report
from kit.report.written_files import read_entry
from kit.series import write_whole
from kit.wording import listed, unescape, upper_first

Say = Callable[[str], None]


def write_every_report(
    data: Path | str,
    reports: Path | str,
    names: bool = False,
    progress: Say | None = None,
    jobs: int = 2,
    only: Sequence[str] = (),
) -> Path:
    """Make every series' report, and an index page over all of them.

    A series whose data have not changed since its report was made is left alone, so that a run
    that was stopped goes on where it stopped; when nothing has changed, nothing is done.

    Parameters
    ----------
    data, reports : Path
        The folder of the series, and the one the reports go to.
    names : bool
        As for `write_report`.
    progress : callable, optional
        Told of each report as it is made.
    jobs : int
        How many reports are made at once.
    only : sequence of str
        The names of those to take together; all of them when left out. Give them a folder of
        their own as `reports`.

    Returns
    -------
    Path
        Of reports/index.html.

    Raises
    ------
    Misuse
        When there is no series, or two series cannot be read together.

    Notes
    -----
    The invented demo series is left out unless it is the only one.
    """
    say = progress or (lambda text: None)
    into = Path(reports)
    folders = series_folders(data, only)
    marks = {folder: fingerprint_on_disk(folder, names) for folder in folders}
    stale = [f for f in folders if not is_current(into / f.name, marks[f])]
    say(f"{len(folders)} series, {len(stale)} with new data")
    tasks = [joblib.delayed(_write_one)(f, into / f.name, names) for f in stale]
    with warnings.catch_warnings():
        # A worker that grows or idles is replaced by a fresh one, and its work done there.
        warnings.filterwarnings("ignore", message="A worker stopped")
        made = joblib.Parallel(n_jobs=jobs, return_as="generator_unordered")(tasks)
        for count, (name, problem) in enumerate(made, start=1):
            say(f"{count} of {len(stale)}: {name}{f': {problem}' if problem else ''}")
    pieces = piece_pages(into)
    known = [*marks.values(), *(said for page_of in pieces for said in page_of)]
    whole = hashlib.sha256("\n".join(known).encode()).hexdigest()
    if is_current(into, whole) and not stale:
        return into / "index.html"
    say("What they say together")
    several, unread = read_every_series(data, only)
    pooled = analyse_together(several)
    entries = {s.name: read_entry(into / s.name) for s in pooled.series}
    _write_colours(pooled, into)
    title = f"{upper_first(listed(only))} together" if only else "All series together"
    document = index_document(pooled, entries, unread, pieces, title)
    write_page(document, into / "index.html")
    write_whole(into / MARK, f"{whole}\n".encode())
    return into / "index.html"


def piece_pages(into: Path) -> list[tuple[str, str]]:
    """Name the pages of pieces in a folder of reports: their titles, and addresses within it.

    Parameters
    ----------
    into : Path
    """
    found = []
    for path in sorted((into / "pieces").glob("*.html")):
        title = re.search(r"<title>(.*?)</title>", path.read_text("utf-8"), re.DOTALL)
        found.append((unescape(title[1]) if title else path.stem, f"pieces/{path.name}"))
    return found


def write_page(document: Document, path: Path) -> None:
    """Write a document as one self-contained web page, whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, page(document).encode("utf-8"))


def _write_colours(pooled: Pooled, into: Path) -> None:
    """Write a page for each colour, and take away those of colours that are gone."""
    found = PairFindings(pooled.pairs)
    addresses = colour_addresses(pooled.colours["colour"])
    (into / FOLDER).mkdir(parents=True, exist_ok=True)
    for name, address in addresses.items():
        write_page(colour_document(pooled, found, name), into / address)
    for left in (into / FOLDER).glob("*.html"):
        if f"{FOLDER}/{left.name}" not in addresses.values():
            left.unlink()


def _write_one(folder: Path, into: Path, names: bool) -> tuple[str, str]:
    """Make one report; return the name and, if it could not be made, why."""
    try:
        write_report(folder, into, names)
    except (Misuse, DataProblems) as problem:
        return folder.name, str(problem).splitlines()[0]
    return folder.name, ""
