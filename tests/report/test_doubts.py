"""Every check that the model has is said where a reader meets it, with what to do."""

from dataclasses import replace

import numpy as np

from kit.design import order_of_work
from kit.model.drift import turn_in_session
from kit.report import analyse, behind_the_grades, doubts
from kit.report.page.document import Bullets
from kit.report.sections.score_pictures import of_scale
from kit.report.sections.what_is_uncertain import graders
from kit.series import observations


def leads_of(section):
    return {
        point.lead: point.text
        for block in section.blocks
        if isinstance(block, Bullets)
        for point in block.points
    }


def test_a_right_series_raises_no_alarm(fired):
    assert not [lead for lead in leads_of(doubts(analyse(fired))) if "Drift" in lead]
    assert "A slip of the pen:" not in leads_of(graders(analyse(fired)))


def test_a_drift_within_sessions_is_said(fired):
    rows = observations(fired)
    work = order_of_work(fired)
    late = turn_in_session(rows, work[work["action"] == "fire"][["tile", "firing", "step"]]) + 0.5
    up = np.random.default_rng(2).random(len(rows)) < late
    raised = rows.assign(spread=(rows["spread"] + up).clip(upper=4).astype("Int64"))
    drifting = replace(fired, grades=raised[list(fired.grades.columns)])
    assert "fire a control tile at both ends" in leads_of(doubts(analyse(drifting)))["Drift:"]


def test_what_lost_patches_may_hide_is_said(fired):
    lost = np.where(fired.patches["position"] == 1, "lost", fired.patches["accident"])
    with_losses = replace(fired, patches=fired.patches.assign(accident=lost))
    assert (
        "every lost patch been the worst" in leads_of(doubts(analyse(with_losses)))["Lost patches:"]
    )


def test_a_grader_who_swapped_the_scores_is_named(fired):
    own = fired.grades["grader"] == "Ben"
    swapped = fired.grades.copy()
    swapped.loc[own, "spread"] = fired.grades.loc[own, "pull_through"]
    swapped.loc[own, "pull_through"] = fired.grades.loc[own, "spread"]
    told = leads_of(graders(analyse(replace(fired, grades=swapped))))
    assert "look at those sheets again" in told["A slip of the pen:"]


def test_a_second_heat_goes_through_every_part_of_the_report(fired):
    kiln = fired.firings["tile"] % 4 == 0
    heats = replace(fired, firings=fired.firings.assign(heat=np.where(kiln, "kiln", "torch")))
    analysis = analyse(heats)
    scale = analysis.scales[0]
    assert "heat" in analysis.fits.by_scale[scale.name].factors
    assert len(of_scale(analysis, scale).blocks) > 4
    assert behind_the_grades(analysis.fits.by_scale[scale.name], scale, heats.settings)
    changes = [effect.change for effect in analysis.scores[scale.name].effects]
    assert "Firing by torch instead of kiln" in changes


def test_the_checks_say_what_they_can_miss(fired):
    texts = [getattr(block, "text", "") for block in doubts(analyse(fired)).blocks]
    assert any("that they say nothing is no proof" in text for text in texts)
    ungraded = doubts(analyse(replace(fired, grades=fired.grades.head(0))))
    assert not any("no proof" in getattr(block, "text", "") for block in ungraded.blocks)
