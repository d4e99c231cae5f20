"""Silent and implausible probes are said once when they begin and once when they end."""

from datetime import timedelta

from schemas.plant_file import loads
from tests.bridge.bench import START, Bench

SILENT, IMPLAUSIBLE = "probe-silent-beer", "probe-implausible-beer"


def talk(bench: Bench, payload: str, seconds: float) -> None:
    """The beer probe says this every ten seconds."""
    for _ in range(round(seconds / 10)):
        bench.read(payload)
        bench.wait(10)


def test_probe_that_says_nothing_for_a_minute_is_silent():
    bench = Bench()
    bench.wait(60)
    assert bench.conditions(SILENT) == []
    bench.wait(1)
    assert bench.conditions(SILENT) == [True]


def test_silence_is_said_once_however_long_it_lasts():
    bench = Bench()
    bench.wait(900)
    assert bench.conditions(SILENT) == [True]


def test_probe_heard_again_is_no_longer_silent():
    bench = Bench()
    bench.wait(70)
    talk(bench, "18", 10)
    assert bench.conditions(SILENT) == [True, False]


def test_probe_that_talks_nonsense_is_implausible_and_not_silent():
    bench = Bench()
    talk(bench, "warm", 120)
    assert (bench.conditions(SILENT), bench.conditions(IMPLAUSIBLE)) == ([False], [True])


def test_single_bad_value_is_no_condition():
    bench = Bench()
    talk(bench, "18", 60)
    talk(bench, "85", 20)
    talk(bench, "18", 60)
    assert not any(bench.conditions(IMPLAUSIBLE))


def test_probe_is_believed_again_after_a_few_good_values():
    bench = Bench()
    talk(bench, "warm", 60)
    talk(bench, "18", 20)
    assert bench.conditions(IMPLAUSIBLE) == [True]
    talk(bench, "18", 10)
    assert bench.conditions(IMPLAUSIBLE) == [True, False]


def test_condition_says_what_is_wrong():
    bench = Bench()
    talk(bench, "-127", 60)
    detail = next(one.body.detail for one in bench.said if one.topic.endswith(IMPLAUSIBLE))
    assert "-127 degC is below -10 degC" in detail


def test_retained_leftover_does_not_break_the_silence():
    bench = Bench()
    for _ in range(7):
        bench.read("18", retained=True)
        bench.wait(10)
    assert bench.conditions(SILENT) == [True]


def test_contact_that_speaks_only_when_it_changes_is_not_silent():
    bench = Bench()
    bench.wait(600)
    assert bench.conditions("probe-silent-door") == []


def test_contact_whose_pace_the_plant_file_tells_may_be_silent():
    plant = loads("""
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: a}}
      door: {measures: contact, from: {mqtt: b}, every: 10 s}
""")
    bench = Bench(plant)
    bench.wait(70)
    assert bench.conditions("probe-silent-door") == [True]


def test_clock_set_forward_makes_nobody_silent():
    bench = Bench()
    talk(bench, "18", 60)
    bench.now += timedelta(hours=2)
    bench.keep(bench.bridge.clock_stepped(timedelta(hours=2), bench.now))
    bench.wait(5)
    assert not any(bench.conditions(SILENT))


def test_condition_that_stood_before_a_restart_is_taken_back_when_it_is_over():
    before = Bench()
    before.wait(70)
    bench = Bench(restored=before.bridge.snapshot())
    talk(bench, "18", 10)
    assert bench.conditions(SILENT) == [False]


def test_condition_that_was_forgotten_in_a_crash_is_taken_back_too():
    """The broker still holds it; so each condition is stated once after a start, true or not."""
    bench = Bench()
    talk(bench, "18", 30)
    assert (bench.conditions(SILENT), bench.conditions(IMPLAUSIBLE)) == ([False], [False])


def test_rejoining_publishes_what_was_stated():
    bench = Bench()
    bench.wait(70)
    said = [one for one in bench.bridge.rejoin(bench.now) if one.topic.endswith(SILENT)]
    assert [(one.body.active, one.retain) for one in said] == [(True, True)]


def test_stuck_air_probe_becomes_implausible_while_the_compressor_runs():
    bench = Bench()
    for count in range(800):
        bench.raw("node/all", f'{{"p":[{4 + min(count, 200) % 2 * 0.1}],"door":0,"at":"{bench.now.isoformat()}"}}')
        bench.command(1, "cool")
        bench.wait(10, tick_s=10)
    assert bench.conditions("probe-implausible-air")[-1] is True
    assert "exactly 4" in next(one.body.reason for one in reversed(bench.said) if one.topic.endswith("reading/ale/air"))
    assert bench.now > START
