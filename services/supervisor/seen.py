"""A chamber's gauges by what they are for, and for how long things have been going on."""

from schemas.plant import Chamber, Drive, Measure, Point
from services.supervisor.gauges import at_point, gauges_of, measuring
from services.supervisor.history import Effect, Hour


class Seen:
    """The gauges of a chamber by what they are for, and what has been going on for how long."""

    def __init__(self, chamber: Chamber) -> None:
        reservoir = chamber.kind == "reservoir"
        self.gauges = gauges_of(chamber)
        self.beer = at_point(chamber, self.gauges, Point.BATH if reservoir else Point.BEER)
        self.air = at_point(chamber, self.gauges, Point.AIR)
        self.room = at_point(chamber, self.gauges, Point.ROOM)
        self.air_may_steer = not reservoir and (self.beer is None or chamber.steer_by_air)
        self.contacts = measuring(chamber, self.gauges, Measure.CONTACT)
        self.co2 = measuring(chamber, self.gauges, Measure.CO2)
        self.power = measuring(chamber, self.gauges, Measure.POWER)
        self.flow = measuring(chamber, self.gauges, Measure.FLOW)
        self.others = bool(self.contacts or self.co2 or self.flow)
        self.fan = chamber.output_that(Drive.FAN)
        self.hour = Hour()
        self.cooled, self.heated = Effect(-1.0), Effect(1.0)
        self.opened_s: float | None = None
        self.heated_s = self.passed_s = 0.0
        self.heats = False
        self._at_s: float | None = None

    def passes(self, now_s: float, heats: bool) -> None:
        """Counts the time since the last look, and for how much of it a heater was asked to run."""
        self.passed_s = 0.0 if self._at_s is None else now_s - self._at_s
        self.heated_s += self.passed_s if self.heats else 0.0
        self.heats = heats
        self._at_s = now_s
