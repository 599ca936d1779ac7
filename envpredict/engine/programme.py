"""Which pile on which day, at which hours, with which plant at work."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import EnvpredictError
from envpredict.engine.shifts import fill_shifts
from envpredict.engine.soil import UNKNOWN, Drives

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.choices import MethodChoice
    from envpredict.methods.fields import Rate
    from envpredict.scenario.types import Programme as Calendar
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
Speed = Literal["slow", "likely", "fast"]

EVENT_COLUMNS: dict[str, str] = {
    "day": "local date on which the shift starts",
    "rig": "number of the rig, from 1",
    "section": "part of the wall",
    "pile": "identifier of the pile",
    "method": "identifier of the candidate method",
    "pass": "stage of the work on this pile, with a number where it goes on in the next shift",
    "plant": "item of plant",
    "start": "start, with time zone",
    "end": "end, with time zone",
    "on_time_s": "time for which the plant works between start and end",
    "blows": "number of hammer blows; 0 for other methods",
    "energy_j": "nominal energy per blow or cycle; missing where the method has none",
    "toe_from_m": "toe depth at the start",
    "toe_to_m": "toe depth at the end",
}


@dataclass(frozen=True, slots=True, eq=False)
class Passes:
    """The work of one method: one entry per pile and shift that it takes (N), in order of time per rig.

    `pile` (N): number of the pile; `day` (N): local date of the shift; `start_s`, `end_s` (N): seconds since that
    date's midnight; `share` (N): share of the pile's cycle; `hard` (N): the drive meets ground for which the catalogue
    has no rate for this method, so the slowest rate that it has stands in; `unknown`: the ground's class isn't known.
    """

    pile: NDArray[np.int64]
    rig: NDArray[np.int64]
    part: NDArray[np.int64]
    day: NDArray[np.datetime64]
    start_s: Floats
    end_s: Floats
    share: Floats
    beyond_rates: NDArray[np.bool_]
    unknown_ground: NDArray[np.bool_]
    rate_sources: tuple[Rate, ...]

    @property
    def days(self) -> NDArray[np.datetime64]:
        """Return the worked dates, each once."""
        return np.unique(self.day)


def cycle_s(choice: MethodChoice, drive: Drives, speed: Speed) -> tuple[Floats, NDArray[np.bool_], NDArray[np.bool_]]:
    """Return, per pile, the time of its cycle in s, whether its ground lies beyond the method's rates, or is unknown.

    Ground without a rate of its own is given the method's slowest rate and flagged: the number serves to count days,
    and every verdict on it says that the method isn't shown to be feasible there.
    """
    words = drive.words("catalogue")
    rates = choice.method.rates
    if not rates:
        raise EnvpredictError(f"method '{choice.id}' has no rate for any ground", "give rates in the method's file")
    slowest = min(getattr(rate, speed) for rate in rates.values())
    steps = drive.step_lengths()
    speed_m_h = np.full(words.shape, slowest)
    known = np.zeros(words.shape, dtype=bool)
    for name, rate in rates.items():
        hit = words == name
        speed_m_h[hit] = getattr(rate, speed)
        known |= hit
    beyond = (~known & drive.within & (words != UNKNOWN)).any(axis=1)
    unknown = ((words == UNKNOWN) & drive.within).any(axis=1)
    return (steps / speed_m_h).sum(axis=1) * 3600.0, beyond, unknown


def plan_work(scenario: Scenario, choice: MethodChoice, drive: Drives, speed: Speed = "likely") -> Passes:
    """Lay the piles of one method into the calendar: in line order, the line shared out evenly among the rigs."""
    calendar = scenario.programme
    durations, beyond, unknown = cycle_s(choice, drive, speed)
    chosen = np.arange(len(durations))
    if choice.sections:
        chosen = chosen[scenario.piles["section"].isin(choice.sections).to_numpy()]
    if calendar.reverse:
        chosen = chosen[::-1]
    from_s = calendar.shift_from.hour * 3600.0 + calendar.shift_from.minute * 60.0
    parts = []
    for number, jobs in enumerate(np.array_split(chosen, calendar.rigs), 1):
        if len(jobs):
            laid = fill_shifts(durations[jobs], from_s, float(calendar.shift_s))
            parts.append((np.full(len(laid.job), number, dtype=np.int64), jobs[laid.job], laid))
    shift = np.concatenate([laid.shift for _, _, laid in parts])
    dates = np.array(calendar.working_dates(int(shift.max()) + 1), dtype="datetime64[D]")
    pile = np.concatenate([jobs for _, jobs, _ in parts])
    start = np.concatenate([laid.start_s for _, _, laid in parts])
    end = np.concatenate([laid.end_s for _, _, laid in parts])
    rig = np.concatenate([numbers for numbers, _, _ in parts])
    part = np.concatenate([laid.part for _, _, laid in parts])
    order = np.lexsort((rig, start, shift))
    return Passes(
        pile=pile[order].astype(np.int64), rig=rig[order], part=part[order].astype(np.int64),
        day=dates[shift[order]], start_s=start[order], end_s=end[order],
        share=((end - start) / durations[pile])[order], beyond_rates=beyond[pile][order],
        unknown_ground=unknown[pile][order], rate_sources=tuple(choice.method.rates.values()),
    )


def clock(days: NDArray[np.datetime64], seconds: Floats, calendar: Calendar) -> pd.Series:
    """Return local clock times with their time zone; hours that daylight saving skips or repeats are moved on."""
    import pandas as pd

    naive = pd.Series(pd.DatetimeIndex(days.astype("datetime64[ns]"))) + pd.to_timedelta(np.round(seconds), unit="s")
    return naive.dt.tz_localize(calendar.time_zone, nonexistent="shift_forward", ambiguous=np.zeros(len(naive), bool))


def blow_counts(choice: MethodChoice, drive: Drives) -> Floats:
    """Return the blows of each whole pile (P); 0 where the method has none, NaN where the ground's class is unknown."""
    table = choice.method.blows_per_m
    if table is None:
        return np.zeros(len(drive.length_m))
    words, steps = drive.words("catalogue"), drive.step_lengths()
    highest = max(spread.likely for spread in table.values())
    per_m = np.full(words.shape, highest)
    for name, spread in table.items():
        per_m[words == name] = spread.likely
    per_m[(words == UNKNOWN) & drive.within] = np.nan
    return np.asarray((per_m * np.where(steps > 0, steps, 0.0)).sum(axis=1))


def events(scenario: Scenario, choice: MethodChoice, passes: Passes, drive: Drives) -> pd.DataFrame:
    """Return the programme as a table, one row per pass and item of plant, columns `EVENT_COLUMNS`."""
    import pandas as pd

    piles = scenario.piles
    # a pile that goes on in the next shift reaches its depth in proportion to the time spent
    spent = pd.Series(passes.share).groupby(passes.pile).cumsum().to_numpy()
    length = drive.length_m[passes.pile]
    blows = blow_counts(choice, drive)[passes.pile] * passes.share
    stage = choice.method.stages[0].id if len(choice.method.stages) == 1 else "drive"
    names = np.where(passes.part > 0, [f"{stage} {n + 1}" for n in passes.part], stage)
    frame = pd.DataFrame({
        "day": passes.day.astype(str), "rig": passes.rig, "section": piles["section"].to_numpy()[passes.pile],
        "pile": piles["id"].to_numpy()[passes.pile], "method": choice.id, "pass": names,
        "start": clock(passes.day, passes.start_s, scenario.programme),
        "end": clock(passes.day, passes.end_s, scenario.programme),
        "blows": np.round(blows), "energy_j": np.nan if choice.energy_j is None else choice.energy_j,
        "toe_from_m": np.round((spent - passes.share) * length, 3), "toe_to_m": np.round(spent * length, 3),
    })
    rows = []
    for use, _ in choice.plant:
        on_time = (passes.end_s - passes.start_s) * use.on_time_fraction
        rows.append(frame.assign(plant=use.plant, on_time_s=np.round(on_time, 1)))
    table = pd.concat(rows, ignore_index=True).sort_values(["start", "rig", "plant"], kind="stable")
    return table[list(EVENT_COLUMNS)].reset_index(drop=True)
