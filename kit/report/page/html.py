"""A document as one self-contained web page."""

import base64
import hashlib
import re
from collections.abc import Callable, Iterable
from functools import cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote

from kit.drawing import Drawing
from kit.report.page.document import (
    Answer,
    Beside,
    Bullets,
    Caution,
    Document,
    Download,
    Fold,
    Formula,
    Gallery,
    LookUp,
    PairGroups,
    Paragraph,
    PhotoStrip,
    Point,
    Pointer,
    Section,
    TableBlock,
)
from kit.report.page.interactive_parts import (
    gallery_html,
    look_up_html,
    pair_groups_html,
    pair_groups_style,
)
from kit.report.page.picture import PAGE_COLOURS, Picture
from kit.wording import day, escape

_TOP_LEVEL = 2
_AS_IT_IS = " !$'()*+,-./:;=?@_~|[]^`{}<>"
"""What may stand in an address of data within double quotes besides letters and digits."""
_TAG = re.compile(r"<[^>]*>")
_QUOTES_TURNED = str.maketrans("\"'", "'\"")
"""Attributes of a picture are quoted singly, as a double quote takes three characters."""
_MM_PER_INCH = 25.4
_LARGER = 1.7
"""How far a drawing grows beyond its own size where there is room."""
_LARGER_ON_PAPER = 1.15
_PAPER_WIDTH_MM, _PAPER_HEIGHT_MM = 150.0, 145.0
"""Of a drawing at most: the chart stays beneath the answer, nothing is cut, on A4 and Letter."""


def page(document: Document) -> str:
    """Set a document as an HTML page that needs nothing else.

    Returns
    -------
    str
        Valid HTML 5; pictures, style and downloads are inside.
    """
    body = "\n".join(_section(section, _TOP_LEVEL) for section in document.sections)
    parts = list(document.parts())
    sizes = "".join(_size(part) for part in parts if isinstance(part, Drawing))
    cards = "".join(pair_groups_style(part) for part in parts if isinstance(part, PairGroups))
    phone = f"@media (max-width: 34rem) {{ {cards} }}\n" if cards else ""
    style = f"\n{_colours()}{_own_file('part.css')}{_own_file('page.css')}{sizes}{phone}"
    scripted = _scripts(parts)
    dated = (
        f'<p class="dated"><time datetime="{document.dated.isoformat()}">'
        f"{day(document.dated)}</time></p>"
        if document.dated
        else ""
    )
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{_policy(style, scripted)}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{escape(document.title)}</title>
<style>{style}</style>
</head>
<body>
<a class="skip" href="#report">Skip to the report</a>
<header>
<h1>{escape(document.title)}</h1>
<p class="subtitle">{escape(document.subtitle)}</p>
{dated}
</header>
{_contents(document.sections)}
<main id="report" tabindex="-1">
{body}
</main>
<footer><p>{escape(document.foot)}</p></footer>
{f"<script>{scripted}</script>" if scripted else ""}
</body>
</html>
"""


def fragment(part: Any) -> str:
    """Set one part for a notebook, whose own heading stands above it.

    The look is kept within the part, so that the notebook around it keeps its own.
    """
    blocks = part.blocks if isinstance(part, Section) else (part,)
    inner = "\n".join(
        _section(block, _TOP_LEVEL + 1) if isinstance(block, Section) else _block(block)
        for block in blocks
    )
    light = "".join(f"--{name}:{light};" for name, (light, _) in PAGE_COLOURS.items())
    style = f"<style>.kit-part.kit-part {{{light}\n{_own_file('part.css')}}}</style>"
    return f'{style}\n<div class="kit-part">{inner}</div>'


def _policy(style: str, scripted: str) -> str:
    """Allow the page its own style and script, pictures beside it or within it, and no more."""
    allowed = f"'sha256-{_digest(scripted)}'" if scripted else "'none'"
    return (
        f"default-src 'none'; style-src 'sha256-{_digest(style)}'; script-src {allowed}; "
        "img-src data: 'self'; base-uri 'none'; form-action 'none'"
    )


def _scripts(parts: Iterable[Any]) -> str:
    """The scripts that the parts of a page need; none for a page that only is read."""
    kinds = {type(part) for part in parts}
    needed = [
        *(["look_up.js"] if LookUp in kinds else []),
        *(["lists.js"] if kinds & {PairGroups, Gallery} else []),
    ]
    return "\n".join(_own_file(name) for name in needed)


def _colours() -> str:
    """The colours of the page as variables, for light and for dark."""
    light, dark = (
        "".join(f"--{name}:{pair[at]};" for name, pair in PAGE_COLOURS.items()) for at in (0, 1)
    )
    dark_too = f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}"
    return f":root {{ {light} }}\n{dark_too}\n"


def _size(drawing: Drawing) -> str:
    """Keep the lettering of a drawing readable: it scrolls rather than shrinks."""
    least, most = round(drawing.width), round(_LARGER * drawing.width)
    on_paper = min(
        _PAPER_WIDTH_MM,
        _LARGER_ON_PAPER * drawing.width_in * _MM_PER_INCH,
        _PAPER_HEIGHT_MM * drawing.width / drawing.height,
    )
    sizes = f"--least: {least}px; --most: {most}px; --on-paper: {on_paper:.0f}mm;"
    return f"#figure-{drawing.name} {{ {sizes} }}\n"


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


@cache
def _own_file(name: str) -> str:
    return files("kit.report.page").joinpath(name).read_text("utf-8")


def _contents(sections: Iterable[Section]) -> str:
    links = "".join(
        f'<li><a href="#{section.name}">{escape(section.title)}</a></li>' for section in sections
    )
    return f'<nav aria-label="Parts of this page"><ul>{links}</ul></nav>'


def _section(section: Section, level: int) -> str:
    blocks = "\n".join(
        _section(block, level + 1) if isinstance(block, Section) else _block(block)
        for block in section.blocks
    )
    return (
        f'<section id="{section.name}" aria-labelledby="{section.name}-title">\n'
        f'<h{level} id="{section.name}-title">{escape(section.title)}</h{level}>\n'
        f"{blocks}\n</section>"
    )


def _block(block: Any) -> str:
    return _SETTERS[type(block)](block)


def _paragraph(block: Paragraph) -> str:
    return f"<p>{escape(block.text)}</p>"


def _answer(block: Answer) -> str:
    return f'<p class="answer">{escape(block.text)}</p>'


def _bullets(block: Bullets) -> str:
    return _points(block.points)


def _points(points: Iterable[Point]) -> str:
    items = "".join(
        f"<li>{f'<strong>{escape(p.lead)}</strong> ' if p.lead else ''}{escape(p.text)}</li>\n"
        for p in points
    )
    return f"<ul>\n{items}</ul>"


def _caution(block: Caution) -> str:
    title = f'<p class="caution-title">{escape(block.title)}</p>'
    return f'<div class="caution">{title}{_points(block.points)}</div>'


def _formula(block: Formula) -> str:
    return (
        f'<pre class="formula" tabindex="0" aria-label="Formula"><code>{escape(block.text)}'
        "</code></pre>"
    )


def _table(block: TableBlock) -> str:
    head = "".join(
        f'<th scope="col"{_flush(block, i)}>{escape(heading)}</th>'
        for i, heading in enumerate(block.headings)
    )
    rows = "".join(
        f'<tr><th scope="row">{escape(first)}</th>'
        + "".join(f"<td{_flush(block, i)}>{escape(cell)}</td>" for i, cell in enumerate(rest, 1))
        + "</tr>\n"
        for first, *rest in block.rows
    )
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{escape(block.caption)}">'
        f"<table><caption>{escape(block.caption)}</caption>\n"
        f"<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}</tbody></table></div>"
    )


def _flush(block: TableBlock, column: int) -> str:
    return ' class="number"' if column in block.numeric else ""


def _picture(block: Picture) -> str:
    svg = _TAG.sub(lambda tag: tag[0].translate(_QUOTES_TURNED), block.svg.decode("utf-8"))
    source = f"data:image/svg+xml,{quote(svg, safe=_AS_IT_IS)}"
    width = round(block.width_in * 96)
    height = round(block.height_in * 96)
    note = f'<p class="note">{escape(block.note)}</p>' if block.note else ""
    return (
        f"<figure><figcaption>{escape(block.title)}</figcaption>"
        f'<img src="{source}" alt="{escape(block.alt)}" width="{width}" height="{height}">'
        f"{note}</figure>"
    )


def _drawing(block: Drawing) -> str:
    note = f'<p class="note">{escape(block.note)}</p>' if block.note else ""
    title = escape(block.title)
    return (
        f'<figure id="figure-{block.name}"><figcaption>{title}</figcaption>'
        f'<div class="scroll" tabindex="0" role="region" aria-label="{title}">'
        f"{block.inline()}</div>{note}</figure>"
    )


def _download(block: Download) -> str:
    content = quote(block.content, safe=_AS_IT_IS.replace("?", ""))
    return (
        f'<p class="download"><a download="{escape(block.name)}" '
        f'href="data:{block.media_type},{content}">{escape(block.name)}</a> '
        f"{escape(block.about)}</p>"
    )


def _photo_strip(block: PhotoStrip) -> str:
    return "".join(
        [
            '<div class="strip">',
            *(
                f'<figure id="{escape(photo.name)}"><img alt="{escape(photo.alt)}" '
                f'src="data:image/jpeg;base64,{base64.b64encode(photo.jpeg).decode("ascii")}">'
                f"<figcaption>{escape(photo.caption)}</figcaption></figure>"
                for photo in block.photos
            ),
            "</div>",
        ]
    )


def _pointer(block: Pointer) -> str:
    picture = (
        f'<img src="{quote(block.picture)}" alt="{escape(block.alt)}" loading="lazy">'
        if block.picture
        else ""
    )
    return (
        f'<p class="pointer"><a href="{quote(block.address)}">{escape(block.text)}</a></p>{picture}'
    )


def _fold(block: Fold) -> str:
    inner = "\n".join(
        _section(part, _TOP_LEVEL + 1) if isinstance(part, Section) else _block(part)
        for part in block.blocks
    )
    return f"<details><summary>{escape(block.title)}</summary>\n{inner}\n</details>"


def _beside(block: Beside) -> str:
    first, second = ("\n".join(map(_block, part)) for part in (block.first, block.second))
    return f'<div class="beside"><div>{first}</div><div>{second}</div></div>'


_SETTERS: dict[type, Callable[[Any], str]] = {
    Paragraph: _paragraph,
    Answer: _answer,
    Bullets: _bullets,
    Caution: _caution,
    Formula: _formula,
    TableBlock: _table,
    Picture: _picture,
    Download: _download,
    PhotoStrip: _photo_strip,
    Pointer: _pointer,
    Fold: _fold,
    Beside: _beside,
    Drawing: _drawing,
    LookUp: look_up_html,
    PairGroups: pair_groups_html,
    Gallery: gallery_html,
}
