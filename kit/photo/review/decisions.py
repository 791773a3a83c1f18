"""What a person decided on photographs: kept by the pictures' content, whatever they are called."""

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

import pandas as pd

from kit.errors import Misuse
from kit.series import locked, nearest, unguarded, write_records, write_whole, writing

Choice = Literal["accept", "strike out", "retake", "clear"]
CHOICES: tuple[Choice, ...] = get_args(Choice)
"""Accept what is doubted; strike out; ask for another picture; take an earlier decision back."""

_TURNED = re.compile(r"turned (\d{1,3})")
"""The tile lies turned clockwise by so many degrees, and is to be measured so."""

_ACCEPTED = {"accept": "yes", "strike out": "no", "retake": "no", "clear": ""}
_COLUMNS = ("picture_sha256", "patch", "decision", "by", "at", "picture")


@dataclass(frozen=True)
class Decision:
    """One decision.

    Parameters
    ----------
    picture_sha256 : str
        Fingerprint of the picture's content.
    patch : str
        Blank for every patch in the picture.
    decision : str
        One of `CHOICES`, or 'turned 180' for a tile that lies turned clockwise by so many degrees.
    by, at : str
        Who decided, and when, with the distance from universal time.
    picture : str
        What the picture was called then.
    """

    picture_sha256: str
    patch: str
    decision: str
    by: str = ""
    at: str = ""
    picture: str = ""


def read_decisions(path: Path) -> list[Decision]:
    """Read decisions in the order in which they were made; none when there is no file.

    Raises
    ------
    Misuse
        When the file is not one of decisions.
    """
    if path.is_symlink():
        raise Misuse(f"{path} is a link to another place. Put the file itself there.")
    if not path.is_file():
        return []
    try:
        rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    except (UnicodeDecodeError, csv.Error) as error:
        raise Misuse(f"{path} is not a table of decisions: {error}.") from error
    return list(_checked(rows, path))


def _checked(rows: list[dict[str, str]], path: Path) -> Iterator[Decision]:
    for number, row in enumerate(rows, start=2):
        lacking = [name for name in _COLUMNS[:3] if row.get(name) is None]
        if lacking:
            raise Misuse(f"{path}, row {number}: the column {lacking[0]} is missing.")
        turned = _TURNED.fullmatch(row["decision"] or "")
        if row["decision"] not in CHOICES and not (turned and not row["patch"]):
            raise Misuse(
                f"{path}, row {number}: '{row['decision']}' is no decision. Choose one of: "
                f"{', '.join(CHOICES)}.{nearest(row['decision'], CHOICES)}"
            )
        yield Decision(**{name: unguarded((row.get(name) or "").strip()) for name in _COLUMNS})


def add_decisions(path: Path, new: Iterable[Decision]) -> None:
    """Write decisions below those that are there. Earlier ones stay; the last on a patch counts."""
    with writing(path.parent), locked(path.parent):
        kept = [*read_decisions(path), *new]
        rows = ([getattr(decision, name) for name in _COLUMNS] for decision in kept)
        write_whole(path, write_records(_COLUMNS, rows))


def decided(decisions: Iterable[Decision]) -> dict[tuple[str, str], str]:
    """Give the decision that counts for each picture and patch; '' stands for the whole picture.

    A decision on a picture as a whole goes before those made earlier on its patches.
    """
    counts: dict[tuple[str, str], str] = {}
    for each in decisions:
        if each.decision not in CHOICES:
            continue
        if not each.patch:
            counts = {key: c for key, c in counts.items() if key[0] != each.picture_sha256}
        if each.decision == "clear":
            counts.pop((each.picture_sha256, each.patch), None)
            if each.patch and (each.picture_sha256, "") in counts:
                counts[each.picture_sha256, each.patch] = "clear"
        else:
            counts[each.picture_sha256, each.patch] = each.decision
    return counts


def turns(decisions: Iterable[Decision]) -> dict[str, float]:
    """Degrees by which the tile in each picture lies turned clockwise, where someone said so."""
    said: dict[str, float] = {}
    for each in decisions:
        if turned := _TURNED.fullmatch(each.decision):
            said[each.picture_sha256] = float(turned[1])
        elif each.decision == "clear" and not each.patch:
            said.pop(each.picture_sha256, None)
    return said


def turned_by(degrees: float) -> str:
    """The decision that a picture's tile lies turned clockwise by so many degrees."""
    return f"turned {degrees:.0f}"


def with_accepted(table: pd.DataFrame, decisions: Iterable[Decision]) -> pd.DataFrame:
    """Fill the column `accepted` of measurements as was decided."""
    counts = decided(decisions)
    said = [
        _ACCEPTED[counts.get((sha256, patch), counts.get((sha256, ""), "clear"))]
        for sha256, patch in zip(table["picture_sha256"], table["patch"], strict=True)
    ]
    return table.assign(accepted=pd.Series(said, index=table.index, dtype="str"))


def typed_decisions(table: pd.DataFrame, decisions: Iterable[Decision], at: str) -> list[Decision]:
    """Find what a person typed under `accepted` in measurements.csv since it was last written."""
    choices: dict[str, Choice] = {"yes": "accept", "no": "strike out", "": "clear"}
    should = with_accepted(table, decisions)["accepted"]
    is_ = table["accepted"].fillna("").str.strip().str.lower()
    changed = table[(should != is_).to_numpy()]
    return [
        Decision(row.picture_sha256, row.patch, choices[said], "measurements.csv", at, row.picture)
        for row, said in zip(changed.itertuples(), is_[changed.index], strict=True)
    ]
