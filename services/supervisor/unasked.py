"""Heat that nobody asked for: does a heater that was told off go on, while cooling keeps up with it?

From half an hour after a heater's end on, a forecast with the model as it was then runs beside the chamber, through all
that is really switched, with the yeast's heat as it is believed from hour to hour. What the beer is warmer than that,
as a share of what the heater alone would have done meanwhile, is the share of its power that nobody has asked for: near
1 for a relay that is welded on. Yeast cannot be mistaken for it, for it leaves the air colder than the beer; a hotter
room by a day's swing is a fraction of a heater.
"""

import numpy as np

from services.supervisor.estimate import Estimator
from services.supervisor.model import COAST, HEAT, MEAN_ROW, ONE, STATES, TICK_S, YEAST, Array, Mode

SETTLES_S = 1800.0
FROM_S, UNTIL_S = 3.0 * 3600.0, 18.0 * 3600.0
"""Before, little is certain; after, too much else has changed."""
LEAST_K = 1.5
"""What the heater must have been able to do by then for its share to be told."""
LEAST_W = 15.0


class Unasked:
    """Hand it every stretch of time; `share` is None while nothing can be said."""

    __slots__ = ("share", "_alone", "_beside", "_off_s", "_push", "_step", "_watt")

    def __init__(self) -> None:
        self.share: float | None = None
        self._off_s: float | None = None
        self._beside: Array | None = None
        self._alone: Array = np.zeros(STATES)
        self._push: Array = np.zeros(STATES)
        self._step: dict[Mode, list[Array]] = {}
        self._watt = 0.0

    def pass_time(self, mode: Mode, ticks: int, known: Estimator) -> None:
        """So many ticks went by in this mode; `known` is what is believed after them."""
        if mode[1]:
            self._off_s, self._beside, self.share = 0.0, None, None
        elif self._off_s is not None:
            self._off_s += ticks * TICK_S
            if self._beside is not None:
                self._go_on(mode, ticks, known)
            elif self._off_s >= SETTLES_S:
                self._begin(known)

    def _begin(self, known: Estimator) -> None:
        self._step = known.learnt.step
        self._push = (self._step[HEAT][1] - self._step[COAST][1])[:, ONE]
        self._watt = known.learnt.parameters["heater_w"]
        self._beside, self._alone = known.state.copy(), np.zeros(STATES)

    def _go_on(self, mode: Mode, ticks: int, known: Estimator) -> None:
        assert self._beside is not None
        assert self._off_s is not None
        once, beside, alone = self._step[mode][1], self._beside, self._alone
        beside[YEAST] = known.state[YEAST]
        for _ in range(ticks):
            beside, alone = once @ beside, once @ alone + self._push
        self._beside, self._alone = beside, alone
        could_k = float(MEAN_ROW @ alone)
        if self._off_s > UNTIL_S:
            self._off_s = self._beside = self.share = None
        elif self._off_s >= FROM_S and could_k >= LEAST_K:
            share = (known.beer_c - float(MEAN_ROW @ beside)) / could_k
            self.share = share if share * self._watt >= LEAST_W else 0.0
