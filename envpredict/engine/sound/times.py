"""When each item of plant works within a pile's cycle: on-seconds inside any interval, and in the loudest one.

A stage of a pile's cycle is pitching, driving, and what is left until the next pile. What works only while the pile
goes down works without a break after pitching; what works throughout is on for a share of every second, or comes on
again and again where the scenario states a cycle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from envpredict.core.citation import Citation

if TYPE_CHECKING:
    from envpredict.engine.works.programme import Passes
    from envpredict.methods.fields import PlantUse

Floats = NDArray[np.float64]
PITCH_SHARE = 0.5
PITCHING = Citation("our judgement", None, "half of the time in which a pile isn't driven goes before the drive "
                    "(pitching), half after it", "estimate")


@dataclass(frozen=True, slots=True, eq=False)
class StageTimes:
    """Passes (N) in the time of their own stage, in s: `begun_s` spent on it before, `stage_s` its whole length.

    `cycle_s` (N): the whole cycle of the pass's pile, all stages.
    """

    begun_s: Floats
    stage_s: Floats
    cycle_s: Floats

    @classmethod
    def of(cls, passes: Passes) -> StageTimes:
        """Return the stage times of passes, which are in order of time."""
        lasting = passes.end_s - passes.start_s
        group = passes.pile * len(passes.stages) + passes.stage_of
        order = np.argsort(group, kind="stable")
        total = np.cumsum(lasting[order])
        first = np.append(True, group[order][1:] != group[order][:-1])
        before = np.maximum.accumulate(np.where(first, total - lasting[order], 0.0))
        begun = np.empty(len(lasting))
        begun[order] = total - lasting[order] - before
        cycle = lasting / passes.share
        return cls(begun, cycle * np.array(passes.stage_shares)[passes.stage_of], cycle)


@dataclass(frozen=True, slots=True, eq=False)
class OnTime:
    """When an item of plant works in the passes (N), in the time of their stages.

    `active` (N): it belongs to the stage; `from_s`, `span_s` (N): the part of the stage in which it works; `share` (N):
    of every second of that part. A stated cycle takes the place of the share: `on_s` of every `cycle_s`. `parts`: the
    equal parts of the span during which it stands at different heights.
    """

    active: NDArray[np.bool_]
    from_s: Floats
    span_s: Floats
    share: Floats
    parts: int
    on_s: float | None = None
    cycle_s: float | None = None

    @classmethod
    def of(cls, use: PlantUse, passes: Passes, times: StageTimes, parts: int, *,
           cycle: tuple[float, float] | None = None, driven_s: Floats | None = None) -> OnTime:
        """Return when a use of plant is on.

        `cycle`: on for so many s of every so many s, as the scenario states. `driven_s` (N): the time of driving of
        each pass's pile, where it follows from blows and their rate; else the use's on-time fraction of the pile's
        whole cycle counts. Never two of them: a cycle goes before blows, blows before a fraction.
        """
        active = np.zeros(len(passes.pile), dtype=bool)
        if use.stage in passes.stages:
            active = passes.stage_of == passes.stages.index(use.stage)
        nothing = np.zeros(len(passes.pile))
        if cycle is not None:
            return cls(active, nothing, times.stage_s, nothing + cycle[0] / cycle[1], parts, *cycle)
        on = use.on_time_fraction * times.cycle_s if driven_s is None else driven_s
        share = np.minimum(on / times.stage_s, 1.0)
        if use.part == "drive":
            return cls(active, PITCH_SHARE * (1.0 - share) * times.stage_s, share * times.stage_s, nothing + 1.0, parts)
        return cls(active, nothing, times.stage_s, share, parts)

    def take(self, which: NDArray[np.int64]) -> OnTime:
        """Return the same for chosen passes, each as often as it's named."""
        return replace(self, active=self.active[which], from_s=self.from_s[which], span_s=self.span_s[which],
                       share=self.share[which])

    def _until(self, stage_s: Floats, extra: int) -> Floats:
        """Return the on-seconds from the start of the span until a time of the stage; (N, ...) with `extra` axes."""
        shape = (-1, *([1] * extra))
        t = np.clip(stage_s - self.from_s.reshape(shape), 0.0, self.span_s.reshape(shape))
        if self.on_s is None or self.cycle_s is None:
            return np.asarray(self.share.reshape(shape) * t)
        return np.asarray(np.floor(t / self.cycle_s) * self.on_s + np.minimum(t % self.cycle_s, self.on_s))

    def between(self, from_s: Floats, to_s: Floats) -> Floats:
        """Return the on-seconds (K, N, ...) by part between two times (N, ...) of the stage."""
        extra = from_s.ndim - 1
        shape = (-1, *([1] * extra))
        found = []
        for part in range(self.parts):
            low = (self.from_s + self.span_s * part / self.parts).reshape(shape)
            high = (self.from_s + self.span_s * (part + 1) / self.parts).reshape(shape)
            seconds = self._until(np.clip(to_s, low, high), extra) - self._until(np.clip(from_s, low, high), extra)
            found.append(np.where(self.active.reshape(shape), np.maximum(seconds, 0.0), 0.0))
        return np.stack(found)

    def loudest(self, energy: Floats, from_s: Floats, to_s: Floats, window_s: Floats) -> Floats:
        """Return the most energy-seconds (Q, N) of a window inside the time between `from_s` and `to_s` (N).

        energy: (K, Q, N), of each part; window_s (N). What drives without a break: the best window among those that
        start or end where a part does. What is on for a share, or again and again: as if on from the window's start.
        """
        window = np.minimum(window_s, np.maximum(to_s - from_s, 0.0))
        if self.on_s is not None and self.cycle_s is not None:
            rest = np.minimum(window % self.cycle_s, self.on_s)
            seconds = np.where(self.active, np.floor(window / self.cycle_s) * self.on_s + rest, 0.0)
            return np.asarray(energy.max(axis=0) * seconds)
        if (self.share < 1.0).any():
            seconds = np.where(self.active, np.minimum(window, self.share * self.span_s), 0.0)
            return np.asarray(energy.max(axis=0) * seconds)
        best = np.zeros(energy.shape[1:])
        for edge in range(self.parts + 1):
            at = self.from_s + self.span_s * edge / self.parts
            for start in (at, at - window):
                begin = np.clip(start, from_s, np.maximum(to_s - window, from_s))
                seconds = self.between(begin, begin + window)
                best = np.maximum(best, np.einsum("kqn,kn->qn", energy, seconds))
        return best

    def occupied(self, from_s: Floats, to_s: Floats) -> NDArray[np.bool_]:
        """Return which parts (K, N) are at work at all between two times (N) of the stage."""
        return np.asarray(self.between(from_s, to_s) > 0.0)
