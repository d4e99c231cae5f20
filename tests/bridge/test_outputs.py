"""What outputs really do, and what is said when they do not follow."""

import pytest

from schemas.plant_file import loads
from schemas.telemetry import Basis
from tests.bridge.bench import Bench


def proportional() -> Bench:
    return Bench(
        loads("""
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: a}}
    outputs:
      heat: {drives: heater, proportional: true, to: {mqtt: relay/heat, on: "100", off: "0", retain: true}}
""")
    )


def test_device_that_tells_its_state_is_believed_over_what_it_was_told():
    bench = Bench()
    bench.wait(1)
    bench.command(1, "cool")
    bench.raw("relay/cool/is", "OFF")
    report = bench.reports("cool")[-1]
    assert (report.level, report.basis) == (0.0, Basis.MEASURED)


def test_device_that_tells_its_state_is_unknown_until_it_did():
    bench = Bench()
    bench.wait(5)
    bench.command(1, "cool")
    assert {one.basis for one in bench.reports("cool")} == {Basis.UNKNOWN}


def test_state_that_cannot_be_read_changes_nothing_and_is_counted():
    bench = Bench()
    bench.raw("relay/cool/is", "ON")
    bench.raw("relay/cool/is", "tripped")
    assert bench.reports("cool")[-1].level == 1.0
    assert bench.bridge.counts["wrong_type"] == 1


def test_since_stays_while_the_level_does():
    bench = Bench()
    for _ in range(10):
        bench.wait(20)
        bench.command(1)
    on = [one for one in bench.reports() if one.level == 1]
    assert len(on) > 1
    assert len({one.since for one in on}) == 1


def test_report_of_an_output_that_is_on_is_renewed_every_minute_and_of_one_that_is_off_not():
    bench = Bench()
    for _ in range(30):
        bench.wait(10)
        bench.command(1)
    assert 4 <= len([one for one in bench.reports() if one.level == 1]) <= 6
    assert len([one for one in bench.reports() if one.level == 0]) == 1


@pytest.mark.parametrize(("says", "told"), [("OFF", 1), ("ON", 0)])
def test_output_that_does_not_follow_within_ten_seconds_is_a_condition(says, told):
    bench = Bench()
    bench.wait(20)
    bench.command(told, "cool")
    bench.raw("relay/cool/is", says)
    bench.wait(9)
    assert bench.conditions("output-not-following-cool") == []
    bench.wait(2)
    assert bench.conditions("output-not-following-cool") == [True]


def test_output_that_follows_at_last_ends_the_condition():
    bench = Bench()
    bench.raw("relay/cool/is", "ON")
    bench.wait(12)
    bench.raw("relay/cool/is", "OFF")
    bench.wait(1)
    assert bench.conditions("output-not-following-cool") == [True, False]


def test_relay_found_on_after_a_start_although_told_to_be_off_is_a_condition():
    bench = Bench()
    bench.raw("relay/cool/is", "ON")
    bench.wait(12)
    assert bench.conditions("output-not-following-cool") == [True]


def test_device_that_never_tells_its_state_does_not_follow():
    bench = Bench()
    bench.wait(1)
    bench.command(1, "cool")
    bench.wait(12)
    assert bench.conditions("output-not-following-cool") == [True]


def test_proportional_output_gets_its_share():
    bench = proportional()
    bench.wait(1)
    bench.command(0.25)
    assert (bench.sent()[-1], bench.reports()[-1].level) == (b"25", 0.25)


def test_switch_reports_only_on_and_off():
    bench = Bench()
    bench.wait(1)
    bench.command(0.7)
    assert (bench.sent()[-1], bench.reports()[-1].level) == (b"1", 1.0)


def test_only_off_is_ever_retained_at_the_broker():
    """A retained `on` would reach a relay that comes back long after its lease."""
    bench = proportional()
    bench.wait(1)
    bench.command(1)
    bench.wait(1)
    bench.command(0)
    relay = [(one.body, one.retain) for one in bench.said if one.topic == "relay/heat"]
    assert relay == [(b"0", True), (b"100", False), (b"0", True)]


def test_rejoining_publishes_every_report_and_tells_every_relay_to_be_off():
    bench = Bench()
    bench.wait(1)
    said = list(bench.bridge.rejoin(bench.now))
    assert {one.topic for one in said} == {
        "relay/heat",
        "relay/cool",
        "coldside/barn/report/ale/heat",
        "coldside/barn/report/ale/cool",
    }
