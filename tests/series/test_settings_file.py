"""Whatever stands in series.toml is read or refused by line and key, and never with a traceback."""

import datetime as dt
import random
from dataclasses import fields

import pytest

from kit.series import Blank, Prices, Settings, Stencil, Verdict
from kit.series.new_folder import series_toml
from kit.series.settings import SETTING_RULES
from kit.series.settings_file import format_settings, parse_settings

HEAD = 'title = "T"\nquestion = "Q"\n'


def told(text):
    settings, problems = parse_settings((HEAD + text).encode())
    assert (settings is None) == bool(problems)
    return [str(problem) for problem in problems]


@pytest.mark.parametrize(
    ("text", "place", "says"),
    [
        ("[blank]\nwidth_mm = 62,5", "line 4", "Write 62.5"),
        ("[factors]\nbase_coat_weight = [62,5]", "line 4, factors.base_coat_weight", "62.5"),
        ("[factors]\ncoat_weight = [30, 40,5]", "line 4", "40.5 for one number"),
        ("ask = which pairs work", "line 3", 'Write ask = "which pairs work"'),
        ("seed: 5", "line 3", "= sign"),
        ("seed = 5\nseed = 6", "line 4", "twice"),
        ("\n[bench]\nsifting_los = 0.3", "line 5, bench.sifting_los", "Did you mean"),
        ("[verdict]\nconfidence = 80", "line 4, verdict.confidence", "0.51 to 0.99"),
        ("[verdict]\nbreaks_through_from = 1", "line 4", "above fine_edge_at_most"),
        ("[verdict]\nbreaks_through_from = 5", "line 4", "from 1 to 4"),
        ("blank = 5", "line 3, blank", "[blank] on a line of its own"),
        ("[grading]\nblind = 1", "line 4, grading.blind", "true, false"),
        ('[[wish]]\nbase = "A"', "line 3, wish 1", "does not name a pair"),
        ('[[scale]]\nname = "spread"\nsize = 3', "line 5, scale 1.size", "part of a scale"),
        ("started = 14.3.2026", "line 3", "cannot be read"),
        ("[factors]\nminutes = [1.5]", "line 4, factors.minutes", "minutes_per_firing"),
        ("[factors]\nminutes = [1.5, 1.8]", "line 4, factors.minutes", "quarter longer"),
        ("[factors]\nminutes = [0, 2]", "line 4, factors.minutes", "0.1 to 60"),
        ('[factors]\nheat = ["kiln"]', "line 4, factors.heat", "Give two levels or more"),
        ('[factors]\nheat = ["oven", "kiln"]', "line 4, factors.heat", "torch, kiln"),
        ("follows = 'spring'", "line 3, follows", "list of names"),
    ],
)
def test_problem_names_line_and_key_and_what_would_be_right(text, place, says):
    found = told(text)
    assert [p for p in found if p.startswith(f"series.toml, {place}") and says in p], found


@pytest.mark.parametrize("levels", ["[40,60]", "[40, 60]", "[30, 50]", "[62.5]", "[60, 40]"])
def test_levels_that_are_plainly_levels_are_taken(levels):
    assert told(f"[factors]\ncoat_weight = {levels}") == []


@pytest.mark.parametrize(
    "text",
    [
        f"seed = {'9' * 5000}", f"x = {'[' * 3000}{']' * 3000}", "a" * 300_000,
        "[" * 2000, "\x00", "scale = 3", "scale = [3]", "wish = {a = 1}", "factors = []",
        "[[scale]]\nname = [1]\nsteps = [[]]", "[[blank]]\nwidth_mm = 3", "[a.b.c.d]\ne = 1",
        "[factors]\nmesh = [[80]]", "[factors]\nmesh = [inf]", "[verdict]\nmesh = nan",
        "leave_out = [1, {}]", "started = 2026-03-14T12:00:00", "[blank.shape]\nx = 1",
    ],
)  # fmt: skip
def test_strange_settings_are_refused_in_words(text):
    assert told(text)


def test_a_thousand_mutations_never_raise():
    """Lines swapped, cut, doubled, values replaced by ones of another type."""
    source = series_toml("T", 1, dt.date(2026, 3, 14))
    odd = ["[]", "{}", "[[1]]", "1e999", "nan", "true", '"x"', "''", "2026-01-01", "[1, 'a']",
           "-1", "{a = {b = {c = 1}}}", "0x10", "1_000", "[", '"', "=", "\\"]  # fmt: skip
    dice = random.Random(5)
    refused = 0
    for _ in range(1000):
        lines = source.decode().splitlines()
        for _ in range(dice.randint(1, 3)):
            at = dice.randrange(len(lines))
            line = lines[at]
            lines[at] = dice.choice([
                line.split("=")[0] + "= " + dice.choice(odd), line[: dice.randrange(len(line) + 1)],
                f"{line}\n{line}", f"x{line}", line.replace("[", "[[", 1), line.replace('"', "", 1),
                line + dice.choice(odd),
            ])  # fmt: skip
        settings, problems = parse_settings("\n".join(lines).encode())
        assert (settings is None) == bool(problems)
        assert all(p.wrong and len(str(p)) < 500 for p in problems)
        refused += settings is None
        if settings:
            assert parse_settings(format_settings(settings))[0] == settings
    assert 500 < refused < 1000


def test_every_setting_that_the_code_knows_can_be_set():
    keys = {key.split(".")[-1] for key in SETTING_RULES}
    apart = {"factors", "wishes", "scales", "blank", "stencil", "verdict", "prices"}
    known = {f.name for f in fields(Settings)} - apart
    for part in (Blank, Prices, Stencil, Verdict):
        known |= {f.name for f in fields(part)}
    assert known <= keys, known - keys


def test_new_series_explains_every_setting_of_the_verdict():
    text = series_toml("T", 1, dt.date(2026, 3, 14)).decode()
    for name in ("fine_edge_at_most", "breaks_through_from"):
        (line,) = (li for li in text.splitlines() if li.startswith(name))
        assert "#" in line and "step" in line


def test_the_prices_that_a_new_series_suggests_are_read_once_the_signs_are_taken_away():
    text = series_toml("T", 1, dt.date(2026, 3, 14)).decode()
    assert parse_settings(text.encode())[0].prices is None
    start = text.index("# [prices]")
    block = text[start : text.index("\n\n", start)]
    priced = text.replace(block, block.replace("# ", "", 1).replace("\n# ", "\n"))
    settings, problems = parse_settings(priced.encode())
    assert not problems
    assert settings.prices == Prices("EUR", 20, 10, 0.1, 0)
    assert parse_settings(format_settings(settings))[0] == settings
    assert "prices.copper_per_kg" in told("[prices]\ncopper_per_kg = -1")[0]


def test_the_minutes_and_heat_that_a_new_series_suggests_are_read_once_the_signs_are_taken_away():
    text = series_toml("T", 1, dt.date(2026, 3, 14)).decode()
    assert parse_settings(text.encode())[0].varied_by_session == {}
    compared = text.replace("# minutes", "minutes").replace("# heat = [", "heat = [")
    settings, problems = parse_settings(compared.encode())
    assert not problems
    assert settings.varied_by_session == {"minutes": (1.5, 2.5), "heat": ("torch", "kiln")}
    assert parse_settings(format_settings(settings))[0] == settings
