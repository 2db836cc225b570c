"""How long tubers sleep after lifting, and when sprouted seed is too old, from the warmth they lie in.

No table of weeks by temperature could be read: that cooler is longer is published (University of Idaho), and that age
is counted in day-degrees above 4 °C from the first sprouts (O'Brien et al. 1983, abstract). The figures are judgement,
kept wide: varieties differ by half and more.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Days from lifting to the first sprouts for a middling variety kept at one temperature: judgement.
SLEEP_AT_C = (3.0, 10.0, 15.0, 20.0, 28.0)
SLEEP_DAYS = (160.0, 110.0, 85.0, 70.0, 55.0)
EARLIEST, LATEST = 0.6, 1.4  # judgement: of that, the ends of what four varieties in five need
AGE_BASE_C = 4.0  # O'Brien et al. 1983
OLD_AT_C_D = 800.0  # judgement: about 130 days at 10 °C, 57 at 18 °C


def slept_share(store_c: ArrayLike) -> FloatArray:
    """How much of a middling variety's sleep lies behind after each day, 0 to 1 and on.

    Parameters
    ----------
    store_c
        Daily means of the store [°C] from the day of lifting, days last. NaN makes all that follows NaN. Below the
        coldest and above the warmest of the table its ends hold.
    """
    warmth = np.asarray(store_c, dtype=np.float64)
    return np.cumsum(1.0 / np.interp(warmth, SLEEP_AT_C, SLEEP_DAYS) + 0.0 * warmth, axis=-1)


def age_c_d(store_c: ArrayLike) -> FloatArray:
    """Age after each day in day-degrees above 4 °C [°C d] (O'Brien et al. 1983), from the first sprouts, days last."""
    return np.cumsum(np.maximum(np.asarray(store_c, dtype=np.float64) - AGE_BASE_C, 0.0), axis=-1)
