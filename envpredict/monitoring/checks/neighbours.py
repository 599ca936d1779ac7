"""Checks of condition surveys, trial piles and what the neighbours are told."""

from __future__ import annotations

import math
from collections.abc import Iterator

from envpredict.monitoring.audit_checks import Evidence, Facts, broken, check, idle, met, missing
from envpredict.monitoring.checks.coverage import NOTHING_PREDICTED
from envpredict.monitoring.plan_rows import Survey
from envpredict.monitoring.predicted import Predicted


def in_survey_zone(one: Predicted, share: float) -> bool:
    """Tell whether a prediction asks for a condition survey: its design level passes a share of a damage limit.

    So does a receptor under a damage limit for which no number can be given.
    """
    if one.kind != "vibration" or one.effect not in ("damage", "assets"):
        return False
    if math.isnan(one.design) or math.isnan(one.limit):
        return one.likelihood == "cannot_judge"
    return one.design > share * one.limit


@check("M34")
def condition_surveys(facts: Facts) -> Iterator[Evidence]:
    """Check that buildings within the zone are surveyed before and after."""
    surveyed = {row.receptor: (number, row) for number, row in enumerate(facts.plan.surveys)}
    if facts.predicted is None:
        yield missing("predictions", NOTHING_PREDICTED)
        zone: set[str] = set()
    else:
        share = facts.number("share")
        zone = {one.receptor for one in facts.predicted if in_survey_zone(one, share)}
        if not zone:
            yield idle("predictions", f"no receptor passes {share:g} of a damage limit")
    for receptor in sorted(zone - set(surveyed)):
        yield broken(f"receptor {receptor}", "lies within the zone, but no condition survey is planned")
    for number, row in surveyed.values():
        yield _dated(facts, number, row)


def _dated(facts: Facts, number: int, row: Survey) -> Evidence:
    where, start, end = facts.plan.at("surveys", number), facts.plan.works.first_piling, facts.plan.works.last_piling
    if row.before is None or row.after is None or start is None:
        return missing(where, "date before, date after or first day of piling: not stated")
    if row.before >= start:
        return broken(where, f"surveyed on {row.before}, not before the first day of piling, {start}")
    if end is not None and row.after < end:
        return broken(where, f"surveyed again on {row.after}, before the last day of piling, {end}")
    return met(where, f"surveyed on {row.before} and again on {row.after}")


@check("M35")
def trial_piles(facts: Facts) -> Iterator[Evidence]:
    """Check that trial piles are measured before production."""
    trial = facts.plan.trial
    yield facts.given("trial.piles", "trial piles")
    yield facts.given("trial.accepted_when", "what must be shown before production")
    if not trial.stations and not trial.distances_m:
        yield missing("trial.stations", "where the trial is measured: not stated")
    else:
        distances = ", ".join(f"{distance:g}" for distance in trial.distances_m)
        yield met("trial.stations", f"measured at {', '.join(trial.stations) or 'a line'}"
                                    + (f", at {distances} m" if distances else ""))
    first, where = facts.plan.works.first_piling, facts.plan.place("trial.on")
    if trial.on is None or first is None:
        yield missing(where, "date of the trial or first day of piling: not stated")
    else:
        text = f"trial on {trial.on}, first day of piling {first}"
        yield met(where, text) if trial.on <= first else broken(where, f"{text}: production starts before the trial")


@check("M36")
def letters(facts: Facts) -> Iterator[Evidence]:
    """Check that neighbours who will notice are told in time."""
    yield facts.at_least("community.notice_days", facts.number("notice_days"), "notice", "days")
    if facts.predicted is None:
        yield missing("predictions", NOTHING_PREDICTED)
        return
    told = set(facts.plan.community.letters_to)
    where = facts.plan.place("community.letters_to")
    above = sorted({one.receptor for one in facts.predicted if above_alert(facts, one)})
    forgotten = [receptor for receptor in above if receptor not in told]
    if not above:
        yield idle("predictions", "no receptor is predicted above its alert level")
    elif not told:
        yield missing(where, f"who gets a letter: not stated; above their alert level: {', '.join(above)}")
    elif forgotten:
        yield broken(where, f"predicted above their alert level, but get no letter: {', '.join(forgotten)}")
    else:
        yield met(where, f"letters to {', '.join(sorted(told))}")


def above_alert(facts: Facts, one: Predicted) -> bool:
    """Tell whether the design level of a prediction passes the alert level of a limit that it falls under."""
    passed = {row.criterion for row in facts.plan.levels if row.alert is not None and one.design > row.alert}
    return bool(passed) and any(criterion.id in passed and one.falls_under(criterion)
                                for criterion in facts.plan.criteria)


@check("M37")
def complaints(facts: Facts) -> Iterator[Evidence]:
    """Check that complaints are taken, answered and learned from."""
    yield facts.given("complaints.hotline", "hotline")
    yield facts.listed("complaints.log_fields", facts.words("fields"), "the log")
    yield facts.given("complaints.respond_within_h", "hours until the answer")
    for key, what in (("linked_to_data", "looked at beside the data"), ("triggers_review", "asks for a review")):
        value, where = facts.value(f"complaints.{key}"), facts.plan.place(f"complaints.{key}")
        if value is None:
            yield missing(where, f"{what}: not stated")
        else:
            yield met(where, f"{what}: yes") if value else broken(where, f"{what}: no")
