"""Water that freezes in the soil and thaws again: the zero curtain of the column in `soil_temperature`."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

STRETCH_DAYS = 32  # whose pull is worked out at once; does not change the answer


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
        self._pulled: _Pulled | None = None
        self._freezes_below_c = np.where(store_mj_m2 > 0.0, 0.0, -np.inf)
        self._icy = bool(np.count_nonzero(self.ice > 0.0))

    def state(self) -> FloatArray:
        """What is to be kept: (beds, 2)."""
        return np.stack([self.ice, self.probe], axis=1)

    def idle(self) -> bool:
        """No bed has ice, or soil cold enough to make any: most days of most places."""
        return not self._icy and not np.count_nonzero(self.probe < self._freezes_below_c)

    def flux(self, day: int, surface: FloatArray, driven: FloatArray, admittance: FloatArray) -> FloatArray:
        """Heat into the soil over a day's step; where water freezes or thaws, the pull towards 0 °C is part of it.

        `driven` and `admittance` are those of all days, (days, beds): what the pull makes of them is worked out for a
        stretch of days at once, as frost seldom comes for one.
        """
        pulled, at = self._pulled_on(day, driven, admittance)
        at_work = np.where(self.probe < 0.0, self.ice < self.store, self.ice > 0.0)
        felt = np.where(at_work, pulled.driven[at], driven[day])
        q = np.asarray((felt - surface) * np.where(at_work, pulled.admittance[at], admittance[day]))
        frozen = self.ice - np.where(at_work, pulled.mj_k[at], 0.0) * (surface + self.to_surface * q)
        self.ice = np.minimum(np.maximum(frozen, 0.0), self.store)
        self._icy = bool(np.count_nonzero(self.ice > 0.0))
        return q

    def _pulled_on(self, day: int, driven: FloatArray, admittance: FloatArray) -> tuple["_Pulled", int]:
        """The stretch of days about a day, and the day's place in it."""
        if self._pulled is None or not 0 <= day - self._pulled.first < STRETCH_DAYS:
            days = slice(day, day + STRETCH_DAYS)
            self._pulled = self._pull(day, driven[days], admittance[days])
        return self._pulled, day - self._pulled.first

    def _pull(self, first: int, driven: FloatArray, admittance: FloatArray) -> "_Pulled":
        conducts = admittance > 0.0
        layer = 1.0 / np.where(conducts, admittance, 1.0) - self.to_surface
        shared = 1.0 / (1.0 + layer * self.freezing.conductance_w_m2_k)
        return _Pulled(
            first,
            driven * np.where(conducts, shared, 1.0),
            np.where(conducts, 1.0 / (layer * shared + self.to_surface), admittance),
            np.where(conducts, self._pulls_mj_k, 0.0),
        )

    def look(self, probe: FloatArray, q: FloatArray) -> None:
        """Remember the probe's mean over the step."""
        np.multiply(self.probe_rise, q, out=self.probe)
        np.add(self.probe, probe, out=self.probe)


@dataclass(frozen=True, slots=True, eq=False)
class _Pulled:
    """Some days from `first` on as if the pull were at work, (days, beds): forcing and admittance, and what it freezes
    [MJ/m²/K]."""

    first: int
    driven: FloatArray
    admittance: FloatArray
    mj_k: FloatArray
