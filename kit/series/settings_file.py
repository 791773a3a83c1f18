"""series.toml to `Settings` and back."""

import datetime as dt
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields
from typing import Any

import tomlkit

from kit.errors import Problem
from kit.series.blank import Blank, Stencil
from kit.series.cells import nearest
from kit.series.mesh import OPENING_UM
from kit.series.scales import STEPS, Scale
from kit.series.settings import DEFAULT_FACTORS, FACTORS, Settings, Verdict, Wish
from kit.series.vocabulary import ASKS, FAMILIES

FILE = "series.toml"


@dataclass(frozen=True)
class _Rule:
    """What one key may hold."""

    fits: Callable[[Any], bool]
    fix: str


def _number(low: float, high: float, unit: str = "") -> _Rule:
    return _Rule(
        lambda v: isinstance(v, int | float) and not isinstance(v, bool) and low <= v <= high,
        f"It must be a number from {low:g} to {high:g}{unit}.",
    )


def _whole(low: int, high: int) -> _Rule:
    return _Rule(
        lambda v: isinstance(v, int) and not isinstance(v, bool) and low <= v <= high,
        f"It must be a whole number from {low} to {high}.",
    )


def _one_of(*words: object) -> _Rule:
    return _Rule(lambda v: v in words, f"It must be one of: {', '.join(map(str, words))}.")


def _texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(v, str) and v.strip() for v in value)


_TEXT = _Rule(lambda v: isinstance(v, str) and bool(v.strip()), "It must be text in quotes.")
_NAMES = _Rule(_texts, 'It must be a list of names, such as ["Ada", "Ben"].')
_MESH = _one_of(*OPENING_UM)
_COAT = _number(1, 500, " mg/cm²")

_RULES: Mapping[str, _Rule] = {
    "title": _TEXT,
    "question": _TEXT,
    "ask": _one_of(*ASKS),
    "started": _Rule(lambda v: type(v) is dt.date, "It must be a date, such as 2026-03-14."),
    "seed": _whole(0, 2**53),
    "leave_out": _NAMES,
    "blank.shape": _one_of("square", "round", "strip"),
    "blank.width_mm": _number(10, 400, " mm"),
    "blank.height_mm": _number(10, 400, " mm"),
    "blank.thickness_mm": _number(0.2, 5, " mm"),
    "blank.clearance_mm": _number(0.5, 50, " mm"),
    "stencil.shape": _one_of("disc", "square", "bar"),
    "stencil.size_mm": _number(3, 100, " mm"),
    "budget.tiles": _whole(1, 2000),
    "budget.patches_per_tile": _whole(1, 60),
    "budget.tiles_per_session": _whole(1, 500),
    "grading.graders": _NAMES,
    "grading.blind": _one_of(True, False),
    "verdict.fine_edge_at_most": _whole(0, 3),
    "verdict.fine_edge_mm": _number(0, 10, " mm"),
    "verdict.fine_edge_share": _number(0, 0.9),
    "verdict.confidence": _number(0.51, 0.99),
    "verdict.mesh": _MESH,
    "verdict.base_mesh": _MESH,
    "verdict.coat_weight": _COAT,
    "verdict.base_coat_weight": _COAT,
    "verdict.firings": _whole(1, 20),
    "bench.sifting_loss": _number(0, 0.9),
    "bench.minutes_per_firing": _number(0.1, 60, " minutes"),
    "photo.card_across_mm": _number(30, 400, " mm"),
    "photo.card_down_mm": _number(30, 400, " mm"),
}

_LEVEL_RULES: Mapping[str, _Rule] = {
    "base_family": _one_of(*FAMILIES),
    "overlay_family": _one_of(*FAMILIES),
    "base_coats": _whole(1, 9),
    "base_mesh": _MESH,
    "base_coat_weight": _COAT,
    "mesh": _MESH,
    "coat_weight": _COAT,
    "firings": _whole(1, 20),
}

_TABLES = ("factors", "scale", "wish")

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
    """
    try:
        told = tomllib.loads(content.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError:
        return None, [Problem(FILE, None, "", "It is not plain text.", "Save it as UTF-8.")]
    except tomllib.TOMLDecodeError as cannot:
        return None, [Problem(FILE, None, "", f"It cannot be read: {cannot}.", "Mend that line.")]
    flat = _flat(told)
    problems = _unknown_keys(flat)
    problems += [
        Problem(FILE, None, key, f"{_shown(flat[key])} cannot stand here.", rule.fix)
        for key, rule in _RULES.items()
        if key in flat and not rule.fits(flat[key])
    ]
    problems += [
        Problem(FILE, None, key, "It is missing.", f'Add a line: {key} = "..."')
        for key in ("title", "question")
        if key not in flat
    ]
    problems += _factor_problems(told.get("factors", {}))
    problems += _scale_problems(told.get("scale", []))
    problems += _wish_problems(told.get("wish", []))
    return (None, problems) if problems else (_build(told), [])


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
        if isinstance(value, dict) and isinstance(text.get(key), dict):
            for inner, inner_value in value.items():
                if old[key].get(inner) != inner_value:
                    text[key][inner] = inner_value
        elif old.get(key) != value:
            text[key] = value
    for key in old.keys() - new.keys():
        text.pop(key, None)
    return tomlkit.dumps(text).encode("utf-8")


def _document(settings: Settings) -> dict[str, Any]:
    document: dict[str, Any] = {"title": settings.title, "question": settings.question}
    document["ask"] = settings.ask
    if settings.started:
        document["started"] = settings.started
    document["seed"] = settings.seed
    if settings.leave_out:
        document["leave_out"] = list(settings.leave_out)
    document["blank"] = _as_dict(settings.blank)
    document["stencil"] = _as_dict(settings.stencil)
    document["budget"] = {
        "tiles": settings.tiles,
        "patches_per_tile": settings.patches_per_tile,
        "tiles_per_session": settings.tiles_per_session,
    }
    document["factors"] = {name: list(levels) for name, levels in settings.factors.items()}
    document["grading"] = {"graders": list(settings.graders), "blind": settings.blind}
    document["verdict"] = _as_dict(settings.verdict)
    document["bench"] = {
        "sifting_loss": settings.sifting_loss,
        "minutes_per_firing": settings.minutes_per_firing,
    }
    lengths = {name: getattr(settings, name) for name in ("card_across_mm", "card_down_mm")}
    if measured := {name: value for name, value in lengths.items() if value is not None}:
        document["photo"] = measured
    if settings.wishes:
        document["wish"] = [_as_dict(wish) for wish in settings.wishes]
    document["scale"] = [{**_as_dict(s), "steps": list(s.steps)} for s in settings.scales]
    return document


def _as_dict(thing: Any) -> dict[str, Any]:
    return {f.name: getattr(thing, f.name) for f in fields(thing)}


def _shown(value: object) -> str:
    return f"'{value}'" if isinstance(value, str) else str(value)


def _flat(told: Mapping[str, Any]) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for key, value in told.items():
        if key in _TABLES:
            continue
        if isinstance(value, dict):
            flat |= {f"{key}.{inner}": v for inner, v in value.items()}
        else:
            flat[key] = value
    return flat


def _unknown_keys(flat: Mapping[str, Any]) -> list[Problem]:
    return [
        Problem(
            FILE,
            None,
            key,
            "The kit does not know this setting.",
            f"Delete it.{nearest(key, _RULES)}",
        )
        for key in flat
        if key not in _RULES
    ]


def _factor_problems(told: Any) -> list[Problem]:
    if not isinstance(told, dict):
        fix = "Write [factors] and below it lines such as mesh = [80, 100]."
        return [Problem(FILE, None, "factors", "It must be a table.", fix)]
    problems = []
    for name, levels in told.items():
        key = f"factors.{name}"
        if name not in FACTORS:
            wrong, fix = "The kit does not know this factor.", f"Delete it.{nearest(name, FACTORS)}"
            problems.append(Problem(FILE, None, key, wrong, fix))
        elif not isinstance(levels, list) or not levels or len(set(map(str, levels))) < len(levels):
            wrong, fix = f"{levels} cannot stand here.", "Give a list of different levels."
            problems.append(Problem(FILE, None, key, wrong, fix))
        else:
            rule = _LEVEL_RULES[name]
            problems += [
                Problem(FILE, None, key, f"{_shown(v)} cannot be a level.", rule.fix)
                for v in levels
                if not rule.fits(v)
            ]
    return problems


def _scale_problems(told: Any) -> list[Problem]:
    problems = []
    if not isinstance(told, list) or not all(isinstance(scale, dict) for scale in told):
        return [Problem(FILE, None, "scale", "It must be a list.", "Start each with [[scale]].")]
    for n, scale in enumerate(told, start=1):
        key = f"scale {n}"
        for part in ("name", "title", "question"):
            if not _TEXT.fits(scale.get(part)):
                problems.append(Problem(FILE, None, f"{key}.{part}", "It is missing.", _TEXT.fix))
        steps = scale.get("steps")
        if not _texts(steps) or len(steps) != STEPS:
            fix = f"Give {STEPS} texts, for the steps 0 to {STEPS - 1}."
            problems.append(Problem(FILE, None, f"{key}.steps", "It does not fit.", fix))
        name = scale.get("name")
        if isinstance(name, str) and not (name.isidentifier() and name.islower()):
            fix = "Use small letters and underscores, such as colour_shift."
            problems.append(
                Problem(FILE, None, f"{key}.name", f"'{name}' cannot head a column.", fix)
            )
        elif name in _TAKEN:
            wrong = f"'{name}' already heads another column."
            problems.append(Problem(FILE, None, f"{key}.name", wrong, "Choose another name."))
    names = [scale.get("name") for scale in told]
    for needed in ("spread", "pull_through"):
        if told and needed not in names:
            fix = "Every series grades spread and pull_through; add it back."
            problems.append(Problem(FILE, None, "scale", f"The scale '{needed}' is missing.", fix))
    if len(set(map(str, names))) < len(names):
        problems.append(Problem(FILE, None, "scale", "Two scales share a name.", "Rename one."))
    return problems


def _wish_problems(told: Any) -> list[Problem]:
    good = isinstance(told, list) and all(
        isinstance(w, dict) and set(w) == {"base", "overlay"} and all(map(_TEXT.fits, w.values()))
        for w in told
    )
    fix = 'Write [[wish]] and below it base = "..." and overlay = "...".'
    return [] if good else [Problem(FILE, None, "wish", "A wish does not name a pair.", fix)]


def _build(told: Mapping[str, Any]) -> Settings:
    budget, grading, bench = (told.get(k, {}) for k in ("budget", "grading", "bench"))
    plain = {k: told[k] for k in ("title", "question", "ask", "started", "seed") if k in told}
    blank = dict(told.get("blank", {}))
    if blank.get("shape") == "round":
        blank["height_mm"] = blank.get("width_mm", _default(Blank, "width_mm"))
    chosen: dict[str, Any] = {
        **plain,
        **budget,
        **bench,
        **told.get("photo", {}),
        "blank": Blank(**blank),
        "stencil": Stencil(**told.get("stencil", {})),
        "verdict": Verdict(**told.get("verdict", {})),
        "factors": {n: tuple(told.get("factors", {}).get(n, DEFAULT_FACTORS[n])) for n in FACTORS},
        "wishes": tuple(Wish(**wish) for wish in told.get("wish", [])),
        "leave_out": tuple(told.get("leave_out", ())),
    }
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
