"""What isn't known: each uncertain input with its distribution, where that comes from, and what would make it known."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from envpredict.core.citation import Basis, Citation, weakest
from envpredict.core.errors import Problem
from envpredict.core.words import suggestion


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of unknown: `title` in plain words, `learn` what a user buys to know it, `beside`: not in the findings.

    Those with `beside` are held at their likely value in the findings' chances and enter here alone.
    """

    title: str
    learn: str
    beside: bool = False


KINDS: dict[str, Kind] = {
    "law": Kind("error of a vibration law on this ground",
                "a trial drive of this method with velocities measured at several distances, then `envpredict fit`"),
    "within": Kind("pile to pile", "nothing beforehand: it shows pile by pile, so measure during the works"),
    "building": Kind("a building's response", "velocities measured in the ground and in this building at once"),
    "ground": Kind("strength of the ground beside a borehole",
                   "another borehole or sounding between this one and the piles, with strengths at the toe",
                   beside=True),
    "energy": Kind("energy of the hammer or vibrator", "the machine named, with its energy setting", beside=True),
    "source": Kind("sound power of an item of plant", "sound measured beside this very machine at work"),
    "way": Kind("way of sound to a receptor", "a source of known power set up on site, measured at the receptor"),
    "room": Kind("sound through a window", "sound measured outside and inside this building at once"),
    "daily": Kind("on-time from day to day", "nothing beforehand: it shows day by day, so measure during the works"),
    "on_time": Kind("mean on-time of an item of plant",
                    "a time study of this method at work, or the contractor's word on working times", beside=True),
    "rate": Kind("rate of production", "trial piles timed, or the contractor's programme", beside=True),
    "background": Kind("background of sound", "a longer baseline survey at the receptor", beside=True),
}
"""Every kind that is sampled, in the order of the tables."""

STRENGTH_CV = 0.4
STRENGTH = Citation("our judgement", None, "N, undrained and unconfined strength at the piles are those of the nearest "
                    "borehole times a lognormal factor with a coefficient of variation of 0.4, one for each borehole",
                    "estimate", note="the spans for the variation of N in soil surveys that we recall, 25 to 50 %, "
                    "weren't seen")
BACKGROUND_U_DB = 2.0
BACKGROUND = Citation("our judgement", None, "a baseline of a week misses the long-term background by 2 dB (one "
                      "standard deviation, the same for LAeq and LA90)", "estimate")
SPREAD = Citation("our judgement", None, "a likely value with a low and a high one: a triangular distribution with its "
                  "ends there", "estimate")
PACE = Citation("our judgement", None, "the whole programme at the slow, likely or fast rates: chances 25, 50 and 25 %",
                "estimate")
NORMAL = "normal, standard deviation"

HELD = (
    "the choice of the law among those that were published: the table of findings shows what the others say",
    "distances, levels of the ground, lengths of piles, obstacles and screens, the air, reductions",
    "dominant frequencies, and with them limits read from curves",
    "ground classes for rates and blows: the strength of the ground moves the vibration laws here, not the programme",
    "facts of the receptors and the limits themselves",
)
"""What is held fixed, whatever is sampled."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """An uncertain input.

    `id` kind and name; `title` in words; `spread` its distribution in words; `sources` of the distribution.
    """

    id: str
    kind: str
    title: str
    spread: str
    sources: tuple[Citation, ...]

    @property
    def basis(self) -> Basis:
        """Return how well its distribution is known: the weakest of its sources."""
        return weakest(source.basis for source in self.sources)

    @property
    def learn(self) -> str:
        """Return what would make it known."""
        return KINDS[self.kind].learn


def kind_problems(words: Iterable[str], where: str) -> list[Problem]:
    """Return what is wrong with words that should be kinds of unknowns."""
    return [Problem(f"{where} {word}", "no such kind of unknown", suggestion(word, tuple(KINDS)))
            for word in words if word not in KINDS]
