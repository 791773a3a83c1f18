"""The fonts that paper is set in: DejaVu for most scripts, Noto for the others when installed.

`pip install "enamel-tile-kit[fonts]"` brings Noto for Chinese, Japanese and Korean and for the
scripts of southern and south-eastern Asia. Without it what is written in them is set in the
machine's own fonts, and then the same data may give other bytes on another machine.
"""

import re
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

_NOTO = tuple(f"justmytype_intl_{part}" for part in ("cjk", "rtl", "sea", "south_asia"))
_BEYOND_DEJAVU = re.compile(r"[\u0780-\u0e3e\u0e40-\u1dff\u2e80-\ufaff\U00020000-\U0010ffff]")


def font_options(text: str) -> dict[str, Any]:
    """Say where typst finds the fonts that a text needs.

    Returns
    -------
    dict
        `font_paths` and `ignore_system_fonts`, as `typst.compile` takes them.
    """
    noto = [path for path in map(_folder, _NOTO) if path]
    alone = len(noto) == len(_NOTO) or not _BEYOND_DEJAVU.search(text)
    dejavu = _folder("matplotlib", "mpl-data", "fonts", "ttf")
    wanted = noto if _BEYOND_DEJAVU.search(text) else []
    return {
        "font_paths": [path for path in (dejavu, *wanted) if path],
        "ignore_system_fonts": alone,
    }


@cache
def _folder(package: str, *inside: str) -> Path | None:
    """Folder within a package, found without loading it; None when it is not installed."""
    found = find_spec(package)
    if found is None or found.origin is None:
        return None
    return Path(found.origin).parent.joinpath(*inside)
