"""Slow drifts and pumps that move nothing, found by what the chamber's heat balance and model expect."""

from datetime import timedelta
from math import pi, sin
from random import Random

import pytest

from schemas.control import ChamberStatus, Estimate
from schemas.plant import Plant
from schemas.telemetry import ContactReading, TemperatureReading
from services.notifier.watchers.balance import BalanceWatch
from services.notifier.watchers.expectation import ExpectationWatch
from tests.notifier.bench import NOON, SITE

MINUTE = timedelta(minutes=1)
SIMULATED = {"simulated": True}
DRIFT, PUMP = "probe-drifting-beer-slow", "pump-without-flow-pump"


def probes(*names):
    return {name: {"measures": "contact" if name == "door" else "temperature", "from": SIMULATED} for name in names}


FRIDGE = {"kind": "fridge", "probes": probes("beer", "air", "door")}
KEGS = {**FRIDGE, "kind": "kegerator", "hold": "5 degC"}
BATH = {"kind": "reservoir", "probes": probes("bath")}
PUMPED = {"pump": {"drives": "pump", "to": SIMULATED}}
VESSEL = {"kind": "jacketed", "cooled_by": "bath", "probes": probes("beer"), "outputs": PUMPED}
PLANT = Plant.model_validate(
    {"site": {"name": SITE}, "chambers": {"ale": FRIDGE, "kegs": KEGS, "bath": BATH, "uni": VESSEL}}
)


class Days:
    """A watcher and one chamber, a reading of each probe every minute."""

    def __init__(self, watcher, chamber="ale"):
        self.watcher = watcher(PLANT)
        self.chamber = chamber
        self.now = NOON
        self.found = {}
        self._random = Random(1)

    def status(self, setpoint_c, doing="resting", beer_c=None):
        estimate = None if beer_c is None else Estimate(beer_c=beer_c, beer_sd_k=0.01)
        self.hear(ChamberStatus, doing=doing, why="x", setpoint_c=setpoint_c, estimate=estimate)
        return self

    def hear(self, model, **fields):
        said = model(at=self.now, source="test", chamber=self.chamber, **fields)
        self.watcher.hear(said, self.now)

    def read(self, probe, celsius, quality="good"):
        self.hear(TemperatureReading, probe=probe, quality=quality, temperature_c=celsius + self._random.gauss(0, 0.03))

    def minute(self):
        self.now += MINUTE
        self.found |= {one.name: one.active for one in self.watcher.judge(self.now) if one.chamber == self.chamber}

    def hours(self, hours, beer_c, air_c, setpoint_c=12.0, door=False):
        """`air_c` is the air's mean; it swings by 4 K as a compressor comes and goes."""
        for number in range(round(hours * 60)):
            self.status(setpoint_c)
            self.read("beer", beer_c)
            self.read("air", air_c + 4.0 * sin(2 * pi * number / 60))
            self.hear(ContactReading, probe="door", quality="good", is_open=door)
            self.minute()
        return self

    def holds(self, name=DRIFT):
        return self.found.get(name, False)


@pytest.mark.parametrize("air_c", [11.4, 12.0, 12.4])
def test_beer_that_agrees_with_its_air_over_days_is_believed(air_c):
    assert not Days(BalanceWatch).hours(72, 12.0, air_c).holds()


def test_beer_that_seems_colder_than_its_air_for_days_is_read_too_low():
    assert Days(BalanceWatch).hours(48, 12.0, 13.2).holds()


def test_beer_that_ferments_may_be_warmer_than_its_air():
    assert not Days(BalanceWatch).hours(72, 18.0, 14.0, setpoint_c=18.0).holds()


@pytest.mark.parametrize(("chamber", "setpoint_c"), [("ale", 2.0), ("kegs", 7.0)])
def test_still_beer_that_seems_warmer_than_its_air_is_read_too_high(chamber, setpoint_c):
    days = Days(BalanceWatch, chamber)
    assert days.hours(48, setpoint_c, setpoint_c - 0.9, setpoint_c=setpoint_c).holds()


def test_nothing_is_said_before_the_setpoint_has_stood_for_most_of_a_day():
    days = Days(BalanceWatch).hours(12, 12.0, 13.5)
    assert not days.hours(12, 12.2, 13.5, setpoint_c=12.2).holds()


def test_beer_on_the_move_says_nothing():
    days = Days(BalanceWatch)
    for hour in range(60):
        days.hours(1, 12.0 + 0.1 * hour, 14.0 + 0.1 * hour)
    assert not days.holds()


@pytest.mark.parametrize(("air_c", "drifts"), [(12.1, False), (13.2, True)])
def test_hours_in_which_a_door_was_opened_are_passed_over(air_c, drifts):
    days = Days(BalanceWatch)
    for _ in range(12):
        days.hours(4, 12.0, air_c).hours(0.3, 12.0, 22.0, door=True)
    assert days.holds() is drifts


def test_a_probe_that_was_put_right_is_believed_again_within_a_day():
    days = Days(BalanceWatch).hours(48, 12.0, 13.2)
    assert days.holds()
    assert not days.hours(24, 12.0, 12.0).holds()


def vessel(minutes, excess_k, doing="cooling", setpoint_c=10.0):
    days = Days(ExpectationWatch, "uni")
    for minute in range(180 + minutes):
        beer_c = 10.0 + (excess_k if minute >= 180 else 0.0)
        days.status(setpoint_c, doing if minute % 3 else "resting", beer_c=10.0)
        days.read("beer", beer_c)
        days.minute()
    return days


def test_beer_that_stays_warmer_than_the_pumps_runs_should_leave_it_is_told():
    assert vessel(60, 0.8).holds(PUMP)


@pytest.mark.parametrize("case", [{"excess_k": 0.2}, {"excess_k": -0.8}, {"excess_k": 0.8, "doing": "heating"}])
def test_a_vessel_that_does_as_expected_or_is_not_pumped_is_not_told(case):
    assert not vessel(120, **case).holds(PUMP)


def test_a_pump_that_flows_again_is_told_to():
    days = vessel(60, 0.8)
    for _ in range(120):
        days.status(10.0, "cooling", beer_c=10.0)
        days.read("beer", 10.0)
        days.minute()
    assert not days.holds(PUMP)


def test_beer_still_on_its_way_to_an_old_setpoint_is_not_mixed_and_says_nothing():
    days = Days(ExpectationWatch, "uni")
    for minute in range(600):
        believed_c = max(1.0, 18.0 - 2.4 * minute / 60)
        days.status(1.0, "cooling", beer_c=believed_c)
        days.read("beer", believed_c + (0.8 if believed_c > 1.0 else 0.0))
        days.minute()
        assert not days.holds(PUMP)


def test_chambers_without_the_probes_are_left_alone():
    only_beer = Plant.model_validate(
        {"site": {"name": SITE}, "chambers": {"ale": {"kind": "fridge", "probes": probes("beer")}}}
    )
    assert list(BalanceWatch(only_beer).listens) == []
    assert list(ExpectationWatch(only_beer).listens) == []
