"""The parts that a page's scripts work: the look-up, the list of pairs, the gallery's search."""

import json
from collections.abc import Mapping, Sequence
from urllib.parse import quote

from kit.drawing import sign_element, sign_symbols
from kit.report.findings.pair_findings import Pair, PairFinding
from kit.report.page.document import Card, Gallery, LookUp, PairGroup, PairGroups
from kit.wording import counted, escape


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


def gallery_html(block: Gallery) -> str:
    """Set a gallery; its script shows the search."""
    cards = "\n".join(map(_card, block.cards))
    lists = {"Pieces": block.pieces} if block.pieces else {}
    lists |= {f"{family.capitalize()} colours": links for family, links in block.colours.items()}
    linked = "".join(
        f"<h3>{escape(heading)}</h3>"
        f'<ul class="links">{"".join(_link(*link) for link in links)}</ul>'
        for heading, links in lists.items()
    )
    return (
        '<form class="finder" role="search" hidden><label>Find a colour or a word '
        '<input type="search" name="sought"></label></form>'
        f'<ul class="cards">{cards}</ul>{linked}'
    )


def _card(card: Card) -> str:
    words = " ".join((card.title, card.question, card.words))
    picture = (
        f'<img src="{quote(card.picture)}" alt="{escape(card.alt)}" loading="lazy">'
        if card.picture
        else ""
    )
    about = "".join(f'<p class="note">{escape(line)}</p>' for line in card.about)
    return (
        f'<li data-words="{escape(words)}"><h3><a href="{quote(card.address)}">'
        f"{escape(card.title)}</a></h3>{about}<p>{escape(card.question)}</p>"
        f"<p><strong>{escape(card.answer)}</strong></p>{picture}</li>"
    )


def _link(name: str, address: str) -> str:
    return f'<li data-words="{escape(name)}"><a href="{quote(address)}">{escape(name)}</a></li>'
