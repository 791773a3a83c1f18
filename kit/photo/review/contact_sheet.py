"""The contact sheet: every picture of a series on one page, the worst first, to be decided on."""

import base64
import hashlib
import json
from pathlib import Path

import numpy as np
import pandas as pd
from PIL import Image

from kit.errors import Misuse
from kit.photo.photo_series import WORST_FIRST, Measured
from kit.photo.review.decisions import decided, turned_by, turns
from kit.photo.view.image_file import Unmeasurable, bare_jpeg, thumbnail
from kit.series import patches_in_full, write_whole, writing
from kit.wording import amount, escape, gap, mm_and_inches

FILE = "contact-sheet.html"
_HERE = Path(__file__).parent
_SMALL_PX = 420
_SETTLED = ("fair", "good", "struck out")
"""States in which a picture asks for no decision: it is folded away, and kept smaller."""

_SETTLED_PX = 340
_BUTTONS = (("accept", "Accept"), ("strike out", "Strike out"), ("retake", "Take again"))
TURNED = "Lies turned"


def write_contact_sheet(measured: Measured, folder: Path, photos: Path) -> Path:
    """Write the contact sheet as one page that needs nothing but itself.

    Parameters
    ----------
    measured : Measured
    folder : Path
        Where to write it, such as reports/<series>/photos.
    photos : Path
        Where the pictures lie, for those of which nothing was measured.

    Returns
    -------
    Path
    """
    page = contact_sheet_html(measured, photos)
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(folder / FILE, page.encode())
    return folder / FILE


def contact_sheet_html(measured: Measured, photos: Path) -> str:
    """Give the contact sheet as HTML. Parameters as for `write_contact_sheet`."""
    counts = decided(measured.decisions)
    known = {f"{sha256}|": turned_by(deg) for sha256, deg in turns(measured.decisions).items()}
    known |= {f"{sha256}|{patch}": choice for (sha256, patch), choice in counts.items()}
    pictures = worst_first(measured)
    settled = pictures["state"].isin(_SETTLED)
    cards, rest = (
        "".join(picture_html(measured, row, photos) for row in some.itertuples())
        for some in (pictures[~settled], pictures[settled])
    )
    name = escape(measured.series.name)
    decisions = json.dumps(known).replace("<", "\\u003c")
    script = (_HERE / "contact_sheet.js").read_text("utf-8")
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Photographs of {name}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{_policy(script)}">'
        f"<style>{(_HERE / 'contact_sheet.css').read_text('utf-8')}</style>"
        f"<h1>Photographs of {name}</h1>"
        '<div id="bar"><button id="save" type="button">Save decisions</button> '
        f'<span id="count"></span> Then: <code>kit photos {name} --decisions FILE</code></div>'
        f"{summary_html(measured)}"
        f"<h2>To look at, the worst first: {(~settled).sum()}</h2><div class='sheet'>{cards}</div>"
        f"<details><summary>Nothing to decide: {settled.sum()}</summary>"
        f"<div class='sheet'>{rest}</div></details>"
        f'<script type="application/json" id="decided">{decisions}</script>'
        f"<script>{script}</script></html>"
    )


def _policy(script: str) -> str:
    """Allow the sheet its own script and style and the pictures beside it, and no more."""
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return (
        f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )


def summary_html(measured: Measured) -> str:
    """What was measured, what is asked and what is missing, and the grid of tiles by firings."""
    lines = measured.describe().splitlines()
    told = "".join(
        f"<li>{escape(line.strip())}</li>" if line.startswith("  ") else f"<p>{escape(line)}</p>"
        for line in lines
    )
    return f"{told}<h2>Tiles and firings</h2>{grid_html(measured.grid)}"


def grid_html(grid: pd.DataFrame) -> str:
    """Tiles against firings, with the state of the best picture in each cell."""
    if grid.empty:
        return "<p>Nothing was fired yet.</p>"
    head = "".join(f"<th>after firing {firing}</th>" for firing in grid.columns)
    rows = "".join(
        f"<tr><th>tile {tile}</th>"
        + "".join(f"<td class='{state.split(' ')[0]}'>{state}</td>" for state in cells)
        + "</tr>"
        for tile, cells in zip(grid.index, grid.to_numpy(), strict=True)
    )
    return f"<table class='grid'><tr><th></th>{head}</tr>{rows}</table>"


def worst_first(measured: Measured) -> pd.DataFrame:
    """The pictures with their states, the worst first."""
    pictures = measured.found.pictures
    states = pictures["picture_sha256"].map(measured.states).fillna("refused")
    asked = {sha for question in measured.found.questions for sha in question.pictures}
    poor = pictures["picture_sha256"].isin(asked) & states.isin(["poor", "not measured"])
    states = states.mask(poor, "asked about")
    rank = states.map({state: n for n, state in enumerate(WORST_FIRST)}).fillna(len(WORST_FIRST))
    return pictures.assign(state=states, rank=rank).sort_values(["rank", "picture"])


def picture_html(measured: Measured, row: "pd.core.series.Series", photos: Path) -> str:
    """One picture: what it shows, what was measured, why it is doubted, and what to decide."""
    sha256 = str(row.picture_sha256)
    table = measured.series.measurements
    rows = table[table["picture_sha256"] == sha256]
    remarks = [r for r in dict.fromkeys(rows["remark"]) if r] if len(rows) else [row.reason]
    whole = len(remarks) == 1 and (len(rows) == 0 or (rows["remark"] == remarks[0]).all())
    why = f"<p class='why'>{escape(remarks[0])}</p>" if whole and remarks else ""
    where = (
        f"tile {row.tile:.0f} after firing {row.firing:.0f}"
        if pd.notna(row.tile) and pd.notna(row.firing)
        else "slips not read"
    )
    choices = [*_BUTTONS, *((turned_by(deg), TURNED) for deg in seems_turned(measured, sha256))]
    buttons = "".join(_button(sha256, "", choice, word) for choice, word in choices)
    state = str(row.state)
    return (
        f"<section class='picture {state.split(' ')[0]}'><h3>{where}: {state} "
        f"<small>{escape(row.picture)}</small></h3>"
        f"<div class='shot'>{_image(row, photos)}{_labels(measured, row, rows)}</div>{why}"
        f"{_table(measured, rows, sha256, whole)}<div>{buttons}</div></section>"
    )


def seems_turned(measured: Measured, sha256: str) -> list[float]:
    """Degrees by which the tile in a picture seems to lie turned, or was said to; mostly none."""
    asked = [q.turned_deg for q in measured.found.questions if sha256 in q.pictures]
    said = turns(measured.decisions).get(sha256)
    return [said] if said else [degrees for degrees in asked if degrees]


def _image(row: "pd.core.series.Series", photos: Path) -> str:
    try:
        if not row.shown:
            content = bare_jpeg(thumbnail(photos / row.picture, _SMALL_PX), 70)
        elif row.state in _SETTLED:
            content = _reduced(Path(row.shown))
        else:
            content = Path(row.shown).read_bytes()
    except (OSError, Unmeasurable, Misuse):
        return ""
    data = base64.b64encode(content).decode()
    return f"<img alt='{escape(row.picture, quote=True)}' src='data:image/jpeg;base64,{data}'>"


def _reduced(kept: Path) -> bytes:
    with Image.open(kept) as image:
        image.thumbnail((_SETTLED_PX, _SETTLED_PX))
        return bare_jpeg(np.asarray(image.convert("RGB")), 60)


def _labels(measured: Measured, row: "pd.core.series.Series", rows: pd.DataFrame) -> str:
    """Patch and colour name over each patch's place."""
    named = measured.series.patches.set_index("patch")["overlay"]
    return "".join(
        f"<span style='left:{100 * x:.1f}%;top:{100 * y:.1f}%'>{escape(patch)} "
        f"{escape(str(named.get(patch, '')))}</span>"
        for patch, (x, y) in row.spots.items()
        if len(rows)
    )


def _table(measured: Measured, rows: pd.DataFrame, sha256: str, whole: bool) -> str:
    if rows.empty:
        return ""
    recipes = patches_in_full(measured.series).set_index("patch")
    lines = []
    for each in rows.itertuples():
        pair = f"{recipes.at[each.patch, 'overlay']} over {recipes.at[each.patch, 'base']}"
        doubt = f"<br>{escape(each.remark)}" if each.remark and not whole else ""
        buttons = "".join(_button(sha256, each.patch, c, w) for c, w in _BUTTONS[:2])
        lines.append(
            f"<tr><td><b>{escape(each.patch)}</b> {escape(pair)}: {each.quality}{doubt}<br>"
            f"{measured_words(each)}</td><td>{buttons}</td></tr>"
        )
    return f"<table>{''.join(lines)}</table>"


def measured_words(row: "pd.core.series.Series") -> str:
    """What was measured on a patch, in mm with inches, each with how far it may be off."""
    if pd.isna(row.spread_mm):
        return "not measured"
    words = [
        f"spread {mm_and_inches(round(row.spread_mm, 2))}, within "
        f"{gap(2 * row.spread_mm_se, 'spread_mm')}",
        f"base shows in {amount(row.pull_through_share, 'pull_through_share')}, within "
        f"{gap(2 * row.pull_through_share_se, 'pull_through_share')}",
    ]
    if pd.notna(row.edge_width_mm):
        words.append(f"edge {amount(row.edge_width_mm, 'edge_width_mm')} wide{floor_words(row)}")
    return "; ".join(words)


def floor_words(row: "pd.core.series.Series") -> str:
    """Say how narrow an edge this picture can tell at all."""
    floor = getattr(row, "edge_width_floor_mm", float("nan"))
    if pd.isna(floor):
        return ""
    if row.edge_width_mm <= floor:
        return f" or less (this picture cannot tell less than {floor:.2f})"
    return f" (this picture can tell from {floor:.2f} on)"


def _button(sha256: str, patch: str, choice: str, word: str) -> str:
    return (
        f"<button type='button' data-picture='{sha256}' data-patch='{escape(patch, quote=True)}' "
        f"data-choice='{choice}'>{word}</button>"
    )
