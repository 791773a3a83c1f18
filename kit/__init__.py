"""Plan, fire, grade and understand test tiles of leaded and unleaded enamel.

The verbs of the job stand at the top: `read_series`, `plan`, `fit`, `pairs`, `next_patches`,
`analyse`, `write_report` and the like. Behind them lie the rooms (`kit.series`, `kit.mixed`,
`kit.model`, `kit.photo`, `kit.record`, `kit.design`, `kit.studio`, `kit.drawing`, `kit.sheets`,
`kit.report`, `kit.piece`). All are loaded when they are first used, so that `import kit` stays
quick. A verb that takes a series takes its name as well: `kit.fit("demo", "spread")`.
"""

from collections.abc import Callable
from functools import wraps
from importlib import import_module
from typing import TYPE_CHECKING, Any

_VERBS = {
    "analyse": "report.analyse",
    "ask_about": "piece.ask_about",
    "fit": "model.fit_series",
    "measure_photos": "photo.measure_series",
    "next_patches": "design.next_patches",
    "pairs": "model.pairs",
    "plan": "design.plan",
    "precision": "design.precision",
    "read_series": "series.read_series",
    "replan": "design.replan",
    "saving": "design.saving",
    "start_series": "series.start_series",
    "take_in": "record.take_in",
    "write_every_report": "report.write_every_report",
    "write_report": "report.write_report",
    "write_sheets": "sheets.write_sheets",
}
"""What each verb calls; `fit` and `measure_photos` speak of a series in their own rooms."""

_OF_SERIES = {
    "analyse", "fit", "next_patches", "pairs", "plan", "precision", "replan", "saving",
    "write_sheets",
}  # fmt: skip

_ROOMS = (
    "design", "drawing", "errors", "mixed", "model", "photo", "piece", "record", "report", "series",
    "sheets", "studio", "wording",
)  # fmt: skip

__all__ = [*_VERBS, *_ROOMS]

if TYPE_CHECKING:
    from kit.design import next_patches as next_patches
    from kit.design import plan as plan
    from kit.design import precision as precision
    from kit.design import replan as replan
    from kit.design import saving as saving
    from kit.model import fit_series as fit  # noqa: F401
    from kit.model import pairs as pairs
    from kit.photo import measure_series as measure_photos  # noqa: F401
    from kit.piece import ask_about as ask_about
    from kit.record import take_in as take_in
    from kit.report import analyse as analyse
    from kit.report import write_every_report as write_every_report
    from kit.report import write_report as write_report
    from kit.series import read_series as read_series
    from kit.series import start_series as start_series
    from kit.sheets import write_sheets as write_sheets


def __getattr__(name: str) -> Any:
    """Load a verb or a room when it is first used."""
    if name in _ROOMS:
        return import_module(f"kit.{name}")
    if name in _VERBS:
        room, verb = _VERBS[name].split(".")
        called = getattr(import_module(f"kit.{room}"), verb)
        return _by_name(called) if name in _OF_SERIES else called
    raise AttributeError(f"module 'kit' has no attribute {name!r}")


def _by_name(verb: Callable[..., Any]) -> Callable[..., Any]:
    """Let a verb read the series that it is given the name of."""

    @wraps(verb)
    def told(*given: Any, **named: Any) -> Any:
        if given and isinstance(given[0], str):
            from kit.series import read_series

            given = (read_series(given[0]), *given[1:])
        return verb(*given, **named)

    return told


def __dir__() -> list[str]:
    return sorted(__all__)
