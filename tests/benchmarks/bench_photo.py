"""How well pictures are measured: error, repeatability, where it breaks, and how long it takes.

Run as a script; prints the figures that stand in RESULTS.md. Every picture is drawn, so the truth
is known; each study changes one thing.

    python tests/benchmarks/bench_photo.py [accuracy] [retakes] [limits] [speed]

Memory is read from /proc, so `speed` needs Linux.
"""

import pickle
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd

from kit.photo import PhotoPlan, PictureResult, PrintScale, measure_folder, measure_picture
from kit.photo.raster import colour_shift
from kit.series import Blank, Stencil
from kit.studio.picture import (
    Camera,
    Lighting,
    PatchLook,
    Photograph,
    Setting,
    TileLook,
    photograph,
)

BLANK, STENCIL = Blank(), Stencil()
TILES = 4
SPOTS = [(tile, n) for tile in range(1, TILES + 1) for n in range(1, 5)]
PLAN = PhotoPlan(
    pd.DataFrame(
        {
            "patch": [f"{tile}-{n}" for tile, n in SPOTS],
            "tile": [tile for tile, _ in SPOTS],
            "position": [n for _, n in SPOTS],
            "overlay": [f"colour {n}" for _, n in SPOTS],
            "before_firing": 1,
        }
    ),
    4,
    BLANK,
    STENCIL,
)
BASES = ((0.88, 0.85, 0.74), (0.12, 0.13, 0.16), (0.75, 0.55, 0.2), (0.2, 0.35, 0.6))
OVERLAYS = (
    (0.1, 0.25, 0.55),
    (0.62, 0.1, 0.1),
    (0.1, 0.42, 0.22),
    (0.93, 0.92, 0.9),
    (0.25, 0.22, 0.22),
    (0.85, 0.65, 0.15),
    (0.55, 0.3, 0.55),
)
MEASURES = ("spread_mm", "spread_p95_mm", "edge_width_mm", "pull_through_share")


def random_look(rng: np.random.Generator) -> TileLook:
    """An invented tile with four patches, anything the fire may do."""
    base = BASES[rng.integers(len(BASES))]
    far = [c for c in OVERLAYS if np.abs(np.subtract(c, base)).max() > 0.2]
    patches = tuple(
        PatchLook(
            f"1-{n}",
            n,
            far[rng.integers(len(far))],
            spread_mm=float(rng.uniform(-0.5, 2.0)),
            roughness_mm=float(rng.uniform(0.03, 0.3)),
            edge_width_mm=float(rng.uniform(0.1, 1.0)),
            pull_through_share=float(rng.choice([0, 0, 0.05, 0.15, 0.3, 0.5])),
            hole_mm=float(rng.uniform(0.6, 1.5)),
            mottle_fine=float(rng.uniform(0, 3)),
            mottle_coarse=float(rng.uniform(0, 3)),
        )
        for n in range(1, 5)
    )
    return TileLook(BLANK, STENCIL, base, patches, 4, base_mottle=float(rng.uniform(0, 2)))


def random_camera(rng: np.random.Generator) -> Camera:
    """Held in the hand, as it comes."""
    return Camera(
        fill=float(rng.uniform(0.6, 0.85)),
        tilt_deg=float(rng.uniform(-15, 15)),
        pan_deg=float(rng.uniform(-15, 15)),
        roll_deg=float(rng.choice([0, 0, 90, 180]) + rng.uniform(-6, 6)),
        blur_px=float(rng.uniform(0.7, 1.8)),
        focal_35mm=float(rng.choice([24, 26, 28])),
    )


def random_lighting(rng: np.random.Generator) -> Lighting:
    """A window or a lamp to one side."""
    angle, height = rng.uniform(0, 2 * np.pi), rng.uniform(300, 900)
    return Lighting(
        lamp_mm=(300 * float(np.cos(angle)), 300 * float(np.sin(angle)), float(height)),
        ambient=float(rng.uniform(0.1, 0.5)),
        tint=(1.0, float(rng.uniform(0.9, 1.0)), float(rng.uniform(0.7, 1.0))),
        exposure=float(rng.uniform(0.6, 0.95)),
    )


def random_setting(rng: np.random.Generator) -> Setting:
    """The tile laid as a hand lays it."""
    return Setting(
        turn_deg=float(rng.normal(0, 1.5)), shift_mm=tuple(rng.normal(0, 0.7, 2).clip(-1.5, 1.5))
    )


def random_photograph(seed: int) -> tuple[Photograph, int]:
    """A drawn picture of anything under anything, and the JPEG quality to keep it at."""
    rng = np.random.default_rng([7, seed])
    look, camera = random_look(rng), fits_frame(random_camera(rng))
    lighting, setting = random_lighting(rng), random_setting(rng)
    photo = photograph(look, PLAN.card, seed, camera=camera, lighting=lighting, setting=setting)
    return photo, int(rng.integers(80, 95))


def measure(photo: Photograph, quality: int = 90) -> PictureResult:
    """Save a drawn photograph as JPEG and measure it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "picture.jpg"
        photo.save(path, quality=quality)
        return measure_picture(path, PLAN)


def fits_frame(camera: Camera) -> Camera:
    """On its side, the card fills the shorter way of the frame."""
    sideways = abs(np.sin(np.deg2rad(camera.roll_deg))) > 0.7
    return replace(camera, fill=camera.fill * 0.72) if sideways else camera


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


ORDINARY = TileLook(
    BLANK,
    STENCIL,
    BASES[0],
    (
        PatchLook("1-1", 1, OVERLAYS[0], 0.0, 0.05, 0.2),
        PatchLook("1-2", 2, OVERLAYS[1], 0.5, 0.10, 0.3, pull_through_share=0.05),
        PatchLook("1-3", 3, OVERLAYS[2], 1.2, 0.20, 0.6, pull_through_share=0.15, mottle_fine=2.0),
        PatchLook("1-4", 4, OVERLAYS[4], -0.3, 0.10, 0.4, pull_through_share=0.30),
    ),
    4,
)
LIMITS = {
    "as usual": {},
    "lens blur 2 px": {"camera": {"blur_px": 2.0}},
    "lens blur 4 px": {"camera": {"blur_px": 4.0}},
    "lens blur 8 px": {"camera": {"blur_px": 8.0}},
    "shake 8 px": {"camera": {"shake_px": 8.0}},
    "noise 20 times": {"camera": {"noise": 2e-3}},
    "tilt 30 degrees": {"camera": {"tilt_deg": 30.0, "fill": 0.65}},
    "barrel 1 %": {"camera": {"barrel": 0.01}},
    "barrel 3 %": {"camera": {"barrel": 0.03}},
    "card fills 35 %": {"camera": {"fill": 0.35}},
    "lamp 250 mm away": {"lighting": {"lamp_mm": (-200.0, 0.0, 150.0), "ambient": 0.1}},
    "one stop dark": {"lighting": {"exposure": 0.35}},
    "glare 5 mm": {"lighting": {"glare_mm": 5.0}},
    "card printed 3 % small, not corrected": {"setting": {"print_scale": PrintScale(0.97, 0.97)}},
}


def limits() -> None:
    """Where it breaks: one thing made worse at a time."""
    print("\n### Limits: the same tile, one thing made worse at a time\n")
    print("| condition | spread rms, mm | spread bias, mm | pull-through worst | judged |")
    print("| --- | --- | --- | --- | --- |")
    for name, worse in LIMITS.items():
        how = {
            "camera": replace(Camera(tilt_deg=6.0, fill=0.75), **worse.get("camera", {})),
            "lighting": replace(Lighting(), **worse.get("lighting", {})),
            "setting": replace(Setting(), **worse.get("setting", {})),
        }
        photo = photograph(ORDINARY, PLAN.card, 2, **how)
        result = measure(photo)
        if result.reason:
            print(f"| {name} | | | | {result.reason} |")
            continue
        table = with_truth(result, photo)
        error = table["spread_mm"] - table["spread_mm_true"]
        share = (table["pull_through_share"] - table["pull_through_share_true"]).abs().max()
        print(
            f"| {name} | {np.sqrt((error**2).mean()):.3f} | {error.mean():+.3f} | {share:.3f} | "
            f"{', '.join(table['quality'])} |"
        )


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


STUDIES = {"accuracy": accuracy, "retakes": retakes, "limits": limits, "speed": speed}

if __name__ == "__main__":
    for study in sys.argv[1:] or STUDIES:
        STUDIES[study]()
