"""What a series shows: findings, figures, the report as page and paper, and all series together.

Loaded piece by piece when first used, so that asking for a report does not draw in what only a
notebook needs.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "analysis": ["Analysis", "analyse"],
        "figures.fitted_scale": ["behind_the_grades", "expected_and_seen"],
        "figures.grade_shares": ["grades_by_firing"],
        "figures.interval_lines": [
            "colours_apart",
            "effects_in_steps",
            "family_grades",
            "sources_of_variation",
        ],
        "figures.tile_budget": ["how_many_tiles"],
        "findings.effect_findings": ["Effect", "ScoreFindings", "score_findings"],
        "findings.finding": ["Finding"],
        "findings.pair_findings": ["Pair", "PairFinding", "PairFindings"],
        "gallery.index_page": ["pooled_chart", "what_was_added"],
        "gallery.pooled": ["Pooled", "analyse_together", "read_every_series", "series_folders"],
        "gallery.publish_all": ["write_every_report", "write_page"],
        "notebooks": [
            "next_picker",
            "notebook",
            "pair_picker",
            "run_notebook",
            "write_notebook",
        ],
        "page.document": [
            "Answer",
            "Block",
            "Bullets",
            "Caution",
            "Document",
            "Paragraph",
            "Point",
            "Section",
            "table_of",
        ],
        "publish": ["write_report"],
        "sections.closing": ["made_by"],
        "sections.composition": ["wall_summary", "whole_report"],
        "sections.cover": ["pairs_by_verdict", "question"],
        "sections.photographs": ["measured"],
        "sections.score_pictures": ["findings_by_score"],
        "sections.suggested_patches": ["next_round"],
        "sections.tiles_fired": ["planned_tiles", "recorded"],
        "sections.unexpected_results": ["surprises"],
        "sections.what_is_uncertain": ["doubts"],
    },
)
