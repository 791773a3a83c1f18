"""Plan, fire, grade and understand test tiles of leaded and unleaded enamel.

The rooms (`kit.series`, `kit.mixed`, `kit.model`, `kit.photo`, `kit.design`, `kit.studio`,
`kit.sheets`, `kit.report`) are imported when they are first used, so that `import kit` stays quick.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submodules=[
        "design",
        "errors",
        "mixed",
        "model",
        "photo",
        "record",
        "report",
        "series",
        "sheets",
        "studio",
    ],
    submod_attrs={
        "design": ["Plan", "next_patches", "plan"],
        "model": ["pairs"],
        "series": ["Series", "read_series"],
    },
)
