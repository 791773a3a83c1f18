"""How well pictures are measured: error, repeatability, where it breaks, and how long it takes.

Run as a script; prints the figures that stand in RESULTS.md. Every picture is drawn, so the truth
is known; each study changes one thing.

    python tests/benchmarks/bench_photo.py [accuracy] [retakes] [conditions] [mistakes] [speed]

Memory is read from /proc, so `speed` needs Linux.
"""

import pickle
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from drawn_tiles import (
    CLASS_TILES,
    ORDINARY,
    PLAN,
    TILES,
    class_picture,
    class_plan,
    random_camera,
    random_lighting,
    random_look,
    random_photograph,
    random_setting,
)
from skimage.color import lab2rgb

from kit.photo import PhotoPlan, PictureResult, PrintScale, measure_folder, measure_picture
from kit.photo.raster import colour_shift
from kit.studio.picture import Photograph, Setting, photograph

MEASURES = ("spread_mm", "spread_p95_mm", "edge_width_mm", "pull_through_share")


def measure(photo: Photograph, quality: int = 90) -> PictureResult:
    """Save a drawn photograph as JPEG and measure it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "picture.jpg"
        photo.save(path, quality=quality)
        return measure_picture(path, PLAN)


def with_truth(result: PictureResult, photo: Photograph) -> pd.DataFrame:
    return result.patches.merge(photo.truth, on="patch", suffixes=("", "_true"))


def print_errors(table: pd.DataFrame, names: tuple[str, ...]) -> None:
    print("| measurement | rms error | bias | worst | within 2 standard errors |")
    print("| --- | --- | --- | --- | --- |")
    for name in names:
        error = (table[name] - table[f"{name}_true"]).dropna()
        held = (error.abs() < 2 * table.loc[error.index, f"{name}_se"]).mean()
        print(
            f"| {name} | {np.sqrt((error**2).mean()):.3f} | {error.mean():+.3f} | "
            f"{error.abs().max():.3f} | {held:.0%} |"
        )


def accuracy(pictures: int = 24) -> None:
    """Error over everything at once."""
    tables, reasons = [], []
    for seed in range(pictures):
        photo, quality = random_photograph(seed)
        result = measure(photo, quality)
        reasons += [result.reason] * bool(result.reason)
        tables.append(with_truth(result, photo))
    table = pd.concat(tables, ignore_index=True)
    print(f"\n### Accuracy: {pictures} pictures, {len(table)} patches\n")
    print(f"Not measured: {len(reasons)}", *reasons, sep="\n")
    print(table["quality"].value_counts().to_dict())
    print_errors(table, (*MEASURES, "mottle_fine", "mottle_coarse"))
    print("\nBy pull-through, bias of spread and of edge width, mm, and of pull-through:\n")
    error = pd.DataFrame({n: table[n] - table[f"{n}_true"] for n in MEASURES})
    print(error.groupby(table["pull_through_share_true"].round(2)).mean().round(3).to_string())


def retakes(pictures: int = 6) -> None:
    """One tile photographed again and again, the camera and the light a little different."""
    tables = []
    for retake in range(pictures):
        rng = np.random.default_rng([12, retake])
        photo = photograph(
            ORDINARY,
            PLAN.card,
            1,
            retake=retake,
            camera=replace(random_camera(rng), roll_deg=float(rng.uniform(-6, 6))),
            lighting=random_lighting(rng),
            setting=random_setting(rng),
        )
        tables.append(with_truth(measure(photo), photo))
    table = pd.concat(tables, ignore_index=True)
    print(f"\n### Retakes: one tile, {pictures} pictures; standard deviation of one patch\n")
    names = [*MEASURES, "mottle_fine", "mottle_coarse"]
    spread = table.groupby("patch")[names].std().mean().round(3)
    print(spread.to_string())
    colours = table.groupby("patch")[["overlay_l", "overlay_a", "overlay_b"]]
    pairs = [
        float(colour_shift(one, other))
        for _, group in colours
        for n, one in enumerate(group.to_numpy())
        for other in group.to_numpy()[n + 1 :]
    ]
    print(
        f"CIEDE2000 between two pictures: median {np.median(pairs):.2f}, "
        f"95% below {np.quantile(pairs, 0.95):.2f}"
    )


MIRRORED = "reflection|mirrored"
COPPER = (0.72, 0.45, 0.3)
MINE = {
    "any tile, any light": {},
    "grey base, L* 45 to 70": {"base": [45, 52, 58, 64, 70]},
    "white base": {"base": [96]},
    "mirror-dark base": {"base": [3]},
    "copper-coloured base": {"base": [COPPER]},
    "transparent over bare copper": {"base": [COPPER], "tinted": True},
    "sharpened by the telephone": {"camera": {"sharpening": 1.2}},
    "barrel distortion 2 %": {"camera": {"barrel": 0.02}},
    "pull-through 50 %, torn edges": {"patch": {"pull_through_share": 0.5}},
    "window mirrored": {"light": {"pane": 0.3}, "reason": MIRRORED},
    "window mirrored faintly": {"light": {"pane": 0.1}, "reason": MIRRORED},
    "lamp mirrored": {"light": {"glare_mm": 5.0}, "reason": MIRRORED},
    "veil of sky": {"light": {"veil": 0.15}, "reason": MIRRORED},
    "telephone in a veil": {
        "light": {"veil": 0.15, "phone": True},
        "reason": MIRRORED,
    },
    "blurred": {"camera": {"blur_px": 6.0}, "reason": "blur"},
    "too dark": {"light": {"exposure": 0.05}, "reason": "too dark|photo card|slip"},
    "finger on the tile": {"setting": {"finger_mm": (58.0, 46.0)}, "reason": "lying on it|finger"},
    "no firing slip": {"setting": {"firing": None}, "reason": "firing slip cannot be read"},
}
"""What is done to the pictures, and the words that name it; no words where nothing is wrong."""


def conditions(pictures: int = 3) -> None:
    """One thing at a time, on tiles at random: error, how each was judged, and whether why."""
    print(f"\n### Conditions: {pictures} pictures of four patches each\n")
    print_head()
    for name, done in MINE.items():
        tables, told = [], []
        for n in range(pictures):
            photo, quality = under(done, n)
            result = measure(photo, quality)
            table = (
                with_truth(result, photo)
                if not result.reason
                else photo.truth.assign(quality="refused", remark=result.reason)
            )
            tables.append(table)
            told.append(" ".join([result.reason, *result.patches["remark"]]))
        print_row(name, pd.concat(tables, ignore_index=True), told, done.get("reason", ""))


def under(done: dict, n: int) -> tuple[Photograph, int]:
    """A tile at random under one of the conditions."""
    rng = np.random.default_rng([31, n])
    look = random_look(
        rng, base=lightness(done["base"][n % len(done["base"])]) if "base" in done else None
    )
    changed = done.get("patch", {})
    if done.get("tinted"):
        changed = changed | {"pull_through_share": 0.0}
    patches = tuple(
        replace(
            p, **changed, **({"overlay_rgb": tinted(p.overlay_rgb)} if done.get("tinted") else {})
        )
        for p in look.patches
    )
    lighting, camera = random_lighting(rng), random_camera(rng)
    camera = replace(
        camera,
        width_px=2000,
        height_px=1500,
        roll_deg=float(rng.uniform(-5, 5)),
        fill=max(camera.fill, 0.7),
        blur_px=min(camera.blur_px, 1.2),
        **done.get("camera", {}),
    )
    photo = photograph(
        replace(look, patches=tuple(patches)),
        PLAN.card,
        40 + n,
        camera=camera,
        lighting=replace(lighting, **done.get("light", {})),
        setting=replace(random_setting(rng), **done.get("setting", {})),
    )
    return photo, int(rng.integers(80, 95))


def lightness(base: float | tuple[float, float, float]) -> tuple[float, float, float]:
    """A base given as a grey's L*, or as it is."""
    if isinstance(base, tuple):
        return base
    red, green, blue = lab2rgb(np.array([[[float(base), 0.0, 0.0]]]))[0, 0].tolist()
    return red, green, blue


def tinted(rgb: tuple[float, float, float]) -> tuple[float, float, float]:
    """A transparent colour over bare copper: what the copper sends, through the glass."""
    red, green, blue = (
        0.25 * c + 0.75 * c * m for c, m in zip(rgb, (0.72, 0.45, 0.3), strict=True)
    )
    return red, green, blue


def print_head() -> None:
    print(
        "| condition | spread rms | bias | worst 'good' | pull-through rms | worst 'good' | "
        "within 2 se | good | fair | poor, not measured | refused | reason right |"
    )
    print("| " + "--- | " * 12)


def print_row(name: str, table: pd.DataFrame, told: list[str], reason: str) -> None:
    """Errors of what counts (good and fair), and how all of it was judged."""
    counts = table["quality"].value_counts(normalize=True)
    figures = ["", "", "", "", "", ""]
    if "spread_mm_true" in table:
        used = table[table["quality"].isin(["good", "fair"])]
        off = used["spread_mm"] - used["spread_mm_true"]
        lace = used["pull_through_share"] - used["pull_through_share_true"]
        good = used["quality"] == "good"
        if len(used):
            figures = [
                f"{np.sqrt((off**2).mean()):.3f}",
                f"{off.mean():+.3f}",
                f"{off[good].abs().max():.2f}" if good.any() else "",
                f"{np.sqrt((lace**2).mean()):.3f}",
                f"{lace[good].abs().max():.2f}" if good.any() else "",
                f"{(off.abs() < 2 * used['spread_mm_se']).mean():.0%}",
            ]
    poor = counts.get("poor", 0) + counts.get("not measured", 0)
    right = f"{np.mean([bool(re.search(reason, words)) for words in told]):.0%}" if reason else ""
    shares = [counts.get("good", 0), counts.get("fair", 0), poor, counts.get("refused", 0)]
    print(
        f"| {name} | {' | '.join(figures)} | {' | '.join(f'{s:.0%}' for s in shares)} | {right} |",
        flush=True,
    )


def mistakes() -> None:
    """What a class gets wrong: each mistake made once with each of three tiles, among eight."""
    plan, base_of = class_plan()
    halves = [{"tile": tile, "turn_deg": 181.0} for tile in (1, 4)]
    quarters = [{"tile": tile, "turn_deg": 89.0} for tile in (2, 5)]
    swapped = [{"tile": tile, "says": tile % CLASS_TILES + 1} for tile in (2, 4)]
    painted = [{"tile": tile, "paint": paint} for tile, paint in PAINTED]
    forgotten = {"firing": 3, "says_firing": 1, "beside": True}
    made: dict[str, tuple[str, list[dict]]] = {
        "none": ("", [{}]),
        "tile laid by half a turn": ("upside down", halves),
        "tile laid by a quarter": ("quarter", quarters),
        "slip of another tile": ("slip of another tile", swapped),
        "another colour sifted": ("colour of", painted),
        "firing slip forgotten": ("slip forgotten", [forgotten | {"tile": t} for t in (1, 3)]),
        "card printed at 97 %, not measured": (r"printed at 9[67]", [{"scale": 0.97}]),
        "card printed at 102 %, not measured": (r"printed at 10[12]", [{"scale": 1.02}]),
    }
    print("\n### Mistakes: one among six tiles, twice each\n")
    print_head()
    with tempfile.TemporaryDirectory() as name:
        right = Path(name) / "right"
        right.mkdir()
        truth = photograph_class(right, plan, base_of, range(1, CLASS_TILES + 1), {})
        measure_folder(right, plan, workers=1)
        for what, (reason, cases) in made.items():
            tables, told = [], []
            for n, case in enumerate(cases):
                folder = Path(shutil.copytree(right, Path(name) / f"{len(reason)}-{n}-{what[:4]}"))
                again = range(1, CLASS_TILES + 1) if "scale" in case else [case.get("tile", 1)]
                new = photograph_class(folder, plan, base_of, again, case)
                kept = truth[~truth["picture"].isin(new["picture"])]
                table, words = measured_class(folder, plan, pd.concat([kept, new]))
                tables.append(table)
                told.append(words)
            print_row(what, pd.concat(tables, ignore_index=True), told, reason)


PAINTED = [(1, {2: "colour 3"}), (4, {1: "colour 1"})]


def photograph_class(
    folder: Path, plan: PhotoPlan, base_of: dict[int, int], tiles: Iterable[int], case: dict
) -> pd.DataFrame:
    """Photograph some of a class's tiles, by mistake or not, and give the truth of each picture."""
    done = {key: case[key] for key in ("turn_deg", "paint") if key in case}
    if "scale" in case:
        done["print_scale"] = PrintScale(case["scale"], case["scale"])
    says = {kind: case[key] for kind, key in SAYS if key in case}
    truths = []
    for tile in tiles:
        shots = [(0, 1, {}, {})] if case.get("beside") else []
        shots.append((len(shots), case.get("firing", 1), says, done))
        for n, firing, slips, how in shots:
            photo = class_picture(plan, base_of, tile, firing, n, slips=slips, **how)
            photo.save(folder / f"{tile}-{n}.jpg", quality=88)
            truths.append(photo.truth.assign(picture=f"{tile}-{n}.jpg"))
    return pd.concat(truths, ignore_index=True)


SAYS = (("tile", "says"), ("firing", "says_firing"))


def measured_class(folder: Path, plan: PhotoPlan, truth: pd.DataFrame) -> tuple[pd.DataFrame, str]:
    """Measure a class's folder; give the measurements beside the truth, and all that is asked."""
    found = measure_folder(folder, plan, workers=1)
    place = plan.patches.set_index("patch")["position"]
    rows = found.measurements.assign(position=found.measurements["patch"].map(place))
    place_in = ["picture", "position"]
    table = rows.merge(truth.drop(columns="patch"), on=place_in, suffixes=("", "_true"))
    asked = [question.words for question in found.questions]
    words = " ".join([*found.notes, *asked, *found.unmeasured["reason"]])
    return table, words


def speed(copies: int = 60) -> None:
    """Seconds a picture on one core, and a folder on two."""
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "photos"
        folder.mkdir()
        for tile in range(1, TILES + 1):
            first = folder / f"{tile}-0.jpg"
            photograph(ORDINARY, PLAN.card, 0, setting=Setting(tile=tile)).save(first)
            for n in range(1, copies // TILES):
                # Bytes after a JPEG's end are passed over; the file still counts as another.
                content = first.read_bytes() + n.to_bytes(4, "big")
                (folder / f"{tile}-{n}.jpg").write_bytes(content)
        spent = []
        for _ in range(7):
            start = time.process_time()
            measure_picture(folder / "1-0.jpg", PLAN)
            spent.append(time.process_time() - start)
        print("\n### Speed\n")
        print(f"one 12-megapixel picture: {min(spent):.2f} s of one core, best of 7")
        for what in ("from nothing", "again"):
            start = time.perf_counter()
            measure_folder(folder, PLAN, workers=2)
            print(f"folder of {copies} on two cores, {what}: {time.perf_counter() - start:.1f} s")
        for count in (1, 10):
            print(f"most memory, {count} pictures one after another: {memory(folder, count)} MB")


def memory(folder: Path, count: int) -> int:
    """Most memory that a process of its own takes to measure a picture so many times, MB."""
    code = (
        "import pickle, sys; from pathlib import Path; from kit.photo import measure_picture;"
        "path, plan, count = pickle.load(sys.stdin.buffer);"
        "[measure_picture(path, plan) for _ in range(count)];"
        "status = Path('/proc/self/status').read_text();"
        "print(int(status.split('VmHWM:')[1].split()[0]) // 1024)"
    )
    given = pickle.dumps((folder / "1-0.jpg", PLAN, count))
    done = subprocess.run(
        [sys.executable, "-c", code], input=given, capture_output=True, check=True
    )
    return int(done.stdout)


STUDIES = {
    "accuracy": accuracy,
    "retakes": retakes,
    "conditions": conditions,
    "mistakes": mistakes,
    "speed": speed,
}

if __name__ == "__main__":
    for study in sys.argv[1:] or STUDIES:
        STUDIES[study]()
