"""The look-up as a part of a page: a form, its data, and a drawing of each ending.

Without scripts the form stays hidden; the chart and the tables say the same.
"""

import json
from collections.abc import Mapping, Sequence

from kit.report.page.document import LookUp
from kit.wording import escape


def look_up_html(block: LookUp) -> str:
    """Set a look-up; hidden until its script shows it."""
    data = json.dumps(block.data, ensure_ascii=False, separators=(",", ":")).replace("</", "<\\/")
    templates = "".join(
        f'<template id="ending-{n}">{drawing.inline()}</template>'
        for n, drawing in enumerate(block.endings)
    )
    counts = "".join(
        f'<label><input type="radio" name="count" value="{n}"'
        f"{' checked' if n == len(block.counts) - 1 else ''}> {escape(said)}</label>"
        for n, said in enumerate(block.counts)
    )
    factors = "".join(
        f"<label>{escape(factor)} <select data-factor>{_options(levels)}</select></label>"
        for factor, levels in block.factors.items()
    )
    colours = _by_family(block.colours)
    return (
        '<div class="look-up" id="look-up" hidden><h3>Look a pair up</h3>'
        '<form aria-label="Look a pair up">'
        f'<div class="choices"><label>Overlay <select name="overlay">{colours}</select></label>'
        f'<label>over base <select name="base">{colours}</select></label>'
        f"{factors}</div><fieldset><legend>Firings</legend>{counts}"
        '</fieldset><button type="button" name="turn">Turn over</button></form>'
        f'<div class="expected" role="status"></div></div>{templates}'
        f'<script type="application/json" id="look-up-data">{data}</script>'
    )


def _by_family(colours: Mapping[str, Sequence[str]]) -> str:
    groups, number = [], 0
    for family, names in colours.items():
        options = _options(names, number)
        groups.append(f'<optgroup label="{escape(family)}">{options}</optgroup>')
        number += len(names)
    return "".join(groups)


def _options(names: Sequence[str], start: int = 0) -> str:
    return "".join(
        f'<option value="{n}">{escape(name)}</option>' for n, name in enumerate(names, start)
    )
