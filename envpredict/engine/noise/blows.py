"""Single blows at receptors: exposure and maximum of the loudest one, and how many there are."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from envpredict.engine.works.programme import blow_counts

if TYPE_CHECKING:
    from envpredict.engine.run import MethodRun, Run
    from envpredict.engine.sound.method import ItemSound, MethodSound

Floats = NDArray[np.float64]


class Blows(NamedTuple):
    """The blows of the loudest item of plant that gives any, in dB, incident.

    `sel_db`, `lafmax_db` (R): of the loudest single blow at receptors; `drive_sel_db` (R): of all blows of the pile
    whose blows together are the loudest there; `most` (R): how many blows that pile takes, NaN where it isn't known.
    """

    item: ItemSound
    sel_db: Floats
    lafmax_db: Floats
    drive_sel_db: Floats
    most: Floats


def hammer_of(sound: MethodSound) -> ItemSound | None:
    """Return the loudest item of plant that gives blows whose exposure is known, None if there's none."""
    known = [item for item in sound.items if item.blow_above_db is not None]
    return max(known, key=lambda item: item.field.plant.lwa_db, default=None)


def blows_heard(run: Run, method: MethodRun) -> Blows | None:
    """Return the single blows of a candidate at every receptor (R), None for one without blows.

    The piles are those that the programme drives. A receptor has the loudest of its points; the exposure of all blows
    of a pile is that of N equal ones, SEL + 10 lg N, with the energy mean over the heights of the drive.
    """
    sound = method.sound
    item = hammer_of(sound)
    if item is None or item.blow_above_db is None:
        return None
    driven = np.unique(method.passes.pile)
    single = 10.0 ** (item.blow_above_db / 10.0)
    energy = item.field.energy[:, :, driven].astype(float) * single
    counts = blow_counts(method.choice, run.drive)[driven]
    drives = energy.mean(axis=0) * counts
    # the points come in the order of the receptors, each with one at least
    first = np.searchsorted(sound.points.receptor, np.arange(run.receptor_count))
    one = np.maximum.reduceat(energy.max(axis=(0, 2)), first)
    by_pile = np.maximum.reduceat(drives, first, axis=0)
    pile = np.nan_to_num(by_pile).argmax(axis=1)
    together, most = by_pile[np.arange(len(pile)), pile], counts[pile]
    with np.errstate(divide="ignore"):
        sel, drive = 10.0 * np.log10(one), 10.0 * np.log10(together)
    above = item.above_db + item.gain_db - item.blow_above_db
    return Blows(item, sel, sel + above, drive, np.where(most > 0.0, most, np.nan))
