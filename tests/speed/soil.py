"""The soil's speed as a ratio: 1,000 beds × 5,000 days in one call against one first-order `scipy.signal.lfilter` pass.

    python tests/speed/soil.py [--beds 1000] [--days 5000] [--times 5]

All is timed in one run, and the least of several times counts; on a busy machine the ratios come out higher. Needs
scipy.
"""

import argparse
import time
from collections.abc import Callable

import numpy as np
from scipy.signal import lfilter

from haulm.science import soil_surface as surface
from haulm.science import soil_temperature as column
from haulm.science.soil_freezing import Freezing
from haulm.science.sun import top_radiation_mj


def least_s(work: Callable[[], object], times: int) -> float:
    """The shortest of several times [s]."""
    found = []
    for _ in range(times):
        begun = time.perf_counter()
        work()
        found.append(time.perf_counter() - begun)
    return min(found)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--beds", type=int, default=1000)
    parser.add_argument("--days", type=int, default=5000)
    parser.add_argument("--times", type=int, default=5)
    asked = parser.parse_args()
    rng = np.random.default_rng(1)
    day = np.arange(asked.days) % 365 + 1.0
    mean = 9.0 - 12.0 * np.cos(2.0 * np.pi * (day - 20.0) / 365.0) + rng.normal(0.0, 3.0, (asked.beds, asked.days))
    low, high = mean - 6.0, mean + 6.0
    rain = np.where(rng.random(mean.shape) < 0.3, rng.exponential(6.0, mean.shape), 0.0)
    sun = top_radiation_mj(44.0, day)[None, :]
    _, felt = surface.advance(surface.start_state(asked.beds), low, high, rain, sun, 0.8)
    dry = column.SoilColumn(np.full(asked.beds, 1.5), np.full(asked.beds, 2.2), np.array([[0.10]]))
    icy = column.SoilColumn(np.full(asked.beds, 1.5), np.full(asked.beds, 2.2), np.array([[0.10]]), freezing=Freezing())
    begin = column.even_state(np.full(asked.beds, 9.0))
    weights = (np.array([0.1]), np.array([1.0, -0.9]))

    def run(soil: column.SoilColumn, state: np.ndarray) -> object:
        return column.advance(state, felt.temperature_c, felt.resistance_m2k_w, soil)

    works = {
        "one lfilter pass": lambda: lfilter(*weights, mean, axis=1),
        "column": lambda: run(dry, begin),
        "column with freezing": lambda: run(icy, column.with_ice(begin)),
        "what the ground feels": lambda: surface.advance(
            surface.start_state(asked.beds), low, high, rain, sun, 0.8
        ),
    }  # fmt: skip
    found = {name: least_s(work, asked.times) for name, work in works.items()}
    for name, seconds in found.items():
        print(f"{name:24} {seconds:7.3f} s {seconds / found['one lfilter pass']:6.1f} x")


if __name__ == "__main__":
    main()
