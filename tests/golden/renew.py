"""Write the golden tables anew: what is decided on the demo series.

Run it by hand when a decision was changed on purpose, look at the difference, and say the reason in
the commit:

    python tests/golden/renew.py
"""

import warnings
from pathlib import Path

import pandas as pd

import kit
from kit.model import fit_series, through, verdict_sentence
from kit.wording import whole_percent

HERE = Path(__file__).parent
DEMO = Path(__file__).parents[2] / "data" / "demo"
CHANCES = ("fine_edge", "soft_edge", "broken_through", "hit_or_miss")


def golden_tables() -> dict[str, str]:
    """What the golden files hold now, by name."""
    series = kit.read_series(DEMO)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        table = kit.pairs(series)
        prior = fit_series(series, "spread").prior_sentence
    said = [
        verdict_sentence(row.verdict, row.leans_to, row.share_low, row.share_high)
        for row in table.itertuples()
    ]
    decided = table[["base", "overlay", "firings", "patches", "verdict", "leans_to"]].assign(
        **{name: table[name].map(whole_percent) for name in CHANCES}, sentence=said
    )
    headlines = through(table)[["base", "overlay", "patches", "through", "headline"]]
    return {
        "demo-verdicts.csv": _csv(decided),
        "demo-headlines.csv": _csv(headlines),
        "demo-prior.txt": prior + "\n",
    }


def _csv(table: pd.DataFrame) -> str:
    return table.to_csv(index=False, lineterminator="\n")


if __name__ == "__main__":
    for name, text in golden_tables().items():
        (HERE / name).write_text(text, encoding="utf-8", newline="")
        print(f"wrote {name}")
