"""How well pictures are measured: error, repeatability, where it breaks, and how long it takes.

Run as a script; prints the figures that stand in RESULTS.md. Every picture is drawn, so the truth
is known; each study changes one thing.

    python tests/benchmarks/bench_photo.py [accuracy] [retakes] [mistakes [CLASSES]] [speed [COUNT]]

The table of conditions is drawn and measured by photo_conditions.py beside this. Memory is read
from /proc, so `speed` needs Linux.
"""

import pickle
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
from drawn_tiles import (
    BASES,
    CLASS_TILES,
    NAMED,
    ORDINARY,
    PLAN,
    TILES,
    class_picture,
    class_plan,
    random_camera,
    random_lighting,
    random_photograph,
    random_setting,
)
from joblib.externals.loky import get_reusable_executor
from photo_conditions import print_head, print_row

from kit.photo import PhotoPlan, PictureResult, PrintScale, measure_folder, measure_picture
from kit.photo.raster import colour_shift
from kit.studio import Photograph, Setting, photograph

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


def mistakes(classes: int = 4) -> None:
    """What classes get wrong: each mistake made with each of two tiles, among six."""
    made: dict[str, list[tuple[pd.DataFrame, str]]] = {}
    for number in range(classes):
        for what, table, words in mistakes_of(number):
            made.setdefault(what, []).append((table, words))
    print(f"\n### Mistakes: one among six tiles, twice in each of {classes} classes\n")
    print_mistakes(made)


def print_mistakes(made: dict[str, list[tuple[pd.DataFrame, str]]]) -> None:
    print_head()
    for what, found in made.items():
        table = pd.concat([table for table, _ in found], ignore_index=True)
        print_row(what, table, [words for _, words in found], REASONS[what])


REASONS = {
    "none": "",
    "tile laid by half a turn": "upside down",
    "tile laid by a quarter": "quarter",
    "slip of another tile": "slip of another tile",
    "another colour sifted": "colour of",
    "firing slip forgotten": "slip forgotten",
    "card printed at 97 %, not measured": r"printed at 9[678]",
    "card printed at 102 %, not measured": r"printed at 10[12]",
    "the only tile, laid by half a turn": "which way up",
}


def mistakes_of(number: int) -> Iterator[tuple[str, pd.DataFrame, str]]:
    """One class: what was done, the measurements beside the truth, and all that is asked."""
    plan, base_of = class_plan(number)
    tiles = range(1, CLASS_TILES + 1)
    two = [(tile + number - 1) % CLASS_TILES + 1 for tile in (1, 4)]
    forgotten = {"firing": 3, "says_firing": 1, "beside": True}
    cases: dict[str, list[dict]] = {
        "none": [{}],
        "tile laid by half a turn": [{"tile": t, "turn_deg": 181.0} for t in two],
        "tile laid by a quarter": [{"tile": t, "turn_deg": 89.0} for t in two],
        "slip of another tile": [{"tile": t, "says": t % CLASS_TILES + 1} for t in two],
        "another colour sifted": [
            {"tile": t, "paint": {t % 4 + 1: another_colour(plan, base_of, t)}} for t in two
        ],
        "firing slip forgotten": [forgotten | {"tile": t} for t in two],
        "card printed at 97 %, not measured": [{"scale": 0.97}],
        "card printed at 102 %, not measured": [{"scale": 1.02}],
        "the only tile, laid by half a turn": [
            {"tile": t, "turn_deg": 181.0, "alone": True} for t in two
        ],
    }
    with tempfile.TemporaryDirectory() as name:
        right = Path(name) / "right"
        right.mkdir()
        truth = photograph_class(right, plan, base_of, tiles, {}, number)
        measure_folder(right, plan, workers=1)
        for what, made in cases.items():
            for n, case in enumerate(made):
                folder = Path(name) / f"{list(cases).index(what)}-{n}"
                if case.get("alone"):
                    folder.mkdir()
                else:
                    shutil.copytree(right, folder)
                again = tiles if "scale" in case else [case.get("tile", 1)]
                new = photograph_class(folder, plan, base_of, again, case, number)
                kept = truth[~truth["picture"].isin(new["picture"])]
                yield what, *measured_class(folder, plan, pd.concat([kept, new]))


def another_colour(plan: PhotoPlan, base_of: dict[int, int], tile: int) -> str:
    """A colour that no patch of the tile carries, and that is seen on its base."""
    own = set(plan.patches.loc[plan.patches["tile"] == tile, "overlay"])
    base = BASES[base_of[tile]]
    return next(
        name
        for name, rgb in NAMED.items()
        if name not in own and np.abs(np.subtract(rgb, base)).max() > 0.2
    )


def photograph_class(
    folder: Path,
    plan: PhotoPlan,
    base_of: dict[int, int],
    tiles: Iterable[int],
    case: dict,
    number: int,
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
            photo = class_picture(plan, base_of, tile, firing, n, number=number, slips=slips, **how)
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


def speed(pictures: int = 500, phones: int = 5) -> None:
    """A class's pictures from several telephones, a folder each: time, memory, and a restart."""
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "photos"
        for phone in range(phones):
            (folder / f"phone{phone + 1}").mkdir(parents=True)
        for tile in range(1, TILES + 1):
            photo = photograph(ORDINARY, PLAN.card, 0, setting=Setting(tile=tile))
            photo.save(Path(name) / f"{tile}.jpg")
        for n in range(pictures):
            # Bytes after a JPEG's end are passed over; the file still counts as another.
            content = (Path(name) / f"{n % TILES + 1}.jpg").read_bytes() + n.to_bytes(4, "big")
            (folder / f"phone{n % phones + 1}" / f"{n}.jpg").write_bytes(content)
        print(f"\n### Speed: {pictures} pictures of 12 megapixels from {phones} telephones\n")
        for workers, what in ((2, "two workers, from nothing"), (2, "again")):
            start, spent = time.perf_counter(), _spent()
            measure_folder(folder, PLAN, workers=workers)
            get_reusable_executor().shutdown(wait=True)
            print(
                f"{what}: {time.perf_counter() - start:.0f} s, processor time "
                f"{(_spent() - spent) / pictures:.3f} s a picture",
                flush=True,
            )
        some = sorted(folder.rglob("*.jpg"))
        for count in (1, 10, 40):
            print(f"most memory, {count} pictures one after another: {memory(some[:count])} MB")


def _spent() -> float:
    """Processor time of this process and those that it started and that have ended, s."""
    return sum(resource.getrusage(who).ru_utime + resource.getrusage(who).ru_stime for who in _ALL)


_ALL = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)


def memory(paths: list[Path]) -> int:
    """Most memory that a process of its own takes to measure pictures in turn, MB."""
    code = (
        "import pickle, sys; from pathlib import Path; from kit.photo import measure_picture;"
        "paths, plan = pickle.load(sys.stdin.buffer);"
        "[measure_picture(path, plan) for path in paths];"
        "status = Path('/proc/self/status').read_text();"
        "print(int(status.split('VmHWM:')[1].split()[0]) // 1024)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        input=pickle.dumps((paths, PLAN)),
        capture_output=True,
        check=True,
    )
    return int(done.stdout)


STUDIES = {
    "accuracy": accuracy,
    "retakes": retakes,
    "mistakes": mistakes,
    "speed": speed,
}

if __name__ == "__main__":
    asked = [name for name in sys.argv[1:] if not name.isdigit()]
    counts = [int(name) for name in sys.argv[1:] if name.isdigit()]
    for study in asked or STUDIES:
        STUDIES[study](*(counts if study in ("mistakes", "speed") else []))
