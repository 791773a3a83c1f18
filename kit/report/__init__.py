"""What a series shows: findings, figures, the report as page and paper, and all series together.

Loaded piece by piece when first used, so that asking for a report does not draw in what only a
notebook needs.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach(
    __name__,
    submod_attrs={
        "analysis": ["Analysis", "analyse"],
        "notebook_runner": ["notebook", "run_notebook", "write_notebook"],
        "figures.colour_effects": ["colours_apart"],
        "figures.firing_trend": ["grades_by_firing"],
        "figures.interval_lines": ["effects_in_steps", "family_grades", "sources_of_variation"],
        "figures.latent_scale": ["behind_the_grades"],
        "figures.reliability": ["expected_and_seen"],
        "figures.tile_budget": ["how_many_tiles"],
        "findings.finding": ["Finding"],
        "findings.pair_findings": ["Pair", "PairFinding", "PairFindings"],
        "findings.effect_findings": ["Effect", "ScoreFindings", "score_findings"],
        "gallery.index_page": ["pooled_chart", "what_was_added"],
        "gallery.pooled": ["Pooled", "analyse_together", "read_every_series", "series_folders"],
        "gallery.publish_all": ["write_every_report", "write_page"],
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
        "pickers": ["next_picker", "pair_picker"],
        "publish": ["write_report"],
        "sections.closing": ["made_by"],
        "sections.composition": ["wall_summary", "whole_report"],
        "sections.cover": ["question"],
        "sections.what_is_uncertain": ["doubts"],
        "sections.pair_lists": ["pairs_by_verdict"],
        "sections.photographs": ["measured"],
        "sections.score_pictures": ["findings_by_score"],
        "sections.unexpected_results": ["surprises"],
        "sections.suggested_patches": ["next_round"],
        "sections.tile_pictures": ["planned_tiles"],
        "sections.tiles_fired": ["recorded"],
    },
)
