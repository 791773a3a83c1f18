"""Every pair once, in groups that unfold: a table where there is room, cards on a phone."""

from html import escape

from kit.drawing import sign_element
from kit.model import Look
from kit.report.page.document import PairGroup, PairGroups, PairRow
from kit.wording import counted


def pair_groups_html(block: PairGroups) -> str:
    """Set the groups, with the tools that filter and sort them, which their script shows."""
    groups = "\n".join(_group(group, block.counts) for group in block.groups)
    return f"{_tools(block)}\n{groups}"


def _tools(block: PairGroups) -> str:
    names = sorted(
        {name for g in block.groups for row in g.rows for name in (row.base, row.overlay)}
    )
    colours = "".join(f'<option value="{escape(name)}">{escape(name)}</option>' for name in names)
    orders = (("sure", "surest first"), ("overlay", "overlay"), ("base", "base"))
    sorts = "".join(f'<option value="{value}">{said}</option>' for value, said in orders)
    return (
        '<form class="pair-tools" aria-label="Filter and sort the pairs" hidden>'
        f'<label>Only pairs with <select name="colour"><option value="">every colour</option>'
        f'{colours}</select></label><label>Order <select name="order">{sorts}</select></label></form>'
    )


def _group(group: PairGroup, counts: tuple[str, ...]) -> str:
    summary = f"{escape(group.title)}: {counted(len(group.rows), 'pair')}"
    heads = "".join(f'<th scope="col">{escape(count)}</th>' for count in counts)
    rows = "\n".join(_row(row, counts, place) for place, row in enumerate(group.rows))
    return (
        f'<details class="pairs"><summary>{summary}</summary><p>{escape(group.about)}</p>'
        f'<table class="pairs" role="table"><caption>{summary}</caption>'
        f'<thead role="rowgroup"><tr role="row"><th scope="col" role="columnheader">Overlay over base</th>{_roled(heads)}'
        '<th scope="col" role="columnheader" class="number">Patches</th></tr></thead>'
        f'<tbody role="rowgroup">{rows}</tbody></table></details>'
    )


def _roled(heads: str) -> str:
    return heads.replace('<th scope="col">', '<th scope="col" role="columnheader">')


def _row(row: PairRow, counts: tuple[str, ...], place: int) -> str:
    cells = "".join(
        f'<td role="cell" data-label="{escape(count)}">{_verdict(look, chance)}</td>'
        for count, (look, chance) in zip(counts, row.verdicts, strict=True)
    )
    told = (
        f'data-overlay="{escape(row.overlay)}" data-base="{escape(row.base)}" data-place="{place}"'
    )
    return (
        f'<tr role="row" {told}><th scope="row" role="rowheader">{escape(row.overlay)} over '
        f"{escape(row.base)}</th>{cells}"
        f'<td role="cell" class="number" data-label="patches">{row.patches}</td></tr>'
    )


def _verdict(look: Look, chance: str) -> str:
    return f"{sign_element(look)} {escape(look.short)} {escape(chance)}"
