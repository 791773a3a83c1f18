"""Invented tiles, cameras and light at random, for the benchmark of photographs."""

from dataclasses import replace

import numpy as np
import pandas as pd

from kit.photo import PhotoPlan
from kit.photo.tile_plan import TileLayout
from kit.series import Blank, Stencil, stripe_edges
from kit.series.stripes import striped_positions
from kit.studio import (
    Camera,
    Lighting,
    PatchLook,
    Photograph,
    Setting,
    TileLook,
    photograph,
)

BLANK, STENCIL, SMALL_STENCIL = Blank(), Stencil(), Stencil("disc", 9.0)
TILES = 4


def plan_of(count: int) -> PhotoPlan:
    """Four tiles of so many patches; more than four go through a small stencil."""
    spots = [(tile, n) for tile in range(1, TILES + 1) for n in range(1, count + 1)]
    patches = pd.DataFrame(
        {
            "patch": [f"{tile}-{n}" for tile, n in spots],
            "tile": [tile for tile, _ in spots],
            "position": [n for _, n in spots],
            "overlay": [f"colour {n}" for _, n in spots],
            "before_firing": 1,
        }
    )
    return PhotoPlan(patches, count, BLANK, STENCIL if count <= 4 else SMALL_STENCIL)


PLAN, FULL_PLAN = plan_of(4), plan_of(9)
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


STRIPED_PLACES = striped_positions(BLANK, SMALL_STENCIL, 2, 3)
SEAMS = stripe_edges(BLANK, SMALL_STENCIL, 2)
STRIPED = replace(
    plan_of(6),
    striped={
        1: TileLayout({p.number: p for p in STRIPED_PLACES}, SMALL_STENCIL, ("one", "other"), SEAMS)
    },
)
"""The first tile carries two bases in stripes, with three patches on each."""


def random_look(
    rng: np.random.Generator, base: tuple[float, float, float] | None = None, plan: PhotoPlan = PLAN
) -> TileLook:
    """An invented tile, anything the fire may do to its patches; on any base when None."""
    drawn = BASES[rng.integers(len(BASES))]
    base = base or drawn
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
        for n in range(1, plan.patches_per_tile + 1)
    )
    mottle = float(rng.uniform(0, 2))
    return TileLook(BLANK, plan.stencil, base, patches, plan.patches_per_tile, base_mottle=mottle)


def random_striped_look(rng: np.random.Generator) -> TileLook:
    """An invented tile of two bases, with three small patches on each."""
    left, right = rng.choice(len(BASES), 2, replace=False)
    looks = [random_look(rng, BASES[side], STRIPED) for side in (left, right)]
    patches = tuple(looks[n % 2].patches[n] for n in range(STRIPED.patches_per_tile))
    return replace(
        looks[0],
        patches=tuple(replace(p, spread_mm=min(p.spread_mm, 1.2)) for p in patches),
        stripes=tuple((edge, BASES[right]) for edge in SEAMS),
        places=STRIPED_PLACES,
        placement_mm=0.3,
    )


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


def fits_frame(camera: Camera) -> Camera:
    """On its side, the card fills the shorter way of the frame."""
    sideways = abs(np.sin(np.deg2rad(camera.roll_deg))) > 0.7
    return replace(camera, fill=camera.fill * 0.72) if sideways else camera


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


NAMED = {f"colour {n}": rgb for n, rgb in enumerate(OVERLAYS)}
CLASS_TILES = 6


def class_plan(number: int = 0) -> tuple[PhotoPlan, dict[int, int]]:
    """Six tiles of named colours on two bases, and which base each has; of one class of many."""
    rng = np.random.default_rng(77 + number)
    rows, base_of = [], {}
    for tile in range(1, CLASS_TILES + 1):
        base_of[tile] = (tile - 1) % 2
        far = [
            n for n, c in NAMED.items() if np.abs(np.subtract(c, BASES[base_of[tile]])).max() > 0.2
        ]
        overlays = rng.choice(far, 4, replace=False)
        rows += [(f"T{tile}-{n}", tile, n, str(o), 1, np.inf) for n, o in enumerate(overlays, 1)]
    columns = ["patch", "tile", "position", "overlay", "before_firing", "lost_from"]
    bases = {tile: f"base {n}" for tile, n in base_of.items()}
    return PhotoPlan(pd.DataFrame(rows, columns=columns), 4, BLANK, STENCIL, bases=bases), base_of


def class_picture(
    plan: PhotoPlan,
    base_of: dict[int, int],
    tile: int,
    firing: int,
    seed: int = 0,
    *,
    number: int = 0,
    paint: dict[int, str] | None = None,
    slips: dict[str, int] | None = None,
    **setting: object,
) -> Photograph:
    """A picture of one of the class's tiles; it spreads by 0.25 mm more at each firing."""
    rng = np.random.default_rng([3, tile, firing, seed, number][: 4 + (number > 0)])
    own = plan.patches[plan.patches["tile"] == tile]
    tile_rng = np.random.default_rng([4, tile, number][: 2 + (number > 0)])
    patches = tuple(
        PatchLook(
            row.patch,
            row.position,
            NAMED[(paint or {}).get(row.position, row.overlay)],
            spread_mm=float(tile_rng.uniform(0, 1.0)) + 0.25 * (firing - 1),
            roughness_mm=0.1,
            edge_width_mm=0.3,
            pull_through_share=float(tile_rng.choice([0, 0, 0.05, 0.15])),
        )
        for row in own.itertuples()
    )
    held = replace(
        random_camera(rng), width_px=2000, height_px=1500, fill=0.75, roll_deg=2.0, blur_px=1.0
    )
    laid = replace(random_setting(rng), **({"tile": tile, "firing": firing} | (slips or {})))
    return photograph(
        TileLook(BLANK, STENCIL, BASES[base_of[tile]], patches, 4),
        plan.card,
        tile + 100 * number,
        retake=seed + 10 * firing,
        camera=held,
        lighting=random_lighting(rng),
        setting=replace(laid, **setting),
    )
