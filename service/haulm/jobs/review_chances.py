"""How the chances that forecasts gave turned out at the station: of the nights given 3 in 10, how many froze."""

from datetime import datetime

import numpy as np

from haulm.beds.graded import chances_given
from haulm.beds.memo import Memo
from haulm.beds.nights import usual_range
from haulm.garden import Place
from haulm.jobs.observe import Observed
from haulm.letter import amounts
from haulm.letter.review import FREEZING_C, ChanceSeen
from haulm.weather import Timeline


def chances_seen(observed: Observed, timeline: Timeline, place: Place, now: datetime) -> tuple[ChanceSeen, ...]:
    """By row of the table of chances, least first; rows that were never said are left out."""
    usual = usual_range(timeline, Memo())
    chances, froze = chances_given(observed.forecasts, timeline, place, now, usual, FREEZING_C)
    said = np.array([amounts.odds(float(chance)).chance for chance in chances])
    rows = (row.chance for row in amounts.ODDS if (said == row.chance).any())
    return tuple(ChanceSeen(row, int((said == row).sum()), int(froze[said == row].sum())) for row in rows)
