"""What a plant says of its chambers, probes and outputs."""

from typing import Any

import pytest
from pydantic import ValidationError

from schemas.plant import Calibration, Drive, Fridge, Limits, Measure, Output, Plant, Point, Probe, Site, point_of

SIMULATED = {"simulated": True}


def probe(measures: str = "temperature", **more: Any) -> Probe:
    return Probe.model_validate({"measures": measures, "from": SIMULATED, **more})


def fridge(**more: Any) -> Fridge:
    return Fridge.model_validate(
        {"kind": "fridge", "probes": {"beer": {"measures": "temperature", "from": SIMULATED}}, **more}
    )


@pytest.mark.parametrize(("every_s", "stale_s"), [(1, 60), (10, 60), (60, 360)])
def test_reading_may_steer_for_six_intervals_and_a_minute_at_least(every_s: float, stale_s: float) -> None:
    assert probe(every=every_s).stale_after.total_seconds() == stale_s


def test_plant_file_says_after_what_silence_a_probe_is_stale() -> None:
    assert probe(every=10, silent_after=15).stale_after.total_seconds() == 15


@pytest.mark.parametrize(
    ("name", "more", "point"),
    [
        ("beer", {}, Point.BEER),
        ("probe1", {}, None),
        ("probe1", {"at": "air"}, Point.AIR),
        ("beer", {"at": "line"}, Point.LINE),
        ("beer", {"measures": "gravity"}, None),
    ],
)
def test_point_is_where_the_file_says_else_what_the_probe_is_named(name: str, more: Any, point: Point | None) -> None:
    assert point_of(name, probe(**more)) is point


def test_chamber_finds_its_probe_by_point_whatever_it_is_named() -> None:
    chamber = fridge(probes={"well": {"measures": "temperature", "from": SIMULATED, "at": "beer"}})
    assert (chamber.probe_at(Point.BEER), chamber.probe_at(Point.AIR)) == ("well", None)


def test_chamber_without_outputs_drives_nothing() -> None:
    assert [fridge().output_that(drives) for drives in Drive] == [None] * len(Drive)


def test_calibration_may_be_written_with_true_as_a_key() -> None:
    assert Calibration.model_validate({"reads": [0.4], True: [0.0]}) == Calibration(reads=(0.4,), true=(0.0,))


@pytest.mark.parametrize("points", [{"reads": [], "true": []}, {"reads": [1, 2, 3], "true": [1, 2, 3]}])
def test_calibration_has_one_or_two_points(points: dict[str, list[float]]) -> None:
    with pytest.raises(ValidationError):
        Calibration.model_validate(points)


@pytest.mark.parametrize(
    ("field", "value"),
    [("inrush", 0.5), ("inrush", 21), ("rest", 3601), ("power", -1), ("watched_by", "hope"), ("drives", "oven")],
)
def test_output_that_cannot_be_is_refused(field: str, value: Any) -> None:
    with pytest.raises(ValidationError):
        Output.model_validate({"drives": "compressor", "to": SIMULATED, field: value})


def test_reservoir_may_be_colder_than_any_beer() -> None:
    bath = {"kind": "reservoir", "probes": {"bath": {"measures": "temperature", "from": SIMULATED}}}
    plant = Plant.model_validate({"site": {"name": "barn"}, "chambers": {"bath": bath, "ale": fridge()}})
    assert (plant.chambers["bath"].limits.lowest_c, plant.chambers["ale"].limits.lowest_c) == (-25.0, -2.0)


def test_margin_over_freezing_cannot_be_negative() -> None:
    with pytest.raises(ValidationError):
        Limits(freezing_margin_k=-0.1)


@pytest.mark.parametrize("zone", ["Mars/Olympus", "../etc/passwd", ""])
def test_zone_that_no_clock_keeps_is_refused_with_an_example(zone: str) -> None:
    with pytest.raises(ValidationError, match="write it like 'Europe/Dublin'"):
        Site(name="barn", timezone=zone)


def test_plant_without_chambers_is_none() -> None:
    with pytest.raises(ValidationError):
        Plant(site=Site(name="barn"), chambers={})


@pytest.mark.parametrize("measure", [one for one in Measure if one is not Measure.TEMPERATURE])
def test_only_thermometers_are_at_a_point(measure: Measure) -> None:
    assert point_of("air", probe(measure.value)) is None
