"""The straightforward way to tell growers about their beds: a loop with pandas, a bed at a time."""

import importlib.util
import sys
import time
from pathlib import Path

import jinja2
import pandas as pd

LAG_DAYS, COOLER_UNDER_STRAW = 7.0, 0.8
PAGE = jinja2.Template(
    "{{ bed.bed }} of {{ bed.grower }}\nSoil: {{ '%.1f' % soil }} C. Rain of the week: {{ '%.0f' % week }} mm.\n"
    "{% for line in lines %}- {{ line }}\n{% endfor %}"
)


def letter(bed: "pd.Series[str]", folder: Path, places: pd.DataFrame, growers: pd.DataFrame) -> str:
    """One bed's page, from its station's file to the text."""
    grower = growers[growers.grower == bed.grower].iloc[0]
    place = places[places.place == grower.place].iloc[0]
    days = pd.read_csv(folder / place["weather.file"], parse_dates=["date"]).set_index("date")
    ahead = pd.read_csv(folder / place["weather.forecast_file"], parse_dates=["issued", "date"])
    ahead = ahead[ahead.issued == ahead.issued.max()].set_index("date")
    soil = days.air_min_c.iloc[0]
    under = []
    for _, day in days.iterrows():
        air = (day.air_min_c + day.air_max_c) / 2.0
        soil += (air - soil) / LAG_DAYS * (COOLER_UNDER_STRAW if bed["straw.depth"] else 1.0)
        under.append(soil)
    days["soil_c"] = under
    days["week_mm"] = days.rain_mm.rolling(7).sum()
    today, lines = days.iloc[-1], []
    if (days.soil_c.tail(3) >= 10.0).all():
        lines.append("Plant: the soil has been warm enough for three days.")
    if today.week_mm < 25.0:
        lines.append(f"Water: {25.0 - today.week_mm:.0f} mm are missing.")
    if (ahead.air_min_c <= 0.0).any():
        lines.append(f"Frost is likely on {ahead.index[ahead.air_min_c <= 0.0][0]:%d %B}.")
    if today.air_max_c >= 30.0:
        lines.append("Heat: keep the straw thick.")
    if today.rain_mm >= 20.0:
        lines.append("Heavy rain: look for standing water.")
    return PAGE.render(bed=bed, soil=today.soil_c, week=today.week_mm, lines=lines)


def ms_a_bed(folder: Path, beds: int) -> float:
    """Milliseconds a bed, over so many beds of an invented office."""
    spec = importlib.util.spec_from_file_location("office", Path(__file__).with_name("office.py"))
    office = importlib.util.module_from_spec(spec)
    sys.modules["office"] = office
    spec.loader.exec_module(office)
    office.make_office(folder, folder / "state", office.Office(beds, max(beds // 100, 1)))
    places, growers, plots = (pd.read_csv(folder / f"{name}.csv") for name in ("places", "growers", "beds"))
    begun = time.process_time()
    for _, bed in plots.iterrows():
        letter(bed, folder, places, growers)
    return 1000.0 * (time.process_time() - begun) / len(plots)
