"""How well pictures are measured: error, repeatability, where it breaks, and how long it takes.

Run as a script; prints the figures that stand in RESULTS.md. Every picture is drawn, so the truth
is known; each study changes one thing.

    python tests/benchmarks/bench_photo.py [accuracy] [retakes] [limits] [speed]
"""

import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pandas as pd

from kit.photo.picture import PictureResult, measure_picture
from kit.photo.plan import PhotoPlan
from kit.series import Blank, Stencil
from kit.studio.picture import Camera, Lighting, PatchLook, Setting, TileLook, photograph

BLANK, STENCIL = Blank(), Stencil()
PLAN = PhotoPlan(
    pd.DataFrame(
        {
            "patch": [f"1-{n}" for n in range(1, 5)],
            "tile": 1,
            "position": range(1, 5),
            "overlay": [f"colour {n}" for n in range(1, 5)],
            "before_firing": 1,
        }
    ),
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


def measure(pixels_from: object, folder: Path, quality: int = 90) -> PictureResult:
    """Save a drawn photograph as JPEG and measure it."""
    path = folder / "picture.jpg"
    pixels_from.save(path, quality=quality)
    return measure_picture(path, PLAN)


def fits_frame(camera: Camera) -> Camera:
    """On its side, the card fills the shorter way of the frame."""
    sideways = abs(np.sin(np.deg2rad(camera.roll_deg))) > 0.7
    return replace(camera, fill=camera.fill * 0.72) if sideways else camera


def accuracy(pictures: int = 40) -> None:
    """Error over everything at once."""
    rows, reasons = [], []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(pictures):
            rng = np.random.default_rng([7, seed])
            look, camera = random_look(rng), fits_frame(random_camera(rng))
            photo = photograph(
                look,
                PLAN.card,
                seed,
                camera=camera,
                lighting=random_lighting(rng),
                setting=random_setting(rng),
            )
            result = measure(photo, Path(folder), int(rng.integers(80, 95)))
            if result.reason:
                reasons.append(result.reason)
                continue
            both = result.patches.merge(photo.truth, on="patch", suffixes=("", "_true"))
            rows.append(both.assign(seed=seed))
    table = pd.concat(rows)
    print(f"\naccuracy: {pictures} pictures, {len(table)} patches, {len(reasons)} not measured")
    print(*reasons, sep="\n")
    print(table["quality"].value_counts().to_string())
    table.to_csv("/tmp/accuracy.csv")
    for name in MEASURES + ("mottle_fine", "mottle_coarse"):
        error = (table[name] - table[f"{name}_true"]).dropna()
        within = (error.abs() < 1.96 * table.loc[table[name].notna(), f"{name}_se"]).mean()
        print(
            f"{name:20s} rms {np.sqrt((error**2).mean()):.3f}  bias {error.mean():+.3f}  "
            f"worst {error.abs().max():.3f}  within 95% {within:.0%}"
        )


STUDIES = {"accuracy": accuracy}

if __name__ == "__main__":
    for name in sys.argv[1:] or STUDIES:
        STUDIES[name]()
    print(f"most memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
