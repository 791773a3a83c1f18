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
        "found": ["Finding", "all_findings"],
        "notebooks": ["notebook", "run_notebook"],
        "parts.how_to_read": ["how_to_read"],
        "parts.lesson": ["scale_lesson"],
        "parts.pairs": ["pairs_by_verdict"],
        "parts.planning": ["budget_lesson", "plan_lesson"],
        "parts.recorded": ["recorded"],
        "parts.surprises": ["surprises"],
        "parts.together": ["pooled_chart", "what_was_added"],
        "rendering": ["render"],
        "rendering_all": ["render_all"],
        "together": ["Together", "analyse_together", "read_every_series"],
        "widgets": ["next_picker", "pair_picker"],
        "whole": ["wall_summary", "whole_report"],
    },
)
