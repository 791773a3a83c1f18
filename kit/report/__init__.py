"""What a series shows: findings, figures, the report as page and paper, and all series together.

Loaded piece by piece when first used, so that asking for a report does not draw in what only a
notebook needs.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "analysis": ["Analysis", "analyse"],
        "findings.finding": ["Finding"],
        "findings.pair_findings": ["Pair", "PairFinding", "PairFindings"],
        "gallery.index_page": ["pooled_chart", "what_was_added"],
        "gallery.pooled": ["Pooled", "analyse_together", "read_every_series"],
        "gallery.publish_all": ["write_every_report"],
        "page.document": ["Document", "Section"],
        "pickers": ["next_picker", "pair_picker"],
        "publish": ["write_notebook", "write_report"],
        "run_notebook": ["notebook", "run_notebook"],
        "sections.chart_explained": ["how_to_read"],
        "sections.composition": ["wall_summary", "whole_report"],
        "sections.lesson": ["scale_lesson"],
        "sections.pair_lists": ["pairs_by_verdict"],
        "sections.plan_explained": ["budget_lesson", "plan_lesson"],
        "sections.progress": ["recorded"],
        "sections.surprises": ["surprises"],
    },
)
