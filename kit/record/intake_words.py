"""What taking a file in would do, in words."""

from collections.abc import Sequence

from kit.errors import Problem
from kit.record.comparison import Comparison
from kit.record.entries import Change, Entry, in_text
from kit.series import ACCIDENTS
from kit.wording import counted

_SHOWN = 40
_OF_A_FIRING = {"session": "session", "minutes": "minutes", "heat": "heat", "note": "notes"}


def describe(
    comparison: Comparison, problems: Sequence[Problem], ignored: Sequence[str] = ()
) -> str:
    """Say what is new, what changes an earlier entry, what is wrong and what was left aside."""
    lines: list[str] = []
    if problems:
        lines += [f"WRONG ({len(problems)}): nothing is taken in until this is mended."]
        lines += _shortened([str(problem) for problem in problems])
    lines += [f"NEW: {_new_in_words(comparison.new)}."]
    noted = {entry.key for entry in comparison.new if entry.table == "firings"}
    implied = [entry for entry in comparison.implied if entry.key not in noted]
    if implied:
        lines += [f"  {_implied_in_words(implied)}"]
    if comparison.changed:
        lines += [
            f"CHANGED ({len(comparison.changed)}): what stood there is kept in corrections.csv."
        ]
        lines += _shortened(
            [
                f"{c.entry.row_in_words}: {c.entry.column} was {in_text(c.was)}, "
                f"becomes {in_text(c.entry.value) or 'blank'} ({c.entry.place})"
                for c in comparison.changed
            ]
        )
    if comparison.same:
        lines += [f"SAME: {counted(comparison.same, 'entry', 'entries')} on record already."]
    if ignored:
        lines += ["LEFT ASIDE (the file itself is kept as it came):", *_shortened(ignored)]
    return "\n".join(lines)


def before_in_words(before: str, held_back: Sequence[Change]) -> list[str]:
    """Say that the same file came before, and which later corrections it would undo."""
    if not before:
        return []
    lines = [f"BEFORE: this very file was handed in before (as received/{before})."]
    if held_back:
        count = counted(len(held_back), "later correction", "later corrections")
        lines += [f"  Taking it in now would undo {count}, so these stay as they stand:"]
        lines += _shortened(
            [
                f"{c.entry.row_in_words}: {c.entry.column} stays {in_text(c.was) or 'blank'}; this "
                f"file says {in_text(c.entry.value)} ({c.entry.place})"
                for c in held_back
            ]
        )
        lines += ["  To go back to an earlier grade, type it into a newer file and hand that in."]
    return lines


def notices(
    missing: Sequence[str], of_lost_pieces: Sequence[str], comparison: Comparison
) -> list[str]:
    """Say what may be an oversight: none of it stands in the way of taking the file in."""
    lines: list[str] = []
    if missing:
        lines += ["MISSING from the file:", *_shortened(missing)]
    if of_lost_pieces:
        lines += [
            "KEPT, BUT LEFT OUT by the models, for nothing can be learnt from a lost piece:",
            *_shortened(of_lost_pieces),
        ]
    entries = (*comparison.new, *(c.entry for c in comparison.changed))
    accidents = (str(e.value) for e in entries if e.column == "accident")
    words = dict.fromkeys(word.split(" (firing ")[0] for word in accidents)
    if own := [f"'{word}'" for word in words if word not in ACCIDENTS]:
        lines += [
            f"YOUR OWN WORDS for an accident are kept: {', '.join(own)}. The usual ones, which "
            f"are counted together, are: {', '.join(ACCIDENTS)}."
        ]
    return lines


def doubts_in_words(doubts: Sequence[str]) -> list[str]:
    """Ask about what may be a mistake."""
    return ["PLEASE LOOK AGAIN before this is written:", *_shortened(doubts)] if doubts else []


def _new_in_words(new: Sequence[Entry]) -> str:
    if not new:
        return "nothing"
    grades = {e.key for e in new if e.table == "grades"}
    firings = {e.key for e in new if e.table == "firings" and e.column != "accident"}
    accidents = [e for e in new if e.column == "accident"]
    parts = []
    if grades:
        patches = len({key[0] for key in grades})
        by = ", ".join(sorted({str(key[2]) for key in grades}))
        parts.append(f"grades for {counted(patches, 'patch', 'patches')} by {by}")
    if firings:
        parts.append(f"{_noted(new)} of {counted(len(firings), 'firing', 'firings')}")
    if accidents:
        parts.append(counted(len(accidents), "accident", "accidents"))
    return f"{', '.join(parts)} ({counted(len(new), 'cell', 'cells')} in all)"


def _noted(new: Sequence[Entry]) -> str:
    columns = {e.column for e in new if e.table == "firings"}
    words = [word for column, word in _OF_A_FIRING.items() if column in columns]
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))


def _implied_in_words(implied: Sequence[Entry]) -> str:
    tiles = len({e.key[0] for e in implied})
    return (
        f"{counted(len(implied), 'firing', 'firings')} of {counted(tiles, 'tile', 'tiles')} will "
        "be put on record too, because something was entered that came after."
    )


def _shortened(lines: Sequence[str]) -> list[str]:
    shown = [f"  {line}" for line in lines[:_SHOWN]]
    return shown + ([f"  ... and {len(lines) - _SHOWN} more"] if len(lines) > _SHOWN else [])
