"""Nothing slips onto the screen, and no label lies on another in any picture."""

import re
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from PIL import ImageFont

from kit.drawing import Drawing
from kit.report.page.picture import Picture, drawn_with

SVG = "{http://www.w3.org/2000/svg}"
FONT = Path(mpl.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
SLACK = 1.0


def test_no_warning_escapes_to_the_screen(made):
    assert made.warned == ()


def test_no_label_overlaps_another_in_any_picture(made):
    for section in made.report.sections:
        for picture in section.pictures():
            boxes = _figure(picture) if isinstance(picture, Picture) else _drawing(picture)
            for (one, a), (other, b) in combinations(boxes, 2):
                assert not _overlap(a, b), f"{picture.name}: {one!r} lies on {other!r}"


def _overlap(a, b):
    across = min(a[2], b[2]) - max(a[0], b[0])
    down = min(a[3], b[3]) - max(a[1], b[1])
    return across > SLACK and down > SLACK


def _figure(picture: Picture):
    """Every text of a figure with its box in dots."""
    with drawn_with():
        canvas = FigureCanvasAgg(picture.figure)
        canvas.draw()
        renderer = canvas.get_renderer()
    found, unseen = [], _beyond_their_axis(picture)
    for text in picture.figure.findobj(Text):
        if text in unseen:
            continue
        if text.get_visible() and str(text.get_text()).strip():
            box = text.get_window_extent(renderer)
            if box.width and text.axes is not None and not text.axes.axison:
                continue
            found.append((text.get_text(), (box.x0, box.y0, box.x1, box.y1)))
    return list(dict.fromkeys(found))


def _beyond_their_axis(picture: Picture):
    """Labels of ticks that lie beyond the ends of their axis: they are there and not drawn."""
    found = set()
    for axes in picture.figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not low <= tick.get_loc() <= high:
                    found |= {tick.label1, tick.label2}
    return found


def _drawing(drawing: Drawing):
    """Every text of a drawing with its box in pixels, measured in the font that it is set in."""
    found = []

    def walk(element, inherited):
        style = {**inherited, **{k: v for k, v in element.attrib.items() if k in inherited}}
        if element.tag == f"{SVG}text" and (element.text or "").strip():
            found.append((element.text, _text_box(element, style)))
        if element.tag != f"{SVG}defs":
            for inner in element:
                walk(inner, style)

    walk(ElementTree.fromstring(drawing.svg), {"font-size": "11", "text-anchor": "start"})
    return found


def _text_box(element, style):
    size = float(style["font-size"])
    width = ImageFont.truetype(FONT, 100).getlength(element.text) * size / 100
    x, y = float(element.get("x", 0)), float(element.get("y", 0))
    left = x - width * {"start": 0, "middle": 0.5, "end": 1}[style["text-anchor"]]
    box = (left, y - 0.72 * size, left + width, y + 0.1 * size)
    turned = re.search(r"rotate\((-?[\d.]+)", element.get("transform", ""))
    if not turned:
        return box
    if abs(float(turned[1])) == 90:
        return (x - 0.72 * size, y - width, x + 0.1 * size, y)
    return (x, y, x, y)
