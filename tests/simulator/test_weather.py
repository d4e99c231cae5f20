"""The room's temperature."""

from datetime import UTC, datetime
from statistics import fmean, pstdev

import pytest

from services.simulator.weather import Spell, Weather, constant, garage, seattle_hourly


def test_seattle_series_has_its_published_statistics() -> None:
    """NOAA climate normals as shipped by vega_datasets: mean 11.13, 3.06 to 24.39 degC, deviation 5.36."""
    series = seattle_hourly()
    assert len(series) == 8760
    assert fmean(series) == pytest.approx(11.127, abs=0.005)
    assert (min(series), max(series)) == pytest.approx((3.056, 24.389), abs=0.001)
    assert pstdev(series) == pytest.approx(5.358, abs=0.005)


def test_between_hours_it_is_interpolated() -> None:
    assert Weather((10.0, 12.0)).at(1800.0) == 11.0


def test_series_repeats_at_its_end() -> None:
    assert Weather((10.0, 12.0)).at(2 * 3600.0) == 10.0


def test_constant_room_is_constant() -> None:
    assert constant(20.0).at(1e6) == 20.0


def test_garage_swings_less_than_the_street_and_is_warmer() -> None:
    start = datetime(2026, 1, 1, tzinfo=UTC)
    room = garage(start, hours=8760, offset_k=4.0)
    inside = [room.at(hour * 3600.0) for hour in range(0, 8760, 7)]
    street = seattle_hourly()[::7]
    assert pstdev(inside) < pstdev(street)
    assert fmean(inside) == pytest.approx(fmean(street) + 4.0, abs=0.2)


def test_heat_wave_rises_and_goes() -> None:
    wave = Spell(begin_h=24.0, length_h=48.0, extra_k=8.0)
    assert [wave.extra(hour) for hour in (0.0, 30.0, 48.0, 72.0)] == [0.0, 4.0, 8.0, 0.0]
