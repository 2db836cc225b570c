"""What the place's own years say about frost around a planting."""

from collections.abc import Mapping
from datetime import date, timedelta

import numpy as np

from haulm.condition import DayRange, SeasonChances
from haulm.garden import Place, Planting, Season
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, Timeline
