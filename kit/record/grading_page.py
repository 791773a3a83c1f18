"""What the grading form shows: the page in HTML, and the state of one patch for its script."""

import datetime as dt
from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from kit.drawing import step_pictures
from kit.record.grading import Grading
from kit.record.worklist import grading_order, planned_grades
from kit.series import (
    ACCIDENTS,
    DEFERENCE,
    Scale,
    Series,
    Settings,
    cautions_for,
    patches_in_full,
    places_on_tile,
    stencil_on,
    stripe_counts,
    stripe_edges,
)
from kit.wording import counted, escape


def patch_shown(grading: Grading) -> dict[str, Any]:
    """Gather what the form says of the patch that is being graded, as plain values for JSON."""
    series, patch = grading.series, grading.patch
    row = patches_in_full(series).set_index("patch").loc[patch]
    answers = grading.answers(patch)
    total = counted(len(grading.patches), "patch", "patches")
    done = grading.count_done
    return {
        "patch": patch,
        "tile": int(row["tile"]),
        "heading": f"Tile {int(row['tile'])}, place {int(row['position'])}",
        "recipe": "" if series.settings.blind else f"{row['overlay']} over {row['base']}",
        "picture": tile_picture(
            series.settings, int(row["position"]), int(stripe_counts(series)[row["tile"]])
        ),
        "grades": {scale.name: answers[scale.name] for scale in series.settings.scales},
        "note": answers["note"] or "",
        "lost": grading.accident(patch),
        "place": grading.place,
        "of": len(grading.patches),
        "done": done,
        "progress": f"{done} of {total} done",
        "finished": done == len(grading.patches),
        "canUndo": grading.can_undo,
        "saved": f"All is saved, {dt.datetime.now():%H:%M:%S}.",
    }


def form_page(grading: Grading) -> str:
    """Write the page on which one grader grades the patches of one firing."""
    settings = grading.series.settings
    rows = "".join(_scale_row(scale, settings) for scale in settings.scales)
    known = "".join(f"<option value='{escape(word)}'>" for word in ACCIDENTS)
    named = (
        f"data-series='{escape(grading.series.name)}' data-by='{escape(grading.grader)}' "
        f"data-firing='{grading.firing}'"
    )
    body = f"""
<header>
<a href='./'>{escape(grading.grader)}, firing {grading.firing}</a>
<progress id='bar' max='1' value='0' aria-labelledby='progress'></progress>
<span id='progress'></span>
</header>
<main id='form' {named}>
<section id='which' aria-live='polite'>
<div id='picture'></div>
<div><h1 id='heading'>Tile</h1><p id='recipe'></p><p id='message' role='status'></p></div>
</section>
{rows}
<section id='besides'>
<label>Note <input id='note' maxlength='500' autocomplete='off' placeholder='anything seen'></label>
<label>Lost <input id='lost' maxlength='200' autocomplete='off' list='known'
placeholder='chipped? mis-sifted?'></label>
<datalist id='known'>{known}</datalist>
</section>
<nav aria-label='Patches'>
<button type='button' id='back'>Back</button>
<button type='button' id='undo'>Undo</button>
<button type='button' id='next'>Next</button>
</nav>
</main>
{_cautions()}
<noscript>This form needs scripts switched on in the browser.</noscript>
"""
    return _document(f"Grading {grading.series.settings.title}", body, "form.js")


def welcome_page(series: Series, graders: Sequence[str]) -> str:
    """Write the page on which a grader says who they are and which firing they look at."""
    firings = sorted(set(planned_grades(series)["firing"]))
    fired = set(series.firings["firing"])
    choices = "".join(
        f"<section class='choices'><h2>After firing {firing}"
        f"{'' if firing in fired else ' <small>not written down as fired yet</small>'}</h2>"
        + "".join(_choice(series, grader, firing) for grader in graders)
        + "</section>"
        for firing in firings
    )
    other = "" if series.settings.graders else _other_grader(firings)
    body = f"""
<main id='welcome'>
<h1>{escape(series.settings.title)}</h1>
<p>Who are you, and after which firing are you looking? Several people can grade at once.</p>
{choices}{other}
</main>
{_cautions()}
"""
    return _document(f"Grading {series.settings.title}", body)


def notice_page(text: str) -> str:
    """Write a page that says one thing, such as why something cannot be shown."""
    back = "<p><a href='./'>Choose who grades and which firing</a></p>"
    return _document(
        "Grading", f"<main id='welcome'><h1>Grading</h1><p>{escape(text)}</p>{back}</main>"
    )


def _choice(series: Series, grader: str, firing: int) -> str:
    there = set(grading_order(series, firing, grader))
    grades = series.grades
    mine = grades[(grades["grader"] == grader) & (grades["firing"] == firing)]
    done = mine.dropna(subset=[scale.name for scale in series.settings.scales])
    count = len(there & set(done["patch"]))
    address = urlencode({"by": grader, "firing": firing})
    return (
        f"<a class='choice' href='form?{escape(address)}'><b>{escape(grader)}</b>"
        f"<span>{count} of {len(there)} done</span></a>"
    )


def _other_grader(firings: Sequence[int]) -> str:
    options = "".join(f"<option>{firing}</option>" for firing in firings)
    return (
        "<form action='form'><label>Your name <input name='by' required maxlength='60'></label>"
        f"<label>After firing <select name='firing'>{options}</select></label>"
        "<button>Grade</button></form>"
    )


def _scale_row(scale: Scale, settings: Settings) -> str:
    pictures = step_pictures(scale, settings.stencil)
    drawn = [picture.inline() for picture in pictures] or [""] * len(scale.steps)
    buttons = "".join(_step_button(scale, grade, picture) for grade, picture in enumerate(drawn))
    return (
        f"<fieldset class='scale{'' if pictures else ' plain'}' data-scale='{escape(scale.name)}'>"
        f"<legend>{escape(scale.title)} <small>{escape(scale.question)}</small></legend>"
        f"<div class='steps'>{buttons}</div></fieldset>"
    )


def _step_button(scale: Scale, grade: int, picture: str) -> str:
    step = scale.steps[grade]
    short, _, more = step.partition(": ")
    said = f"{grade} {step} ({scale.title})"
    return (
        f"<button type='button' data-grade='{grade}' aria-pressed='false' "
        f"aria-label='{escape(said)}'>{picture}"
        f"<span><b>{grade}</b> {escape(short)}</span><small>{escape(more)}</small></button>"
    )


def _cautions() -> str:
    told = cautions_for("grade")
    titles = " · ".join(escape(caution.title) for caution in told)
    listed = "".join(f"<li><b>{escape(c.title)}.</b> {escape(c.text)}</li>" for c in told)
    return (
        f"<details id='care'><summary>Take care: {titles}</summary>"
        f"<ul>{listed}</ul><p>{escape(DEFERENCE)}</p></details>"
    )


def _document(title: str, body: str, script: str = "") -> str:
    runs = f"<script src='{script}' defer></script>" if script else ""
    return (
        "<!doctype html><html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<title>{escape(title)}</title><link rel='icon' href='data:,'>"
        f"<link rel='stylesheet' href='form.css'>{runs}</head><body>{body}</body></html>"
    )


def tile_picture(settings: Settings, position: int, stripes: int = 1) -> str:
    """Draw the tile as SVG with one of its patches filled in.

    Parameters
    ----------
    settings : Settings
    position : int
        The patch to show.
    stripes : int
        How many bases lie on the tile, side by side.

    Returns
    -------
    str
        An SVG element with its description.
    """
    blank, stencil = settings.blank, stencil_on(settings, stripes)
    marks = [
        f"<path d='M{edge:.2f} 0V{blank.height_mm:g}' stroke='#222' stroke-dasharray='2 1.5'/>"
        for edge in stripe_edges(blank, stencil, stripes)
    ]
    for place in places_on_tile(settings, stripes):
        fill = "#222" if place.number == position else "#fff"
        ink = "#fff" if place.number == position else "#222"
        half, high = stencil.size_mm / 2, stencil.height_mm / 2
        marks.append(
            f"<rect x='{place.x_mm - half:.2f}' y='{place.y_mm - high:.2f}' "
            f"width='{2 * half:.2f}' height='{2 * high:.2f}' "
            f"rx='{half if stencil.shape == 'disc' else 0:.2f}' fill='{fill}' stroke='#222'/>"
            f"<text x='{place.x_mm:.2f}' y='{place.y_mm:.2f}' fill='{ink}' "
            f"font-size='{half:.2f}' text-anchor='middle' dominant-baseline='central'>"
            f"{place.number}</text>"
        )
    width, height = blank.width_mm, blank.height_mm
    rounded = width / 2 if blank.shape == "round" else 0
    return (
        f"<svg role='img' aria-label='Place {position} on the tile' "
        f"viewBox='-1 -1 {width + 2:g} {height + 2:g}'>"
        f"<rect width='{width:g}' height='{height:g}' rx='{rounded:g}' fill='#ddd' stroke='#222'/>"
        f"{''.join(marks)}</svg>"
    )
