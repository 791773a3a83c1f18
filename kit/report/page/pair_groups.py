"""Every pair once, in groups that unfold: a table where there is room, cards on a phone."""

from html import escape

from kit.drawing import sign_element
from kit.report.findings.pair_findings import Pair, PairFinding
from kit.report.page.document import PairGroup, PairGroups
from kit.wording import counted

_ORDERS = (("sure", "surest first"), ("overlay", "by overlay"), ("base", "by base"))


def pair_groups_html(block: PairGroups) -> str:
    """Set the groups, with the tools that filter and sort them, which their script shows."""
    groups = "\n".join(_group(group, block.counts) for group in block.groups)
    return f"{_tools(block)}\n{groups}"


def _tools(block: PairGroups) -> str:
    pairs = [pair.first for group in block.groups for pair in group.pairs]
    names = sorted({name for pair in pairs for name in (pair.base, pair.overlay)})
    colours = "".join(_option(name, name) for name in names)
    orders = "".join(_option(value, said) for value, said in _ORDERS)
    return (
        '<form class="pair-tools" aria-label="Filter and sort the pairs" hidden>'
        f'<label>Only pairs with <select name="colour">{_option("", "every colour")}{colours}'
        f'</select></label><label>Order <select name="order">{orders}</select></label></form>'
    )


def _option(value: str, said: str) -> str:
    return f'<option value="{escape(value)}">{escape(said)}</option>'


def _group(group: PairGroup, counts: tuple[str, ...]) -> str:
    summary = f"{escape(group.title)}: {counted(len(group.pairs), 'pair')}"
    heads = "".join(_heading(said) for said in ("Overlay over base", *counts, "Patches"))
    rows = "\n".join(_row(pair, counts, place) for place, pair in enumerate(group.pairs))
    return (
        f'<details class="pairs"><summary>{summary}</summary><p>{escape(group.about)}</p>'
        f'<table class="pairs" role="table"><caption>{summary}</caption>'
        f'<thead role="rowgroup"><tr role="row">{heads}</tr></thead>'
        f'<tbody role="rowgroup">{rows}</tbody></table></details>'
    )


def _heading(said: str) -> str:
    return f'<th scope="col" role="columnheader">{escape(said)}</th>'


def _row(pair: Pair, counts: tuple[str, ...], place: int) -> str:
    by_count = {row.firings: row for row in pair.rows}
    cells = "".join(
        f'<td role="cell" data-label="{escape(said)}">{_cell(row)}</td>'
        for said, row in zip(counts, by_count.values(), strict=True)
    )
    overlay, base = escape(pair.first.overlay), escape(pair.first.base)
    return (
        f'<tr role="row" data-overlay="{overlay}" data-base="{base}" data-place="{place}">'
        f'<th scope="row" role="rowheader">{overlay} over {base}</th>{cells}'
        f'<td role="cell" data-label="patches">{pair.patches}</td></tr>'
    )


def _cell(row: PairFinding) -> str:
    return f"{sign_element(row.look)} {escape(row.cell)}"
