"""A weather forecast for one place."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from tierpole.weather.record import Days, Floats


@dataclass(frozen=True, eq=False)
class Forecast:
    """Daily values foretold [day]: `t_min`, `t_max`, `dew_point` [°C], `rain` [mm].

    `issued_at` is when it was made; a value's lead is counted from that day. `dew_point` is None
    when the forecast gives none.
    """

    issued_at: datetime
    dates: Days
    t_min: Floats
    t_max: Floats
    rain: Floats
    dew_point: Floats | None = None
    source: str = ""

    @property
    def issued(self) -> date:
        """The day it was made."""
        return self.issued_at.date()

    @property
    def lead(self) -> NDArray[np.int64]:
        """Days between the issue and each day foretold [day]."""
        return (self.dates - np.datetime64(self.issued, "D")).astype(np.int64)
