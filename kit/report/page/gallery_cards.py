"""The cards of a gallery, the links to pages of pieces and colours, and a search among all."""

from urllib.parse import quote

from kit.report.page.document import Card, Gallery
from kit.wording import escape


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
