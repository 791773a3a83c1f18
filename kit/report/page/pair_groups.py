"""Every pair once, in groups that unfold: a table where there is room, cards on a phone."""

from collections.abc import Mapping

from kit.drawing import sign_element, sign_symbols
from kit.report.findings.pair_findings import Pair, PairFinding
from kit.report.page.document import PairGroup, PairGroups
from kit.wording import counted, escape

_ORDERS = (("", "surest first"), ("o", "by overlay"), ("b", "by base"))


def pair_groups_html(block: PairGroups) -> str:
    """Set the groups, with the tools that filter and sort them, which their script shows."""
    pairs = [pair.first for group in block.groups for pair in group.pairs]
    names = sorted({name for pair in pairs for name in (pair.base, pair.overlay)})
    place = {name: n for n, name in enumerate(names)}
    groups = "\n".join(_group(group, block.counts, place) for group in block.groups)
    return f"{sign_symbols()}{_tools(names)}\n{groups}"


def pair_groups_style(block: PairGroups) -> str:
    """Rules that name the firing count in each field of a card."""
    said = (*block.counts, "patches")
    return "".join(
        f'table.pairs td:nth-child({n})::before {{ content: "{label}: "; }}\n'
        for n, label in enumerate(said, start=2)
    )


def _tools(names: list[str]) -> str:
    colours = "".join(_option(n, name) for n, name in enumerate(names))
    orders = "".join(_option(value, said) for value, said in _ORDERS)
    return (
        '<form class="pair-tools" aria-label="Filter and sort the pairs" hidden>'
        f'<label>Only pairs with <select name="colour">{_option("", "every colour")}{colours}'
        f'</select></label><label>Order <select name="order">{orders}</select></label></form>'
    )


def _option(value: object, said: str) -> str:
    return f'<option value="{value}">{escape(said)}</option>'


def _group(group: PairGroup, counts: tuple[str, ...], place: Mapping[str, int]) -> str:
    summary = f"{escape(group.title)}: {counted(len(group.pairs), 'pair')}"
    heads = "".join(
        f'<th scope="col">{escape(said)}</th>' for said in ("Overlay over base", *counts, "Patches")
    )
    rows = "\n".join(_row(pair, place) for pair in group.pairs)
    return (
        f'<details class="pairs"><summary>{summary}</summary><p>{escape(group.about)}</p>'
        f'<table class="pairs"><caption>{summary}</caption><thead><tr>{heads}</tr></thead>'
        f"<tbody>\n{rows}\n</tbody></table></details>"
    )


def _row(pair: Pair, place: Mapping[str, int]) -> str:
    overlay, base = pair.first.overlay, pair.first.base
    cells = "".join(f"<td>{_cell(row)}</td>" for row in pair.rows)
    return (
        f'<tr data-o="{place[overlay]}" data-b="{place[base]}"><th scope="row">{escape(pair.name)}'
        f"</th>{cells}<td>{pair.patches}</td></tr>"
    )


def _cell(row: PairFinding) -> str:
    return f"{sign_element(row.look)} {escape(row.cell)}"
