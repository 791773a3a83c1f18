"""series.toml to `Settings` and back."""

from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from itertools import pairwise
from typing import Any

import tomlkit

from kit.errors import Problem
from kit.series.blank import Blank, Stencil
from kit.series.cells import nearest
from kit.series.grade_scales import STEPS, Scale
from kit.series.setting_lines import decimal_commas, line_of, lines_of_keys, read_toml
from kit.series.settings import (
    DEFAULT_FACTORS,
    FACTORS,
    LEVEL_RULES,
    MINUTES_APART,
    SESSION_FACTORS,
    SETTING_RULES,
    TEXT,
    Prices,
    Settings,
    Verdict,
    Wish,
    are_texts,
)

FILE = "series.toml"
FORMAT = 2
"""The format that this kit writes. Folders without a number are of format 1."""

_SCALE_KEYS = ("name", "title", "question", "steps")
_WISH_KEYS = ("base", "overlay")

_TABLES = ("factors", "scale", "wish")
_SECTIONS = tuple(dict.fromkeys(key.split(".")[0] for key in SETTING_RULES if "." in key))
_SHOWN = 60
_ONE_OR_TWO = "Write {0}.{1} for one number, or {0}, {1} with a space for two levels."

_TAKEN = frozenset(
    (
        "series", "tile", "patch", "position", "base", "overlay", "session", "firing", "grader",
        "note", *FACTORS,
    )
)  # fmt: skip
"""Names that no scale may have, because a column of the joined tables has them."""


def parse_settings(content: bytes) -> tuple[Settings | None, list[Problem]]:
    """Read the bytes of series.toml.

    Returns
    -------
    Settings or None
        None when there is any problem.
    list of Problem
        Each with its line, as far as it can be found.
    """
    told, problem = read_toml(content, FILE)
    if told is None:
        return None, [problem] if problem else []
    found = _Findings(lines_of_keys(content.decode("utf-8-sig")))
    _check_keys(told, found)
    _check_factors(told.get("factors", {}), found)
    _check_scales(told.get("scale", []), found)
    _check_wishes(told.get("wish", []), found)
    _check_verdict(told.get("verdict", {}), found)
    for line, key, shown in decimal_commas(content.decode("utf-8-sig")):
        wrong, fix = f"{shown} is either one number or two.", _ONE_OR_TWO.format(*shown.split(","))
        found.problems.append(Problem(FILE, line, key, wrong, fix))
    return (None, found.problems) if found.problems else (_build(told), [])


def format_of(content: bytes) -> int:
    """Return the number of the format of a series.toml; the present one if it cannot be read."""
    told, _ = read_toml(content, FILE)
    number = FORMAT if told is None else told.get("format", 1)
    return number if isinstance(number, int) else FORMAT


def format_settings(settings: Settings) -> bytes:
    """Write settings as the bytes of series.toml. The opposite of `parse_settings`."""
    return tomlkit.dumps(_document(settings)).encode("utf-8")


def amend_settings(content: bytes, settings: Settings) -> bytes:
    """Change only what differs in a series.toml, and leave its remarks and layout as they are.

    Parameters
    ----------
    content : bytes
        A series.toml without problems.
    settings : Settings
        What it shall say.
    """
    was, _ = parse_settings(content)
    assert was is not None
    old, new = _document(was), _document(settings)
    text = tomlkit.parse(content.decode("utf-8-sig"))
    for key, value in new.items():
        if key == "format":
            _put_format(text)
        elif isinstance(value, dict) and isinstance(text.get(key), dict):
            for inner, inner_value in value.items():
                if old[key].get(inner) != inner_value:
                    text[key][inner] = inner_value
        elif old.get(key) != value:
            text[key] = value
    for key in old.keys() - new.keys():
        text.pop(key, None)
    return tomlkit.dumps(text).encode("utf-8")


def _put_format(text: tomlkit.TOMLDocument) -> None:
    """Say the format; above all sections, where only a key without one may stand."""
    if "format" in text:
        text["format"] = FORMAT
    else:
        at = next((n for n, (key, _) in enumerate(text.body) if key is not None), 0)
        text._insert_at(at, tomlkit.items.SingleKey("format"), tomlkit.item(FORMAT))


def _document(settings: Settings) -> dict[str, Any]:
    document: dict[str, Any] = {"title": settings.title, "question": settings.question}
    document["ask"] = settings.ask
    document["format"] = FORMAT
    if settings.started:
        document["started"] = settings.started
    if settings.follows:
        document["follows"] = list(settings.follows)
    if settings.learns_from:
        document["learns_from"] = list(settings.learns_from)
    document["seed"] = settings.seed
    if settings.leave_out:
        document["leave_out"] = list(settings.leave_out)
    if settings.used_up:
        document["used_up"] = list(settings.used_up)
    document["blank"] = _as_dict(settings.blank)
    document["stencil"] = _as_dict(settings.stencil)
    document["budget"] = {
        "tiles": settings.tiles,
        "patches_per_tile": settings.patches_per_tile,
        "tiles_per_session": settings.tiles_per_session,
    }
    if settings.stripes > 1:
        document["budget"] |= {
            "stripes": settings.stripes,
            "small_stencil_mm": settings.small_stencil_mm,
        }
    document["factors"] = {name: list(levels) for name, levels in settings.factors.items()}
    document["grading"] = {"graders": list(settings.graders), "blind": settings.blind}
    document["verdict"] = _as_dict(settings.verdict)
    document["bench"] = {
        "sifting_loss": settings.sifting_loss,
        "minutes_per_firing": settings.minutes_per_firing,
    }
    if settings.prices:
        document["prices"] = _as_dict(settings.prices)
    lengths = {name: getattr(settings, name) for name in ("card_across_mm", "card_down_mm")}
    if measured := {name: value for name, value in lengths.items() if value is not None}:
        document["photo"] = measured
    if settings.wishes:
        document["wish"] = [_as_dict(wish) for wish in settings.wishes]
    document["scale"] = [{**_as_dict(s), "steps": list(s.steps)} for s in settings.scales]
    return document


def _as_dict(thing: Any) -> dict[str, Any]:
    return {f.name: getattr(thing, f.name) for f in fields(thing)}


@dataclass
class _Findings:
    """Problems as they are found, and where each key stands."""

    lines: Mapping[str, int]
    problems: list[Problem] = field(default_factory=list)

    def add(self, key: str, wrong: str, fix: str) -> None:
        self.problems.append(Problem(FILE, line_of(key, self.lines), key, wrong, fix))


def _check_keys(told: Mapping[str, Any], found: _Findings) -> None:
    for key, value in _flat(told).items():
        if key in SETTING_RULES:
            rule = SETTING_RULES[key]
            if not rule.fits(value):
                found.add(key, f"{_shown(value)} cannot stand here.", rule.fix)
        elif key in _SECTIONS:
            fix = f"Write [{key}] on a line of its own, and the settings below it."
            found.add(key, "It must be a section.", fix)
        else:
            fix = f"Delete it.{nearest(key, SETTING_RULES)}"
            found.add(key, "The kit does not know this setting.", fix)
    for key in ("title", "question"):
        if key not in told:
            found.add(key, "It is missing.", f'Add a line: {key} = "..."')
    number = told.get("format")
    if isinstance(number, int) and number > FORMAT:
        wrong = (
            f"This series was written by a newer kit (format {number}; this one knows {FORMAT})."
        )
        found.add("format", wrong, "Bring the kit up to date.")


def _flat(told: Mapping[str, Any]) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for key, value in told.items():
        if key in _TABLES:
            continue
        if isinstance(value, dict) and key in _SECTIONS:
            flat |= {f"{key}.{inner}": v for inner, v in value.items()}
        else:
            flat[key] = value
    return flat


def _check_factors(told: object, found: _Findings) -> None:
    if not isinstance(told, dict):
        fix = "Write [factors] and below it lines such as mesh = [80, 100]."
        found.add("factors", "It must be a section.", fix)
        return
    for name, levels in told.items():
        key = f"factors.{name}"
        if name not in FACTORS:
            fix = f"Delete it.{nearest(name, FACTORS)}"
            found.add(key, "The kit does not know this factor.", fix)
        elif not isinstance(levels, list) or not levels or _alike(levels):
            found.add(
                key, f"{_shown(levels)} cannot stand here.", "Give a list of different levels."
            )
        else:
            rule = LEVEL_RULES[name]
            strange = [value for value in levels if not rule.fits(value)]
            for value in strange:
                found.add(key, f"{_shown(value)} cannot be a level.", rule.fix)
            if name in SESSION_FACTORS and not strange:
                _check_session_levels(name, key, levels, found)


def _check_session_levels(name: str, key: str, levels: list[Any], found: _Findings) -> None:
    """What changes between sessions is compared, or not spoken of; minutes lie clearly apart."""
    if len(levels) == 1:
        wrong, fix = "One level compares nothing.", "Give two levels or more, or delete the line."
        if name == "minutes":
            fix += " What the time in the heat is throughout stands in minutes_per_firing."
        found.add(key, wrong, fix)
    elif name == "minutes":
        near = [(a, b) for a, b in pairwise(sorted(levels)) if b < MINUTES_APART * a]
        for low, high in near:
            wrong = f"{low:g} and {high:g} minutes are too much alike to be told apart."
            fix = "Each must be at least a quarter longer than the next shorter one."
            found.add(key, wrong, fix)


def _alike(levels: list[Any]) -> bool:
    shown = [_shown(level) for level in levels]
    return len(set(shown)) < len(shown)


def _check_scales(told: object, found: _Findings) -> None:
    if not isinstance(told, list) or not all(isinstance(scale, dict) for scale in told):
        found.add("scale", "It must be a list.", "Start each scale with [[scale]].")
        return
    for n, scale in enumerate(told, start=1):
        _check_scale(f"scale {n}", scale, found)
    names = [scale.get("name") for scale in told]
    for needed in ("spread", "pull_through"):
        if told and needed not in names:
            fix = "Every series grades spread and pull_through; add it back."
            found.add("scale", f"The scale '{needed}' is missing.", fix)
    if _alike(names):
        found.add("scale", "Two scales share a name.", "Rename one.")


def _check_scale(key: str, scale: Mapping[str, Any], found: _Findings) -> None:
    for part in ("name", "title", "question"):
        if part not in scale:
            found.add(f"{key}.{part}", "It is missing.", TEXT.fix)
        elif not TEXT.fits(scale[part]):
            found.add(f"{key}.{part}", f"{_shown(scale[part])} cannot stand here.", TEXT.fix)
    for part in scale:
        if part not in _SCALE_KEYS:
            fix = f"Delete it.{nearest(part, _SCALE_KEYS)}"
            found.add(f"{key}.{part}", "The kit does not know this part of a scale.", fix)
    steps = scale.get("steps")
    if not are_texts(steps) or len(steps or ()) != STEPS:
        fix = f"Give {STEPS} texts, for the steps 0 to {STEPS - 1}."
        found.add(f"{key}.steps", "It does not fit.", fix)
    name = scale.get("name")
    if isinstance(name, str) and not (name.isidentifier() and name.islower()):
        fix = "Use small letters and underscores, such as colour_shift."
        found.add(f"{key}.name", f"{_shown(name)} cannot head a column.", fix)
    elif isinstance(name, str) and name in _TAKEN:
        found.add(f"{key}.name", f"'{name}' already heads another column.", "Choose another name.")


def _check_wishes(told: object, found: _Findings) -> None:
    fix = 'Write [[wish]] and below it base = "..." and overlay = "...".'
    if not isinstance(told, list) or not all(isinstance(wish, dict) for wish in told):
        found.add("wish", "It must be a list of pairs.", fix)
        return
    for n, wish in enumerate(told, start=1):
        if set(wish) != set(_WISH_KEYS) or not all(map(TEXT.fits, wish.values())):
            found.add(f"wish {n}", "It does not name a pair.", fix)


def _check_verdict(told: object, found: _Findings) -> None:
    if not isinstance(told, dict):
        return
    fine, broken = (told.get(k) for k in ("fine_edge_at_most", "breaks_through_from"))
    if isinstance(broken, int) and broken <= (fine if isinstance(fine, int) else 1):
        wrong = (
            f"At step {broken} of pull-through an edge would be fine and broken through at once."
        )
        found.add("verdict.breaks_through_from", wrong, "It must lie above fine_edge_at_most.")


def _shown(value: object) -> str:
    try:
        text = f"'{value}'" if isinstance(value, str) else str(value)
    except (ValueError, RecursionError):  # a number or a list too long to be written
        return "What is written"
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}..."


def _build(told: Mapping[str, Any]) -> Settings:
    budget, grading, bench = (told.get(k, {}) for k in ("budget", "grading", "bench"))
    plain = {k: told[k] for k in ("title", "question", "ask", "started", "seed") if k in told}
    verdict = dict(told.get("verdict", {}))
    fine = verdict.get("fine_edge_at_most", Verdict.fine_edge_at_most)
    verdict.setdefault("breaks_through_from", max(Verdict.breaks_through_from, fine + 1))
    blank = dict(told.get("blank", {}))
    if blank.get("shape") == "round":
        blank["height_mm"] = blank.get("width_mm", _default(Blank, "width_mm"))
    levels = {**DEFAULT_FACTORS, **told.get("factors", {})}
    chosen: dict[str, Any] = {
        **plain,
        **budget,
        **bench,
        **told.get("photo", {}),
        "blank": Blank(**blank),
        "stencil": Stencil(**told.get("stencil", {})),
        "verdict": Verdict(**verdict),
        "factors": {n: tuple(levels[n]) for n in FACTORS if n in levels},
        "wishes": tuple(Wish(**wish) for wish in told.get("wish", [])),
        "leave_out": tuple(told.get("leave_out", ())),
        "used_up": tuple(told.get("used_up", ())),
        "follows": tuple(told.get("follows", ())),
        "learns_from": tuple(told.get("learns_from", ())),
    }
    if "prices" in told:
        chosen["prices"] = Prices(**told["prices"])
    if "graders" in grading:
        chosen["graders"] = tuple(grading["graders"])
    if "blind" in grading:
        chosen["blind"] = grading["blind"]
    if told.get("scale"):
        chosen["scales"] = tuple(Scale(**{**s, "steps": tuple(s["steps"])}) for s in told["scale"])
    return Settings(**chosen)


def _default(of: type, name: str) -> Any:
    found = next(f for f in fields(of) if f.name == name)
    return None if found.default is MISSING else found.default
