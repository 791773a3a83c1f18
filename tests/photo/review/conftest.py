"""Tables of measurements as pictures would give them, made without pictures. All is invented."""

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd
import pytest

from kit.photo import COLUMNS, PhotoPlan
from kit.series import Blank, Stencil

COLOURS = {
    "plum": (25.0, 30.0, -15.0),
    "moss": (45.0, -25.0, 25.0),
    "sand": (75.0, 5.0, 30.0),
    "ink": (20.0, 5.0, -30.0),
    "rust": (40.0, 40.0, 35.0),
    "foam": (85.0, -10.0, -5.0),
}
BASES = {"chalk": (90.0, 0.0, 4.0), "slate": (35.0, 0.0, -3.0)}
LAID = {
    1: ("plum", "moss", "sand", "ink"),
    2: ("rust", "foam", "plum", "moss"),
    3: ("sand", "ink", "rust", "foam"),
    4: ("moss", "plum", "ink", "sand"),
    5: ("foam", "rust", "moss", "plum"),
    6: ("ink", "sand", "foam", "rust"),
}
BASE_OF = {tile: "chalk" if tile <= 3 else "slate" for tile in LAID}


@pytest.fixture(scope="session")
def laid() -> PhotoPlan:
    """Six tiles of four patches, six overlays on two bases."""
    rows = [
        (f"T{tile}-{n}", tile, n, overlay, 1, np.inf)
        for tile, overlays in LAID.items()
        for n, overlay in enumerate(overlays, 1)
    ]
    columns = ["patch", "tile", "position", "overlay", "before_firing", "lost_from"]
    table = pd.DataFrame(rows, columns=columns)
    return PhotoPlan(table, 4, Blank(), Stencil(), bases=BASE_OF)


@pytest.fixture
def picture_of() -> Callable[..., pd.DataFrame]:
    """The measurements of one picture of a tile; colours are read to about one CIELAB unit."""

    def make(
        tile: int,
        firing: int = 1,
        seed: int = 0,
        shows: Mapping[int, str] | None = None,
        base: str | None = None,
        spread: float = 0.2,
        **values: object,
    ) -> pd.DataFrame:
        rng = np.random.default_rng([seed, tile, firing])
        seen = dict(enumerate(LAID[tile], 1)) | dict(shows or {})
        rows = []
        for n, overlay in seen.items():
            lab = np.array(COLOURS[overlay]) + rng.normal(0, 0.7, 3)
            under = np.array(BASES[base or BASE_OF[tile]]) + rng.normal(0, 0.7, 3)
            rows.append(
                {
                    "patch": f"T{tile}-{n}", "firing": firing, "picture": f"{tile}-{firing}-{seed}",
                    "picture_sha256": f"{tile}-{firing}-{seed}", "spread_mm": spread,
                    "spread_mm_se": 0.03, "pull_through_share": 0.05,
                    "pull_through_share_se": 0.01, "quality": "good", "remark": "",
                    "accepted": "", "tile": tile, "position": n,
                    **dict(zip(("overlay_l", "overlay_a", "overlay_b"), lab, strict=True)),
                    **dict(zip(("base_l", "base_a", "base_b"), under, strict=True)), **values,
                }
            )  # fmt: skip
        table = pd.DataFrame(rows)
        return table.reindex(columns=[*COLUMNS, "tile", "position"])

    return make
