"""Figures, plain words, the rendered report.

Loaded piece by piece when first used, so that asking for a report does not draw in what only its
notebook needs.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "analysis": ["Analysis", "analyse"],
        "document": ["Document", "Section"],
        "files": ["write_report"],
        "notebooks": ["notebook", "run_notebook"],
        "render": ["render"],
        "render_all": ["render_all"],
        "together": ["Together", "analyse_together"],
        "whole": ["wall_summary", "whole_report"],
    },
)
