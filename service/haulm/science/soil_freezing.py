"""Water that freezes in the soil and thaws again: the zero curtain of the column in `soil_temperature`."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Freezing:
    """The zero curtain: while water freezes or ice thaws, a conductance to 0 °C acts beside the air.

    Attributes
    ----------
    conductance_w_m2_k
        How closely the surface is held to 0 °C; fitted on USCRN stations (DEVELOPERS.md, "Accuracy").
    store_mj_m2
        Latent heat of the water that can freeze, one number or one a bed; 6 is 18 mm (judgement), 0 never freezes.
    probe_m
        Depth whose temperature tells whether the soil freezes or thaws.
    """

    conductance_w_m2_k: float = 19.66
    store_mj_m2: ArrayLike = 6.0
    probe_m: float = 0.10


class Curtain:
    """Ice and the probe's last temperature of one block of beds, for as long as its days run.

    `store_mj_m2` is that of each of its beds; `row` is the probe's among the depths that the march looks at.
    """

    def __init__(
        self, freezing: Freezing, store_mj_m2: FloatArray, held: FloatArray, to_surface: FloatArray, step_s: float,
        row: int,
    ) -> None:  # fmt: skip
        self.freezing, self.store, self.to_surface, self.row = freezing, store_mj_m2, to_surface, row
        self.ice, self.probe = held[0].copy(), held[1].copy()
        self.probe_rise = np.zeros_like(self.probe)
        self._pulls_mj_k = step_s / 1e6 * freezing.conductance_w_m2_k
        self._freezes_below_c = np.where(store_mj_m2 > 0.0, 0.0, -np.inf)
        self._icy = bool(np.count_nonzero(self.ice > 0.0))

    def state(self) -> FloatArray:
        """What is to be kept: (beds, 2)."""
        return np.stack([self.ice, self.probe], axis=1)

    def idle(self) -> bool:
        """No bed has ice, or soil cold enough to make any: most days of most places."""
        return not self._icy and not np.count_nonzero(self.probe < self._freezes_below_c)

    def flux(self, surface: FloatArray, driven: FloatArray, admittance: FloatArray) -> FloatArray:
        """Heat into the soil over a day's step; where water freezes or thaws, the pull towards 0 °C is part of it.

        `driven` and `admittance` are those of the day, (beds,).
        """
        at_work = np.where(self.probe < 0.0, self.ice < self.store, self.ice > 0.0) & (admittance > 0.0)
        layer = 1.0 / np.where(at_work, admittance, 1.0) - self.to_surface
        shared = 1.0 / (1.0 + layer * self.freezing.conductance_w_m2_k)
        felt = driven * np.where(at_work, shared, 1.0)
        q = np.asarray((felt - surface) * np.where(at_work, 1.0 / (layer * shared + self.to_surface), admittance))
        frozen = self.ice - np.where(at_work, self._pulls_mj_k, 0.0) * (surface + self.to_surface * q)
        self.ice = np.minimum(np.maximum(frozen, 0.0), self.store)
        self._icy = bool(np.count_nonzero(self.ice > 0.0))
        return q

    def look(self, probe: FloatArray, q: FloatArray) -> None:
        """Remember the probe's mean over the step."""
        np.multiply(self.probe_rise, q, out=self.probe)
        np.add(self.probe, probe, out=self.probe)
