"""Sensors lag, step and scatter as real ones do."""

from math import exp
from random import Random
from statistics import fmean, pstdev

import pytest

from services.simulator.models import ProbeModel
from services.simulator.sensors import Sensor


def test_lag_is_first_order() -> None:
    sensor = Sensor(ProbeModel("beer", lag_s=60.0, noise=0.0, resolution=1e-9), Random(1))
    sensor.follow(20.0, 0.0)
    for _ in range(6):
        sensor.follow(10.0, 10.0)
    assert sensor.read() == pytest.approx(10.0 + 10.0 * exp(-1.0))


def test_number_is_a_multiple_of_the_resolution() -> None:
    sensor = Sensor(ProbeModel("beer"), Random(1))
    sensor.follow(18.3, 0.0)
    assert (sensor.read() / 0.0625) % 1.0 == 0.0


def test_noise_and_offset_are_as_told() -> None:
    sensor = Sensor(ProbeModel("beer", noise=0.1, offset=0.5, resolution=1e-6), Random(1))
    sensor.follow(18.0, 0.0)
    reads = [sensor.read() for _ in range(4000)]
    assert fmean(reads) == pytest.approx(18.5, abs=0.01)
    assert pstdev(reads) == pytest.approx(0.1, rel=0.05)
