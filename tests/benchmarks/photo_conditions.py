"""The table of conditions: pictures of tiles at random, one thing at a time done to them.

Pictures are drawn into a folder and kept there with their truth, so that they need not be drawn
again: a run that is stopped goes on where it was, and a change to measuring is tried on the same
pictures. What was measured is kept beside them.
"""

import re
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from drawn_tiles import (
    FULL_PLAN,
    PLAN,
    STRIPED,
    fits_frame,
    random_camera,
    random_lighting,
    random_look,
    random_setting,
    random_striped_look,
)
from skimage.color import lab2rgb

from kit.photo import PhotoPlan, PrintScale, measure_picture
from kit.studio import Photograph, photograph

MIRRORED = "reflection|mirrored"
COPPER = (0.72, 0.45, 0.3)
CONDITIONS: dict[str, dict] = {
    "any tile, any light": {},
    "grey base, L* 45 to 70": {"base": [45, 52, 58, 64, 70]},
    "white base": {"base": [96]},
    "mirror-dark base": {"base": [3]},
    "copper-coloured base": {"base": [COPPER]},
    "transparent over bare copper": {"base": [COPPER], "tinted": True},
    "striped": {"striped": True},
    "held askew, any way up": {"askew": True},
    "sharpened by the telephone": {"camera": {"sharpening": 1.2}},
    "barrel distortion 2 %": {"camera": {"barrel": 0.02}},
    "pull-through 50 %, torn edges": {"patch": {"pull_through_share": 0.5}},
    "window mirrored": {"light": {"pane": 0.3}, "reason": MIRRORED},
    "window mirrored faintly": {"light": {"pane": 0.1}, "reason": MIRRORED},
    "lamp mirrored": {"light": {"glare_mm": 5.0}, "reason": MIRRORED},
    "veil of sky": {"light": {"veil": 0.15}, "reason": MIRRORED},
    "telephone in a veil": {"light": {"veil": 0.15, "phone": True}, "reason": MIRRORED},
    "a little blurred": {"camera": {"blur_px": 2.6}},
    "blurred": {"camera": {"blur_px": 6.0}, "reason": "blur|sharp"},
    "dark": {"light": {"exposure": 0.25}},
    "too dark": {"light": {"exposure": 0.05}, "reason": "too dark"},
    "burnt out": {"light": {"exposure": 1.5}, "reason": "too bright"},
    "finger on the tile": {"finger": True, "reason": "lying on it|[Ff]inger"},
    "no firing slip": {"setting": {"firing": None}, "reason": "firing slip cannot be read"},
    "no tile slip": {"setting": {"tile": None}, "reason": "tile slip cannot be read"},
}
"""What is done to the pictures, and the words that name it; no words where nothing is wrong."""

UNACCEPTABLE = {"blurred", "too dark", "burnt out", "no firing slip", "no tile slip"}
_FEW = 4
"""Pictures that cannot be measured are all alike."""

RULE_MM = 0.5
"""A rule is read to the nearest half millimetre."""


def draw(name: str, n: int) -> tuple[Photograph, PhotoPlan, int]:
    """A tile at random under a condition, what is planned of it, and the JPEG quality.

    Every other tile carries nine small patches in place of four. The printer is a little out, and
    the card is measured with a rule.
    """
    done = CONDITIONS[name]
    seed = 1000 * list(CONDITIONS).index(name) + n
    rng = np.random.default_rng([31, seed])
    scale = PrintScale(*(1 + rng.normal(0, 0.01, 2)).clip(0.97, 1.03).tolist())
    plan = STRIPED if done.get("striped") else FULL_PLAN if n % 2 else PLAN
    base = _colour(done["base"][n % len(done["base"])]) if "base" in done else None
    look = random_striped_look(rng) if done.get("striped") else random_look(rng, base, plan)
    changed = dict(done.get("patch", {}))
    if done.get("tinted"):
        changed["pull_through_share"] = 0.0
    patches = tuple(
        replace(
            p, **changed, **({"overlay_rgb": _tinted(p.overlay_rgb)} if "tinted" in done else {})
        )
        for p in look.patches
    )
    lighting, camera, setting = random_lighting(rng), random_camera(rng), random_setting(rng)
    if not done.get("askew"):
        camera = replace(
            camera, roll_deg=float(rng.uniform(-5, 5)), fill=max(camera.fill, 0.7),
            blur_px=min(camera.blur_px, 1.2),
        )  # fmt: skip
    camera = replace(fits_frame(camera), width_px=2000, height_px=1500, **done.get("camera", {}))
    if done.get("finger"):
        window = PLAN.card.window
        tip = (window.x_mm + rng.uniform(10, 40), window.y_mm + rng.uniform(28, 45))
        setting = replace(setting, finger_mm=tuple(map(float, tip)))
    photo = photograph(
        replace(look, patches=patches),
        PLAN.card,
        seed,
        camera=camera,
        lighting=replace(lighting, **done.get("light", {})),
        setting=replace(setting, print_scale=scale, **done.get("setting", {})),
    )
    return (
        photo,
        read_off(scale, plan),
        int(rng.integers(80, 95)),
    )


def read_off(scale: PrintScale, plan: PhotoPlan) -> PhotoPlan:
    """The plan with the printed card measured by a rule."""
    card = plan.card
    across, down = (
        RULE_MM * round(length * part / RULE_MM)
        for length, part in ((card.across_mm, scale.across), (card.down_mm, scale.down))
    )
    return replace(plan, scale=card.print_scale(across, down), scale_measured=True)


def _colour(base: float | tuple[float, float, float]) -> tuple[float, float, float]:
    """A base given as a grey's L*, or as it is."""
    if isinstance(base, tuple):
        return base
    red, green, blue = lab2rgb(np.array([[[float(base), 0.0, 0.0]]]))[0, 0].tolist()
    return red, green, blue


def _tinted(rgb: tuple[float, float, float]) -> tuple[float, float, float]:
    """A transparent colour over bare copper: what the copper sends, through the glass."""
    red, green, blue = (0.25 * c + 0.75 * c * m for c, m in zip(rgb, COPPER, strict=True))
    return red, green, blue


def drawn(folder: Path, pictures: int, until: float) -> Iterator[tuple[str, int, Path, PhotoPlan]]:
    """Give each picture there is, drawing what is missing while there is time."""
    folder.mkdir(parents=True, exist_ok=True)
    for n in range(pictures):
        for name in CONDITIONS:
            if name in UNACCEPTABLE and n >= _FEW:
                continue
            stem = f"{re.sub('[^a-z0-9]+', '-', name)}.{n}"
            path, kept = folder / f"{stem}.jpg", folder / f"{stem}.pkl"
            if not kept.exists():
                if time.monotonic() > until:
                    continue
                photo, plan, quality = draw(name, n)
                photo.save(path, quality=quality)
                pd.to_pickle((photo.truth, plan), kept)
            yield name, n, path, pd.read_pickle(kept)[1]


def measure(folder: Path, pictures: int, minutes: float, again: bool) -> pd.DataFrame:
    """Measure the pictures, each once unless asked for again, and give all that was measured."""
    until = time.monotonic() + 60 * minutes
    kept = folder / "measured.pkl"
    known = pd.read_pickle(kept) if kept.exists() and not again else {}
    for name, n, path, plan in drawn(folder, pictures, until):
        if (name, n) in known or time.monotonic() > until:
            continue
        truth = pd.read_pickle(path.with_suffix(".pkl"))[0]
        start = time.process_time()
        result = measure_picture(path, plan)
        spent = time.process_time() - start
        if result.reason:
            table = truth.assign(quality="refused", remark=result.reason)
        else:
            table = result.patches.merge(truth, on="patch", suffixes=("", "_true"))
        known[name, n] = table.assign(condition=name, n=n, seconds=spent)
        pd.to_pickle(known, kept)
    return pd.concat(known.values(), ignore_index=True)


def print_head() -> None:
    print(
        "| condition | patches | spread rms | bias | worst 'good' | pull-through rms | bias | "
        "worst 'good' | within 2 se: spread | pull-through | good | fair | poor, not measured | "
        "refused | reason right |"
    )
    print("| " + "--- | " * 15)


def print_row(name: str, table: pd.DataFrame, told: list[str], reason: str) -> None:
    """Errors of what counts (good and fair), and how all of it was judged."""
    counts = table["quality"].value_counts(normalize=True)
    figures = [""] * 8
    used = table[table["quality"].isin(["good", "fair"])]
    if len(used):
        good = used["quality"] == "good"
        figures = []
        for measured, digits in (("spread_mm", 2), ("pull_through_share", 3)):
            off = used[measured] - used[f"{measured}_true"]
            worst = f"{off[good].abs().max():.{digits}f}" if good.any() else ""
            figures += [f"{np.sqrt((off**2).mean()):.3f}", f"{off.mean():+.3f}", worst]
        figures += [f"{held(used, m):.0%}" for m in ("spread_mm", "pull_through_share")]
    poor = counts.get("poor", 0) + counts.get("not measured", 0)
    right = f"{np.mean([bool(re.search(reason, words)) for words in told]):.0%}" if reason else ""
    shares = [counts.get("good", 0), counts.get("fair", 0), poor, counts.get("refused", 0)]
    print(
        f"| {name} | {len(table)} | {' | '.join(figures)} | "
        f"{' | '.join(f'{s:.0%}' for s in shares)} | {right} |",
        flush=True,
    )


def held(used: pd.DataFrame, measure: str) -> float:
    """Share of measurements whose two standard errors hold the truth."""
    off = (used[measure] - used[f"{measure}_true"]).abs()
    return float((off < 2 * used[f"{measure}_se"]).mean())


def conditions(
    folder: Path, pictures: int = 14, minutes: float = 11.0, again: bool = False
) -> None:
    """Print error, cover and judgement under each condition, and over all that are acceptable."""
    table = measure(folder, pictures, minutes, again)
    print(f"\n### Conditions: {len(table.groupby(['condition', 'n']))} pictures\n")
    print_head()
    for name, done in CONDITIONS.items():
        own = table[table["condition"] == name]
        if len(own):
            told = [" ".join(rows["remark"]) for _, rows in own.groupby("n")]
            print_row(name, own, told, done.get("reason", ""))
    fine = table[~table["condition"].isin(UNACCEPTABLE)]
    print_row("all but the unacceptable", fine, [], "")
    refused = table[table["quality"].isin(["poor", "not measured", "refused"])]
    named = refused[refused["condition"].map(lambda c: "reason" in CONDITIONS[c])]
    right = [
        bool(re.search(CONDITIONS[c]["reason"], remark))
        for c, remark in zip(named["condition"], named["remark"], strict=True)
    ]
    print(f"\nOf {len(named)} patches not taken where something was done, named right: "
          f"{np.mean(right):.1%}")  # fmt: skip
    spent = table.groupby(["condition", "n"])["seconds"].first()
    print(f"Processor time a picture: {spent.mean():.2f} s")


if __name__ == "__main__":
    cv2.setNumThreads(1)
    conditions(Path(sys.argv[1]), *map(int, sys.argv[2:4]), again="again" in sys.argv)
