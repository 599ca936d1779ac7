"""A raw trace: three axes of velocity at one sampling rate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from envpredict.monitoring.records.columns import AXES

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Trace:
    """Velocities (3, N) in mm/s of the axes x, y, z; an axis that wasn't measured is NaN throughout.

    `start` is milliseconds since 1970 UTC, None where it isn't stated. Raises ValueError unless the trace has three
    axes, two samples and a positive sampling rate, and each axis is whole.
    """

    station: str
    start: int | None
    sampling_hz: float
    velocity_mm_s: Floats

    def __post_init__(self) -> None:
        if self.velocity_mm_s.ndim != 2 or self.velocity_mm_s.shape[0] != 3 or self.velocity_mm_s.shape[1] < 2:
            raise ValueError(f"velocity_mm_s has shape {self.velocity_mm_s.shape}, not (3, N)")
        if not (np.isfinite(self.sampling_hz) and self.sampling_hz > 0):
            raise ValueError("sampling_hz must be positive")
        holes = np.isnan(self.velocity_mm_s).any(axis=1) & ~np.isnan(self.velocity_mm_s).all(axis=1)
        if holes.any():
            raise ValueError(f"axis {AXES[int(np.argmax(holes))]} has missing samples")

    @property
    def duration_s(self) -> float:
        """Return the length of the trace."""
        return float(self.velocity_mm_s.shape[1] / self.sampling_hz)

    @property
    def measured(self) -> NDArray[np.bool_]:
        """Return which axes were measured (3,)."""
        return np.asarray(~np.isnan(self.velocity_mm_s[:, 0]))
