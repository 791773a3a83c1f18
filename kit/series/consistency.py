"""What the tables of a series must agree on with each other."""

from collections.abc import Collection, Iterable, Mapping

import pandas as pd

from kit.errors import Misuse, Problem
from kit.series.cells import nearest
from kit.series.settings import Settings
from kit.series.stripes import places_on_tile
from kit.series.tables import Table

Frames = Mapping[str, pd.DataFrame]

_MOST_ALIKE = 200
"""How many rows are named that are wrong in the same way."""


def table_problems(
    tables: Mapping[str, Table], frames: Frames, unreadable: Collection[str] = ()
) -> list[Problem]:
    """Find what the tables contradict each other in, whatever the settings.

    Parameters
    ----------
    tables : mapping of str to Table
    frames : mapping of str to DataFrame
        As `parse_table` returns them, indexed by spreadsheet row.
    unreadable : collection of str
        Tables that are missing or could not be read; nothing is checked against them.

    Returns
    -------
    list of Problem
    """
    problems: list[Problem] = []
    for name, table in tables.items():
        problems += _repeated(table, frames[name], table.key)
        problems += _unknown(table, frames, unreadable)
    problems += _repeated(tables["patches"], frames["patches"], ("tile", "position"))
    problems += _colours_almost_alike(frames["colours"])
    problems += _like_within_a_family(frames["colours"])
    problems += _lost_without_accident(frames["patches"])
    problems += _skipped_firings(frames["firings"])
    problems += _stripes_out_of_order(frames)
    if not {"patches", "firings"} & set(unreadable):
        problems += _grades_without_firing(frames)
    return problems


def settings_problems(
    settings: Settings, frames: Frames, unreadable: Collection[str] = ()
) -> list[Problem]:
    """Find what the tables and series.toml contradict each other in.

    Parameters and result as for `table_problems`.
    """
    problems = _off_the_tile(settings, frames) + _unknown_graders(settings, frames["grades"])
    if "colours" not in unreadable:
        problems += _unknown_settings_colours(settings, set(frames["colours"]["colour"].dropna()))
    return problems


def _repeated(table: Table, frame: pd.DataFrame, key: tuple[str, ...]) -> list[Problem]:
    problems = []
    frame = frame.dropna(subset=list(key))
    if not frame.duplicated(list(key)).any():
        return []
    first = pd.Series(frame.index, frame.index).groupby([frame[k] for k in key]).transform("first")
    for row in frame.index[frame.duplicated(list(key))][:_MOST_ALIKE]:
        what = ", ".join(f"{name} {frame.at[row, name]}" for name in key)
        problems.append(
            Problem(
                table.file,
                row,
                key[0],
                f"{what} already stands in row {first.at[row]}.",
                "Each may stand once: delete one of the rows, or correct it.",
            )
        )
    return problems


def _colours_almost_alike(colours: pd.DataFrame) -> list[Problem]:
    names = colours["colour"].dropna().drop_duplicates()
    alike = names[names.str.casefold().duplicated()]
    return [
        Problem(
            "colours.csv",
            row,
            "colour",
            f"'{name}' stands there already, with other capitals.",
            "Write the same colour the same way everywhere, or give the jars different names.",
        )
        for row, name in alike.items()
    ]


def _like_within_a_family(colours: pd.DataFrame) -> list[Problem]:
    """A colour is likened to one of the other family, so that the families can be compared."""
    family = dict(zip(colours["colour"], colours["family"], strict=True))
    return [
        Problem(
            "colours.csv",
            row,
            "like",
            f"'{like}' is of the same family as '{colour}'.",
            "Name the colour of the other family that looks most like it, or leave it blank.",
        )
        for row, colour, like in zip(colours.index, colours["colour"], colours["like"], strict=True)
        if like in family and family[like] == family.get(colour)
    ]


def _unknown(table: Table, frames: Frames, unreadable: Collection[str]) -> list[Problem]:
    problems = []
    frame = frames[table.name]
    for column, (other, other_column) in table.refers.items():
        if other in unreadable:
            continue
        known = set(frames[other][other_column].dropna())
        given = frame[column].dropna()
        given = given[given != ""]
        for row, value in given[~given.isin(known)][:_MOST_ALIKE].items():
            hint = nearest(str(value), map(str, known)) if isinstance(value, str) else ""
            problems.append(
                Problem(
                    table.file,
                    row,
                    column,
                    f"{column} {value!r} is not in {other}.csv.",
                    f"Correct it, or add it to {other}.csv.{hint}",
                )
            )
    return problems


def _off_the_tile(settings: Settings, frames: Frames) -> list[Problem]:
    patches = frames["patches"]
    if patches.empty:
        return []
    stripes = frames["stripes"].groupby("tile")["stripe"].max()
    counts: dict[int, int] = {}
    for number in {1, *stripes.dropna().astype(int)}:
        try:
            counts[number] = len(places_on_tile(settings, number))
        except Misuse as cannot:
            which = "patches_per_tile" if number == 1 else "stripes"
            return [Problem("series.toml", None, f"budget.{which}", str(cannot), "")]
    room = patches["tile"].map(stripes).fillna(1).astype(int).map(counts)
    return [
        Problem(
            "patches.csv",
            row,
            "position",
            f"The tile has {room[row]} positions, not {position}.",
            "Correct it, or raise patches_per_tile in series.toml.",
        )
        for row, position in patches["position"].dropna().items()
        if position > room[row]
    ]


def _lost_without_accident(patches: pd.DataFrame) -> list[Problem]:
    told = patches["accident"].fillna("") != ""
    return [
        Problem(
            "patches.csv",
            row,
            "lost_at",
            "The patch was lost at a firing, but nothing says why.",
            "Say under accident what happened, or empty the cell.",
        )
        for row in patches.index[patches["lost_at"].notna() & ~told]
    ]


def _stripes_out_of_order(frames: Frames) -> list[Problem]:
    """Stripes of a tile are numbered from 1, differ, and begin with the tile's base."""
    base = frames["tiles"].dropna(subset=["tile"]).drop_duplicates("tile").set_index("tile")["base"]
    problems = []
    for tile, own in frames["stripes"].dropna(subset=["tile", "stripe"]).groupby("tile"):
        own = own.sort_values("stripe")
        wrong = ""
        if list(own["stripe"]) != list(range(1, len(own) + 1)) or len(own) < 2:
            wrong = f"The stripes of tile {tile} are not numbered 1, 2 and so on."
        elif own["base"].duplicated().any():
            wrong = f"Two stripes of tile {tile} have the same base."
        elif tile in base.index and base[tile] != own["base"].iloc[0]:
            wrong = f"The first stripe of tile {tile} is not its base in tiles.csv."
        if wrong:
            fix = "Give each stripe its number and a base of its own, the tile's base first."
            problems.append(Problem("stripes.csv", own.index[0], "stripe", wrong, fix))
    return problems


def _skipped_firings(firings: pd.DataFrame) -> list[Problem]:
    problems = []
    for tile, numbers in firings.dropna(subset=["tile", "firing"]).groupby("tile")["firing"]:
        present = set(numbers)
        for row, number in numbers.items():
            if number > 1 and number - 1 not in present:
                problems.append(
                    Problem(
                        "firings.csv",
                        row,
                        "firing",
                        f"Tile {tile} has a firing {number} but no firing {number - 1}.",
                        "Add the firing that is missing, or correct the number.",
                    )
                )
    return problems


def _grades_without_firing(frames: Frames) -> list[Problem]:
    grades = frames["grades"].dropna(subset=["patch", "firing"])
    whole = frames["patches"].dropna(subset=["patch", "tile", "before_firing"])
    patches = whole.drop_duplicates("patch").set_index("patch")
    had = set(zip(frames["firings"]["tile"], frames["firings"]["firing"], strict=True))
    problems = []
    for row, patch, firing in zip(grades.index, grades["patch"], grades["firing"], strict=True):
        if patch not in patches.index:
            continue
        tile, first = patches.at[patch, "tile"], patches.at[patch, "before_firing"]
        if (tile, firing) not in had:
            wrong = f"Tile {tile} never had a firing {firing}."
        elif firing < first:
            wrong = (
                f"Patch {patch} goes on before firing {first}; it cannot have been seen earlier."
            )
        else:
            continue
        fix = "Correct the firing, or add it to firings.csv."
        problems.append(Problem("grades.csv", row, "firing", wrong, fix))
    return problems


def _unknown_graders(settings: Settings, grades: pd.DataFrame) -> list[Problem]:
    if not settings.graders:
        return []
    given = grades["grader"].dropna()
    strangers = given[~given.isin(settings.graders)]
    return [
        Problem(
            "grades.csv",
            row,
            "grader",
            f"'{grader}' is not among the graders of this series.",
            "Add the name to graders in series.toml, or correct it."
            + nearest(grader, settings.graders),
        )
        for row, grader in strangers.items()
    ]


def check_colour_names(colours: pd.DataFrame, names: Iterable[str]) -> None:
    """Refuse what a person calls a colour and is none of colours.csv.

    Raises
    ------
    Misuse
        With the most similar name.
    """
    known = set(colours["colour"])
    for name in names:
        if name not in known:
            raise Misuse(f"'{name}' is not in colours.csv.{nearest(name, known)}")


def _unknown_settings_colours(settings: Settings, known: set[str]) -> list[Problem]:
    named = [("leave_out", colour) for colour in settings.leave_out]
    named += [("used_up", colour) for colour in settings.used_up]
    named += [("wish", c) for wish in settings.wishes for c in (wish.base, wish.overlay)]
    return [
        Problem(
            "series.toml",
            None,
            key,
            f"'{colour}' is not in colours.csv.",
            f"Correct it, or add it to colours.csv.{nearest(colour, known)}",
        )
        for key, colour in named
        if colour not in known
    ]
