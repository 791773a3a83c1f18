"""A colour's own page: over what, under what, how it takes repeated firings, what its jars say."""

import hashlib
import re
import unicodedata
from collections.abc import Iterable, Iterator

import pandas as pd

from kit.report.findings.pair_findings import Pair, PairFindings
from kit.report.gallery.pooled import Pooled
from kit.report.page.document import (
    Block,
    Bullets,
    Document,
    Paragraph,
    Point,
    Pointer,
    Section,
    table_of,
)
from kit.report.sections.closing import made_by
from kit.series import PULL_THROUGH, SPREAD, join_measurements, middle_grades, observations
from kit.wording import counted

FOLDER = "colours"
_ROLES = {"overlay": "Over which bases", "base": "Under which overlays"}


def colour_addresses(names: Iterable[str]) -> dict[str, str]:
    """Name the page of each colour, the same whatever other colours there are.

    The letters of a file are those that any web host or memory stick keeps; names that they cannot
    tell apart are told apart by a few digits made from the name.
    """
    return {name: f"{FOLDER}/{_plain(name)}.html" for name in names}


def _plain(name: str) -> str:
    bare = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    short = re.sub(r"[^a-z0-9]+", "-", bare).strip("-") or "colour"
    if short.replace("-", " ").title() == name:
        return short
    return f"{short}-{hashlib.sha256(name.encode()).hexdigest()[:6]}"


def colour_document(pooled: Pooled, found: PairFindings, colour: str) -> Document:
    """Put a colour's page together.

    Parameters
    ----------
    pooled : Pooled
    found : PairFindings
        Of all series together.
    colour : str
    """
    family = pooled.colours.set_index("colour")["family"][colour]
    used_in = [s for s in pooled.series if colour in set(s.colours["colour"])]
    sections = (
        *(_role(found, colour, role) for role in _ROLES),
        _repeated_firing(pooled, colour),
        _jars(pooled, colour),
        Section(
            "series",
            "Where it was used",
            (
                *(Pointer(s.settings.title, f"../{s.name}/report.html") for s in used_in),
                Pointer("All series", "../index.html"),
            ),
        ),
    )
    told = f"{family}; in {counted(len(used_in), 'series', 'series')}"
    return Document(colour, told, sections, None, made_by())


def _role(found: PairFindings, colour: str, role: str) -> Section:
    """What it does with every other colour, in one of its two roles."""
    pairs = [pair for pair in found if getattr(pair.first, role) == colour]
    if not pairs:
        told = Paragraph("No pair of it can be judged yet.")
        return Section(f"as-{role}", _ROLES[role], (told,))
    other = "base" if role == "overlay" else "overlay"
    pairs.sort(key=lambda p: (-p.through, -round(p.shown.chance, 4), p.name))
    frame = pd.DataFrame(
        {
            other.capitalize(): [getattr(pair.first, other) for pair in pairs],
            "Family": [getattr(pair.first, f"{other}_family") for pair in pairs],
            **{
                counted(count, "firing"): [_cell(pair, count) for pair in pairs]
                for count in found.firings
            },
            "Patches": [pair.patches for pair in pairs],
        }
    )
    held = sum(pair.through > 0 for pair in pairs)
    opening = f"As {role} it keeps a fine edge with {held} of {counted(len(pairs), 'colour')}."
    return Section(
        f"as-{role}", _ROLES[role], (Paragraph(opening), table_of(f"{colour} as {role}", frame))
    )


def _cell(pair: Pair, count: int) -> str:
    return next((row.cell for row in pair.rows if row.firings == count), "")


def _repeated_firing(pooled: Pooled, colour: str) -> Section:
    blocks: list[Block] = [*_grades_by_firing(pooled, colour), *_colour_change(pooled, colour)]
    if not blocks:
        blocks = [Paragraph("It has not been graded yet.")]
    return Section("firing", "How it takes repeated firing", tuple(blocks))


def _grades_by_firing(pooled: Pooled, colour: str) -> Iterator[Block]:
    for role in _ROLES:
        rows = []
        for scale in (SPREAD, PULL_THROUGH):
            seen = [middle_grades(observations(s), scale.name) for s in pooled.series]
            both = pd.concat(seen, ignore_index=True)
            here = both[both[role] == colour]
            rows.append(here.groupby("firings")["grade"].agg(["mean", "count"]))
        if all(one.empty for one in rows):
            continue
        counts = sorted(set(rows[0].index) | set(rows[1].index))
        frame = pd.DataFrame({"After firing": [str(int(count)) for count in counts]})
        for scale, one in zip((SPREAD, PULL_THROUGH), rows, strict=True):
            frame[f"{scale.title}, average grade"] = [
                f"{one.at[count, 'mean']:.1f}" if count in one.index else "" for count in counts
            ]
        frame["Patches"] = [
            int(max(one["count"].get(count, 0) for one in rows)) for count in counts
        ]
        yield table_of(f"Grades of {colour} as {role}, firing by firing", frame)


def _colour_change(pooled: Pooled, colour: str) -> Iterator[Block]:
    """How far photographs saw its colour move from the earliest picture, firing by firing."""
    seen = [join_measurements(s) for s in pooled.series if len(s.measurements)]
    if not seen:
        return
    both = pd.concat(seen, ignore_index=True)
    here = both[(both["overlay"] == colour) & both["colour_shift"].notna()]
    if here.empty:
        return
    moved = here.groupby("firings")["colour_shift"].agg(["mean", "count"])
    frame = pd.DataFrame(
        {
            "After firing": [str(int(count)) for count in moved.index],
            "Change of colour (CIEDE2000)": [f"{value:.1f}" for value in moved["mean"]],
            "Patches": [int(count) for count in moved["count"]],
        }
    )
    yield Paragraph(
        "Photographs saw its colour change since the earliest picture. Under 2 hardly anybody sees "
        "a change; from 5 on it is plain."
    )
    yield table_of(f"Change of colour of {colour}, firing by firing", frame)


def _jars(pooled: Pooled, colour: str) -> Section:
    points = []
    for series in pooled.series:
        for row in series.colours[series.colours["colour"] == colour].itertuples():
            said = ", ".join(part for part in (row.opacity, row.grain, row.notes) if part)
            points.append(Point(said or "nothing noted", f"{series.settings.title}:"))
    return Section("jars", "What its jars say", (Bullets(tuple(points)),))
