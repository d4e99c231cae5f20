"""What no working probe at that place could have measured steers nothing (promise 6)."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.addresses import SimulatedProbe
from schemas.plant import Measure, Probe
from schemas.telemetry import Quality
from services.bridge.drivers.driver import Sample, Trouble
from services.bridge.plausibility import CONFIRMING, GOOD, Judge, Verdict
from tests.bridge.bench import START


def probe(measures: Measure = Measure.TEMPERATURE, **more: float) -> Probe:
    return Probe(measures=measures, source=SimulatedProbe(simulated=True), **more)


class Line:
    """Values of one probe, ten seconds apart."""

    def __init__(self, name: str = "beer", described: Probe | None = None) -> None:
        self.judge = Judge(name, described or probe())
        self.elapsed_s = 0.0

    def say(self, value: float, after_s: float = 10, **more: bool) -> Verdict:
        self.elapsed_s += after_s
        now = START + timedelta(seconds=self.elapsed_s)
        return self.judge.judge(value, Sample(value, **more), now, self.elapsed_s, None)

    def qualities(self, *values: float) -> list[Quality]:
        return [self.say(value).quality for value in values]


def test_ordinary_values_are_good():
    assert set(Line().qualities(18.0, 18.06, 18.0, 17.94)) == {Quality.GOOD}


@pytest.mark.parametrize(("name", "value"), [("beer", -10.1), ("beer", 60.1), ("air", -41), ("bath", 61), ("room", 70)])
def test_value_out_of_range_is_bad(name, value):
    verdict = Line(name).say(value)
    assert (verdict.quality, verdict.trouble) == (Quality.BAD, Trouble.RANGE)
    assert f"{value:g}" in verdict.reason


def test_range_of_the_plant_file_counts_instead():
    line = Line(described=probe(lowest=50, highest=120))
    assert [line.say(value).trouble for value in (49, 100, 121)] == [Trouble.RANGE, None, Trouble.RANGE]


def test_jump_is_bad_until_enough_values_agree_on_it():
    line = Line()
    line.say(18)
    assert line.qualities(*[24.0] * CONFIRMING) == [Quality.BAD] * (CONFIRMING - 1) + [Quality.GOOD]


def test_single_spike_leaves_what_follows_good():
    assert Line().qualities(18, 18, 24, 18, 18)[3:] == [Quality.GOOD, Quality.GOOD]


def test_values_that_jump_to_and_fro_never_confirm_each_other():
    line = Line()
    line.say(18)
    assert set(line.qualities(*[24.0, 40.0] * 10)) == {Quality.BAD}


def test_same_change_over_more_time_is_good():
    line = Line()
    line.say(18)
    assert line.say(24, after_s=150).quality is Quality.GOOD


def test_air_may_change_faster_than_beer():
    """An opened door warms the air of a fridge by several kelvin in half a minute."""
    qualities = {}
    for name in ("air", "beer"):
        line = Line(name)
        line.say(4)
        qualities[name] = line.say(7).quality
    assert qualities == {"air": Quality.GOOD, "beer": Quality.BAD}


def test_rate_of_the_plant_file_counts_instead():
    line = Line(described=probe(fastest_per_min=60))
    assert line.qualities(18, 26) == [Quality.GOOD, Quality.GOOD]


def test_power_on_value_is_bad_although_it_is_in_range():
    line = Line(described=probe(highest=120))
    verdict = line.say(85.0)
    assert (verdict.quality, verdict.trouble) == (Quality.BAD, Trouble.POWER_ON)


def test_85_degrees_is_believed_of_a_probe_that_was_near_it():
    line = Line(described=probe(highest=120, fastest_per_min=100))
    assert line.qualities(84.5, 85.0) == [Quality.GOOD, Quality.GOOD]


def test_85_degrees_is_believed_when_the_sensor_vouches_for_it():
    assert Line(described=probe(highest=120)).say(85.0, vouched=True) == GOOD


def test_humidity_of_85_percent_is_no_power_on_value():
    assert Line("humidity", probe(Measure.HUMIDITY)).say(85.0) == GOOD


@pytest.mark.parametrize("measures", [one for one in Measure if one is not Measure.TEMPERATURE])
def test_measures_other_than_temperature_may_jump_and_stand_still(measures):
    line = Line("it", probe(measures))
    assert {line.say(1.0, after_s=90_000) for _ in range(5)} == {GOOD}


@given(values=st.lists(st.floats(-200, 200), min_size=1, max_size=40), gap_s=st.floats(1, 60))
def test_good_values_keep_to_range_and_rate_or_were_confirmed(values, gap_s):
    line, last, refused = Line(), None, 0
    for value in values:
        good = line.say(value, after_s=gap_s).quality is Quality.GOOD
        if good:
            assert -10 <= value <= 60
            assert (
                last is None
                or refused >= CONFIRMING - 1
                or abs(value - last) <= 3 * (refused + 1) * max(1, gap_s) / 10 + 1
            )
            last = value
        refused = 0 if good else refused + 1


@given(start=st.floats(-5, 40), steps=st.lists(st.floats(-0.9, 0.9), max_size=60))
def test_any_course_within_the_rate_is_good_throughout(start, steps):
    """At 10 s, 3 K/min and 0.5 K of slack allow 1 K a reading."""
    line, value = Line(), start
    for step in [0.0, *steps]:
        value = min(59.0, max(-9.0, value + step))
        assert line.say(value) == GOOD
