"""The works as a drafted plan tells them: hours, dates, phases and trial piles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from envpredict.core.errors import EnvpredictError
from envpredict.limits.values import HoursOnly
from envpredict.monitoring.plan_rows import Activity, Hours, Phase

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment
    from envpredict.limits.schema import LimitSet
    from envpredict.monitoring.draft_defaults import Defaults


def first_and_last(assessment: Assessment, methods: Sequence[str]) -> tuple[date, date]:
    """Return the first and the last day of work of all methods. Raises EnvpredictError if none works at all."""
    days = [day for name in methods for day in assessment.programme[name]["day"].astype(str)]
    if not days:
        raise EnvpredictError("no method of the plan has any day of work",
                              "give the scenario a programme, or name another method")
    return date.fromisoformat(min(days)), date.fromisoformat(max(days))


def activities(assessment: Assessment, methods: Sequence[str]) -> tuple[Activity, ...]:
    """Return the work of each method with the shift's hours."""
    calendar = assessment.scenario.programme
    ends = calendar.shift_to.strftime("%H:%M")
    return tuple(Activity(id=f"piling-{name}", method=name, days=tuple(calendar.working_days),
                          starts=calendar.shift_from.strftime("%H:%M"), ends="24:00" if ends == "00:00" else ends)
                 for name in methods)


def permitted_hours(assessment: Assessment, register: Mapping[str, LimitSet]) -> tuple[Hours, ...]:
    """Return the hours that the adopted limit sets allow; empty where none speaks of hours."""
    found = []
    for effect, names in assessment.scenario.limits.by_effect().items():
        for name in names:
            for rule in register[name].rules_for(effect):
                if isinstance(rule.value, HoursOnly) and rule.value.work == "allowed":
                    found += [Hours(days=tuple(period.days), starts=period.start, ends=period.end,
                                    allowed_by=f"{name}, {rule.clause}") for period in rule.periods]
    return tuple(dict.fromkeys(found))


def phases(assessment: Assessment, methods: Sequence[str], limited: set[str]) -> tuple[Phase, ...]:
    """Return the parts of the wall with their days and nearest receptors, in the order in which they're built.

    Only receptors that are `limited` count: a limit on vibration or noise is adopted for them.
    """
    import pandas as pd

    from envpredict.engine.geometry import plan_distance_m

    piles = assessment.scenario.piles
    receptors = assessment.receptors[assessment.receptors["id"].astype(str).isin(limited)]
    events: pd.DataFrame = pd.concat([assessment.programme[name] for name in methods], ignore_index=True)
    found = []
    for section in dict.fromkeys(piles["section"].astype(str)):
        mine = piles[piles["section"].astype(str) == section]
        days = events.loc[events["section"].astype(str) == section, "day"].astype(str)
        if not len(days) or not len(receptors):
            continue
        distance = plan_distance_m(receptors.geometry, mine.geometry).min(axis=1)
        found.append(Phase(id=f"section {section}", sections=(section,), first=date.fromisoformat(days.min()),
                           last=date.fromisoformat(days.max()),
                           nearest_receptor=str(receptors["id"].iloc[int(np.argmin(distance))])))
    return tuple(sorted(found, key=lambda phase: (phase.first or date.min, phase.id)))


def trial_piles(assessment: Assessment, defaults: Defaults) -> tuple[str, ...]:
    """Return the piles that stand farthest from every receptor: the trial starts where it can hurt least."""
    from envpredict.engine.geometry import plan_distance_m

    piles = assessment.scenario.piles
    if not len(assessment.receptors):
        return ()
    distance = plan_distance_m(assessment.receptors.geometry, piles.geometry).min(axis=0)
    order = np.argsort(-distance, kind="stable")[: int(defaults.number("trial_piles"))]
    return tuple(str(piles["id"].iloc[int(row)]) for row in sorted(order))
