"""Mistakes of entering that nobody would notice later, and good files that must not be doubted."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from kit.record import Entry, apply, take_in
from kit.record.plausibility import second_thoughts
from kit.series import Settings, new_series, patch_name, read_series

SCALES = ("spread", "pull_through")


@pytest.fixture
def graded(fired_series):
    """Firing 1 is graded by both, firing 2 by Ada."""
    grades = fired_series.grades
    keep = (grades["firing"] == 1) | ((grades["firing"] == 2) & (grades["grader"] == "Ada"))
    return replace(fired_series, grades=grades[keep].reset_index(drop=True)), grades


@pytest.fixture
def fired_series():
    """Twelve tiles whose patches differ much, graded by two people who nearly agree."""
    names = ["Fog", "Slate", "Amber", "Moss"]
    stock = pd.DataFrame({"colour": names, "family": ["leaded", "unleaded"] * 2,
                          "opacity": "", "grain": "", "notes": ""}).astype("str")  # fmt: skip
    series = new_series("trial", Settings("T", "?", graders=("Ada", "Ben")), stock)
    tiles = pd.DataFrame({"tile": range(1, 13), "base": names * 3, "coats": 2, "mesh": 80,
                          "coat_weight": 60.0, "session": 1}).astype({"base": "str"})  # fmt: skip
    spots = [(t, p) for t in range(1, 13) for p in range(1, 5)]
    patches = pd.DataFrame({
        "patch": [patch_name(t, p) for t, p in spots], "tile": [t for t, _ in spots],
        "position": [p for _, p in spots], "overlay": [names[(t + p) % 4] for t, p in spots],
        "mesh": 100, "coat_weight": 40.0, "before_firing": 1, "accident": "",
    }).astype({"patch": "str", "overlay": "str", "accident": "str"})  # fmt: skip
    firings = pd.DataFrame(
        [
            {
                "tile": t,
                "firing": f,
                "session": 1,
                "minutes": 1.5,
                "heat": "",
                "accident": "",
                "note": "",
            }
            for t in range(1, 13)
            for f in (1, 2, 3)
        ]
    )
    random = np.random.default_rng(7)
    state = {(p, s): random.integers(0, 5) for p in patches["patch"] for s in SCALES}
    rows = [
        {"patch": p, "firing": f, "grader": g, "note": ""}
        | {s: int(np.clip(state[p, s] + random.choice([0, 0, 0, 1, -1]), 0, 4)) for s in SCALES}
        for f in (1, 2)
        for g in ("Ada", "Ben")
        for p in patches["patch"]
    ]
    grades = pd.DataFrame(rows)[["patch", "firing", "grader", *SCALES, "note"]]
    text = {"heat": "str", "accident": "str", "note": "str"}
    return replace(
        series, tiles=tiles, patches=patches, firings=firings.astype(text),
        grades=grades.astype({"patch": "str", "grader": "str", "note": "str"})
        .astype(dict.fromkeys(SCALES, "Int64")),
    )  # fmt: skip


def by_ben(grades):
    """Ben's sheet of firing 2, row by row."""
    own = grades.query("firing == 2 and grader == 'Ben'")
    return [
        [Entry("grades", (r.patch, 2, "Ben"), s, int(getattr(r, s)), "") for s in SCALES]
        for r in own.itertuples()
    ]


def flat(rows):
    return [entry for row in rows for entry in row]


def moved(rows, values):
    """The rows, each with the grades of another."""
    return [
        [replace(e, value=v.value) for e, v in zip(row, other, strict=True)]
        for row, other in zip(rows, values, strict=True)
    ]


def test_good_sheet_is_not_doubted(graded):
    series, grades = graded
    assert second_thoughts(series, flat(by_ben(grades))) == ()


@pytest.mark.parametrize(("start", "patch"), [(0, "T1-4"), (9, "T3-3")])
def test_rows_slipped_by_one_are_noticed_with_the_patch_they_slipped_at(graded, start, patch):
    series, grades = graded
    rows = by_ben(grades)
    slipped = rows[:start] + moved(rows[start + 1 :], rows[start:-1])
    (said,) = second_thoughts(series, flat(slipped))
    assert f"fit better one row higher, from about patch {patch} on. Did a row slip?" in said
    skipped = rows[:start] + moved(rows[start:-1], rows[start + 1 :])
    (said,) = second_thoughts(series, flat(skipped))
    assert "fit better one row lower, from about patch" in said


def test_scale_taken_the_other_way_round_is_noticed(graded):
    series, grades = graded
    turned = [replace(e, value=4 - e.value) if e.column == "spread" else e
              for e in flat(by_ben(grades))]  # fmt: skip
    (said,) = second_thoughts(series, turned)
    assert "the other way round for Spread" in said


def test_tiles_held_upside_down_are_noticed(graded):
    series, grades = graded
    rows = by_ben(grades)
    every = [row for t in range(12) for row in reversed(rows[4 * t : 4 * t + 4])]
    (said,) = second_thoughts(series, flat(moved(rows, every)))
    assert "every tile turned round" in said
    one = [*rows[:8], *moved(rows[8:12], rows[8:12][::-1]), *rows[12:]]
    assert all("on tile 3 fit better" in said for said in second_thoughts(series, flat(one)))


def test_sheet_of_another_grader_is_noticed(graded):
    series, grades = graded
    ada = grades.query("firing == 2 and grader == 'Ada'").set_index("patch")
    taken = [replace(e, value=int(ada.at[e.key[0], e.column])) for e in flat(by_ben(grades))]
    (said,) = second_thoughts(series, taken)
    assert "Is it Ada's file?" in said


def test_a_graders_own_sheet_handed_in_again_is_no_others_however_alike_they_grade(graded):
    series, grades = graded
    ada = grades.query("firing == 2 and grader == 'Ada'")
    both = pd.concat([grades.query("not (firing == 2 and grader == 'Ben')"),
                      ada.assign(grader="Ben")], ignore_index=True)  # fmt: skip
    alike = replace(series, grades=both.astype(grades.dtypes))
    assert not any("Is it Ada's file?" in said
                   for said in second_thoughts(alike, flat(by_ben(both))))  # fmt: skip


def test_two_scores_in_each_others_columns_are_noticed(graded):
    series, grades = graded
    other = {"spread": "pull_through", "pull_through": "spread"}
    mixed = [replace(e, column=other[e.column]) for e in flat(by_ben(grades))]
    (said,) = second_thoughts(series, mixed)
    assert "fit better with Spread and Pull-through exchanged" in said


def test_file_under_the_name_of_a_stricter_grader_is_noticed(graded):
    series, grades = graded
    strict = grades["grader"] == "Ben"
    stricter = grades.assign(
        **{s: (grades[s] + 2).clip(upper=4).where(strict, (grades[s] - 1).clip(lower=0))
           for s in SCALES}
    )  # fmt: skip
    first = stricter[stricter["firing"] == 1]
    again = first[first["grader"] == "Ada"].assign(firing=2)
    only_first = replace(series, grades=first.reset_index(drop=True))
    with_ada = replace(series, grades=pd.concat([first, again], ignore_index=True))
    by_ada = stricter.query("firing == 2 and grader == 'Ada'").assign(grader="Ben")
    assert second_thoughts(with_ada, flat(by_ben(stricter))) == ()
    (said,) = second_thoughts(with_ada, flat(by_ben(by_ada)))
    assert "look more like those that Ada gives" in said
    # What a firing does to all patches alike may be the firing's doing.
    assert second_thoughts(only_first, flat(by_ben(by_ada))) == ()


def test_many_changes_under_one_name_are_asked_about(graded):
    series, _ = graded
    own = series.grades.query("firing == 1 and grader == 'Ada'")
    changed = [
        Entry("grades", (r.patch, 1, "Ada"), "spread", (int(r.spread) + 1) % 5, "")
        for r in own.itertuples()
    ]
    said = second_thoughts(series, changed)
    assert said[0].startswith("48 grades that Ada gave before would change.")
    assert not any("gave before" in s for s in second_thoughts(series, changed[:5]))


def test_patches_not_fired_yet_and_lost_tiles_are_asked_about(graded):
    series, _ = graded
    fired = series.firings.query("firing == 1")
    entry = Entry("grades", ("T4-1", 3, "Ada"), "spread", 1, "")
    (said,) = second_thoughts(replace(series, firings=fired), [entry])
    assert "would skip a firing that nobody wrote down: 4" in said
    then = Entry("grades", ("T4-1", 2, "Ada"), "spread", 1, "")
    assert second_thoughts(replace(series, firings=fired), [then, entry]) == ()
    lost = series.firings.assign(accident="").astype({"accident": "str"})
    lost.loc[(lost["tile"] == 4) & (lost["firing"] == 2), "accident"] = "dropped"
    series = replace(series, firings=lost)
    minutes = Entry("firings", (4, 3), "minutes", 1.5, "")
    said = second_thoughts(series, [entry, minutes])
    assert len(said) == 2 and all("Tile 4 was lost at firing 2" in s for s in said)
    at_the_loss = [
        Entry("grades", ("T4-1", 2, "Ada"), "spread", 1, ""),
        Entry("firings", (4, 2), "minutes", 1.5, ""),
    ]
    (said,) = second_thoughts(series, at_the_loss)
    assert "here are grades of it after that" in said


def test_doubts_are_shown_before_a_file_is_written(graded, tmp_path):
    series, grades = graded
    folder = series.write(tmp_path / "data" / "trial")
    rows = by_ben(grades)
    slipped = moved(rows[1:], rows[:-1])
    file = tmp_path / "ben.csv"
    file.write_text(
        "patch,firing,grader,spread,pull_through\n"
        + "".join(f"{a.key[0]},2,Ben,{a.value},{b.value}\n" for a, b in slipped)
    )
    intake = take_in(folder, file, "Ben")
    assert "PLEASE LOOK AGAIN" in intake.describe() and intake.doubts
    apply(intake)
    assert len(read_series(folder).grades) == len(series.grades) + len(slipped)


def test_first_sheet_of_a_round_is_held_against_what_the_rounds_before_showed(
    fired_series, tmp_path
):
    """Every colour does as it did; nothing of the second round is on record yet."""
    overlay = fired_series.patches.set_index("patch")["overlay"]
    state = {"Fog": 0, "Slate": 4, "Amber": 2, "Moss": 1}
    of_colour = fired_series.grades["patch"].map(overlay).map(state).astype("Int64")
    grades = fired_series.grades.assign(
        spread=of_colour, pull_through=(of_colour + 1).clip(upper=4)
    )
    first = replace(fired_series, name="one", grades=grades).write(tmp_path / "data" / "one")
    settings = replace(fired_series.settings, follows=("one",))
    second = replace(fired_series, name="two", settings=settings, grades=grades.iloc[:0])
    second = read_series(second.write(first.parent / "two"))
    rows = by_ben(grades)
    slipped = rows[:1] + moved(rows[1:], rows[:-1])
    assert second_thoughts(second, flat(rows)) == ()
    (said,) = second_thoughts(second, flat(slipped))
    assert "fit better one row higher" in said
    assert second_thoughts(replace(second, folder=None), flat(slipped)) == ()
