"""Which pile on which day, at which hours, with which plant at work."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from envpredict.core.errors import EnvpredictError
from envpredict.engine.works.shifts import Shifts, Window, fill_shifts
from envpredict.engine.works.soil import UNKNOWN, Drives

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.works.choices import MethodChoice
    from envpredict.engine.works.site import Site
    from envpredict.methods.fields import Rate
    from envpredict.scenario.types import Programme as Calendar
    from envpredict.scenario.types import Scenario

Floats = NDArray[np.float64]
Speed = Literal["slow", "likely", "fast"]
SPEEDS: tuple[Speed, ...] = ("slow", "likely", "fast")
WHOLE_CYCLE = "drive"
"""The stage of methods that name none."""

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
    "blows": "number of blows, on the row of what drives the pile; 0 elsewhere",
    "energy_j": "nominal energy per blow or cycle; missing where the method has none",
    "toe_from_m": "toe depth at the start",
    "toe_to_m": "toe depth at the end; above the start where a pile is drawn",
}


@dataclass(frozen=True, slots=True, eq=False)
class Passes:
    """The work of one method: one entry per pile, stage and shift that it takes (N), in order of time.

    `pile` (N): number of the pile; `day` (N): local date of the shift; `start_s`, `end_s` (N): seconds since that
    date's midnight; `share` (N): share of the pile's whole cycle; `beyond_rates` (N): the drive meets ground for which
    the catalogue has no rate for this method, so the slowest rate that it has stands in; `unknown_ground`: the ground's
    class isn't known. `stage` (N): number of the stage in `stages`, whose shares of a pile's cycle are `stage_shares`;
    left out, everything belongs to the first. `speed`: which of the rates was taken. `whole`: the dates (D) of all the
    works where these are a part of them; left out, these are the whole.
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
    stage: NDArray[np.int64] | None = None
    stages: tuple[str, ...] = (WHOLE_CYCLE,)
    stage_shares: tuple[float, ...] = (1.0,)
    speed: Speed = "likely"
    whole: NDArray[np.datetime64] | None = None

    @property
    def days(self) -> NDArray[np.datetime64]:
        """Return the dates that are worked, each once and in order."""
        return np.asarray(np.unique(self.day))

    @property
    def works(self) -> NDArray[np.datetime64]:
        """Return the dates of all the works that these passes belong to, each once and in order."""
        return self.days if self.whole is None else self.whole

    @property
    def calendar_days(self) -> int:
        """Return the calendar days from the first to the last day of the works, both included."""
        days = self.works
        return int((days[-1] - days[0]).astype(int)) + 1

    @property
    def stage_of(self) -> NDArray[np.int64]:
        """Return the number of each pass's stage (N)."""
        return np.zeros(len(self.pile), dtype=np.int64) if self.stage is None else self.stage


def cycle_s(choice: MethodChoice, drive: Drives, speed: Speed) -> tuple[Floats, NDArray[np.bool_], NDArray[np.bool_]]:
    """Return, per pile, the time of its cycle in s, whether its ground lies beyond the method's rates, or is unknown.

    Ground without a rate of its own is given the method's slowest rate and flagged: the number serves to count days.
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


def work_windows(choice: MethodChoice, calendar: Calendar, site: Site) -> list[Window]:
    """Return the hours in which each pile is worked: those of its possession, else the candidate's, else the shift.

    A pause that the candidate keeps is taken out of them all. Raises EnvpredictError where nothing is left.
    """
    usual = choice.hours or shift_window(calendar)
    found = []
    for possession in site.possession:
        window = possession or usual
        if choice.pause is not None:
            try:
                window = window.without(*choice.pause)
            except ValueError:
                raise EnvpredictError(f"the respite of '{choice.id}' leaves no time for work",
                                      "shorten it in [[reductions]]") from None
        found.append(window)
    return found


def shift_window(calendar: Calendar) -> Window:
    """Return the hours of the programme's shift."""
    start = calendar.shift_from.hour * 3600.0 + calendar.shift_from.minute * 60.0
    return Window(((start, start + float(calendar.shift_s)),))


def stretches(durations_s: Floats, rigs: int) -> list[NDArray[np.intp]]:
    """Cut a line of piles into as many stretches as there are rigs, of about equal working time; some may be empty.

    A pile goes to the rig in whose share of the whole time its middle lies.
    """
    middle = np.cumsum(durations_s) - 0.5 * durations_s
    rig = np.minimum((middle / durations_s.sum() * rigs).astype(np.int64), rigs - 1)
    return [np.flatnonzero(rig == number) for number in range(rigs)]


def plan_work(scenario: Scenario, choice: MethodChoice, drive: Drives, site: Site, speed: Speed = "likely",
              first_shift: int = 0) -> Passes:
    """Lay the piles of one method into the calendar: in driving order, stage after stage, the line shared by the rigs.

    The scenario's piles come in driving order; a shift's piles follow one another without a break. The work begins with
    the programme's shift number `first_shift`, from 0.
    """
    calendar = scenario.programme
    cycles, beyond, unknown = cycle_s(choice, drive, speed)
    chosen = np.arange(len(cycles))
    if choice.sections:
        chosen = chosen[scenario.piles["section"].isin(choice.sections).to_numpy()]
    names = tuple(stage.id for stage in choice.method.stages) or (WHOLE_CYCLE,)
    shares = tuple(stage.time_share for stage in choice.method.stages) or (1.0,)
    windows = work_windows(choice, calendar, site)
    laid: list[tuple[int, NDArray[np.int64], NDArray[np.int64], Shifts]] = []
    for rig, places in enumerate(stretches(cycles[chosen], calendar.rigs), 1):
        if len(places):
            jobs = np.repeat(chosen[places], len(names))
            stage = np.tile(np.arange(len(names)), len(places))
            filled = fill_shifts(cycles[jobs] * np.array(shares)[stage], [windows[job] for job in jobs])
            laid.append((rig, jobs[filled.job], stage[filled.job], filled))
    found = _joined(laid, calendar, first_shift)
    return replace(found, share=(found.end_s - found.start_s) / cycles[found.pile], beyond_rates=beyond[found.pile],
                   unknown_ground=unknown[found.pile], rate_sources=tuple(choice.method.rates.values()), stages=names,
                   stage_shares=shares, speed=speed)


def shifts_until(passes: Passes, calendar: Calendar) -> int:
    """Return how many shifts the programme has had once these passes are done."""
    last = passes.day.max().astype("datetime64[D]").item()
    count = int((passes.day.max() - np.datetime64(calendar.start)).astype(int)) + 1
    return sum(day <= last for day in calendar.working_dates(count))


def _joined(laid: list[tuple[int, NDArray[np.int64], NDArray[np.int64], Shifts]], calendar: Calendar,
            first_shift: int) -> Passes:
    """Return the work of all rigs in order of time."""
    rig = np.concatenate([np.full(len(filled.job), number, dtype=np.int64) for number, _, _, filled in laid])
    pile, stage = (np.concatenate([each[column] for each in laid]) for column in (1, 2))
    shift, part, start, end = (np.concatenate([getattr(each[3], name) for each in laid])
                               for name in ("shift", "part", "start_s", "end_s"))
    dates = np.array(calendar.working_dates(first_shift + int(shift.max()) + 1), dtype="datetime64[D]")[first_shift:]
    order = np.lexsort((rig, start, shift))
    nothing = np.zeros(len(order))
    return Passes(pile=pile[order].astype(np.int64), rig=rig[order], part=part[order].astype(np.int64),
                  day=dates[shift[order]], start_s=start[order], end_s=end[order], share=nothing,
                  beyond_rates=nothing.astype(bool), unknown_ground=nothing.astype(bool), rate_sources=(),
                  stage=stage[order].astype(np.int64))


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


def toe_depths(choice: MethodChoice, passes: Passes, length_m: Floats) -> tuple[Floats, Floats]:
    """Return the toe's depth (N) in m at the start and at the end of each pass.

    It goes down in proportion to the time spent in the stage; each stage starts again from the top, and a pile that is
    drawn comes up from its full depth.
    """
    import pandas as pd

    share = passes.share / np.array(passes.stage_shares)[passes.stage_of]
    spent = pd.Series(share).groupby([passes.pile, passes.stage_of]).cumsum().to_numpy()
    length = length_m[passes.pile]
    start, end = (spent - share) * length, spent * length
    return (length - start, length - end) if choice.method.action == "extract" else (start, end)


def on_times(scenario: Scenario, choice: MethodChoice, passes: Passes,
             drive: Drives) -> list[tuple[NDArray[np.bool_], Floats]]:
    """Return, per item of plant, which passes (N) it belongs to and for how many s it works in each.

    The same times that the sound is predicted with: stated cycles, the time that stated blows take, else fractions.
    """
    from envpredict.engine.sound.method import cycles_of, driven_s
    from envpredict.engine.sound.times import OnTime, StageTimes

    times = StageTimes.of(passes)
    until = times.begun_s + passes.end_s - passes.start_s
    found = []
    for (use, plant), cycle in zip(choice.plant, cycles_of(scenario, choice), strict=True):
        driven = driven_s(choice, drive, use, plant, cycle)
        on = OnTime.of(use, passes, times, 1, cycle=cycle, driven_s=None if driven is None else driven[passes.pile])
        found.append((on.active, on.between(times.begun_s, until)[0]))
    return found


def events(scenario: Scenario, choice: MethodChoice, passes: Passes, drive: Drives) -> pd.DataFrame:
    """Return the programme as a table, one row per pass and item of plant at work, columns `EVENT_COLUMNS`."""
    import pandas as pd

    piles = scenario.piles
    stage_share = np.array(passes.stage_shares)[passes.stage_of]
    last = np.array(passes.stages)[passes.stage_of] == passes.stages[-1]
    blows = np.where(last, blow_counts(choice, drive)[passes.pile] * passes.share / stage_share, 0.0)
    from_m, to_m = toe_depths(choice, passes, drive.length_m)
    names = [stage + (f" {part + 1}" if part else "")
             for stage, part in zip(np.array(passes.stages)[passes.stage_of], passes.part, strict=True)]
    frame = pd.DataFrame({
        "day": passes.day.astype(str), "rig": passes.rig, "section": piles["section"].to_numpy()[passes.pile],
        "pile": piles["id"].to_numpy()[passes.pile], "method": choice.id, "pass": names,
        "start": clock(passes.day, passes.start_s, scenario.programme),
        "end": clock(passes.day, passes.end_s, scenario.programme),
        "blows": np.round(blows), "energy_j": np.nan if choice.energy_j is None else choice.energy_j,
        "toe_from_m": np.round(from_m, 3) + 0.0, "toe_to_m": np.round(to_m, 3) + 0.0,
    })
    rows = []
    for (use, _), (active, seconds) in zip(choice.plant, on_times(scenario, choice, passes, drive), strict=True):
        # only what drives strikes: a sum over all rows counts every blow once
        struck = frame["blows"] if use.part == "drive" else 0.0
        rows.append(frame.assign(plant=use.plant, on_time_s=np.round(seconds, 1), blows=struck)[active])
    table = pd.concat(rows, ignore_index=True).sort_values(["start", "rig", "plant"], kind="stable")
    return table[list(EVENT_COLUMNS)].reset_index(drop=True)
