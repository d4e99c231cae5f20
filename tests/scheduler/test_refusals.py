"""What cannot be is refused with its reason, and changes nothing."""

import pytest

from schemas.profiles import Profile
from schemas.requests import Accepted, EditSteps, LogGravity, Refused, StartBatch
from schemas.written import WrittenError
from services.scheduler.profile_file import find_profile, load, loads, names
from tests.scheduler.bench import MONDAY, Bench, days, hours, profile

SERVE = "name: serve, hold: 4 degC"
# the first step, fields of the request, words that the refusal must have
IMPOSSIBLE = [
    ("too cold", "name: a, hold: -1 degC, for: 1 h", {}, ["'a'", "-1 degC", "0 degC to 30 degC"]),
    ("too warm", "name: a, to: 31 degC, over: 1 h", {}, ["31 degC", "ale-fridge"]),
    ("rise too far", "name: a, free_rise: 31 degC, ends: {elapsed: 1 h}", {}, ["31 degC"]),
    ("until the past", "name: a, hold: 18 degC, until: 2026-03-01T18:00:00Z", {}, ["01 Mar 2026 18:00", "past"]),
    ("at the past", "name: a, hold: 18 degC, ends: {at: 2026-03-01 18:00}", {}, ["past"]),
    ("ramp in the past", "name: a, to: 2 degC, over: 1 h, not_before: 2026-03-01T18:00:00Z", {}, ["past"]),
    ("unknown original", "name: a, hold: 18 degC, ends: {attenuation_at_least: 75 %}", {}, ["attenuation"]),
    (
        "unreachable attenuation",
        "name: a, hold: 18 degC, ends: {attenuation_at_least: 84 %}",
        {"original_gravity_sg": 1.05},
        ["84 %", "78 % at most"],
    ),
    (
        "unreachable gravity",
        "name: a, hold: 18 degC, ends: {gravity_at_most: 1.004}",
        {"original_gravity_sg": 1.05},
        ["92 %", "78 % at most"],
    ),
    ("stranger", "name: a, hold: 18 degC, ends: {reached: {batch: nobody, step: x}}", {}, ["nobody", "not here"]),
    ("itself", "name: a, hold: 18 degC, ends: {reached: {batch: 41-pale, step: serve}}", {}, ["wait for each other"]),
]


@pytest.mark.parametrize(
    ("step", "fields", "words"), [row[1:] for row in IMPOSSIBLE], ids=[row[0] for row in IMPOSSIBLE]
)
def test_impossible_programme_is_refused_and_changes_nothing(step: str, fields: dict, words: list[str]) -> None:
    bench = Bench()
    before = bench.scheduler.snapshot().batches
    answer = bench.start(profile(step, SERVE, yeast_attenuation="78 %"), **fields)
    assert isinstance(answer, Refused)
    assert all(word in answer.reason for word in words), answer.reason
    assert bench.scheduler.snapshot().batches == before


def test_batches_that_would_wait_for_each_other_for_ever_are_refused() -> None:
    bench = Bench()
    bench.start(profile("name: a, hold: 4 degC, for: 1 d", "name: b, hold: 5 degC, for: 1 d", SERVE), "first", "third")
    waits = "name: a, hold: 18 degC, ends: {reached: {batch: first, step: serve}}"
    assert isinstance(bench.start(profile(waits, SERVE), "second", "fourth"), Accepted)
    edit = profile("name: c, hold: 4 degC, ends: {reached: {batch: second, step: serve}}", SERVE).steps
    answer = bench.ask(EditSteps, batch="first", first=1, steps=edit)
    assert isinstance(answer, Refused)
    assert "first and second would wait for each other for ever" in answer.reason


def test_unknown_chamber_is_refused_with_those_there_are() -> None:
    answer = Bench().start(profile(SERVE), chamber="cellar")
    assert isinstance(answer, Refused)
    assert "ale-fridge" in answer.remedy


def test_begin_in_the_past_is_refused() -> None:
    assert isinstance(Bench().start(profile(SERVE), begins=MONDAY - hours(1)), Refused)


@pytest.fixture
def running() -> Bench:
    bench = Bench()
    bench.start(
        profile("name: a, hold: 18 degC, for: 3 d", "name: b, hold: 20 degC, for: 1 d", SERVE),
        original_gravity_sg=1.05,
    )
    bench.run(days(3.5))
    return bench


def edit(bench: Bench, first: int, *steps: str, **more: object) -> Accepted | Refused:
    return bench.ask(EditSteps, batch="41-pale", first=first, steps=profile(*steps).steps, why="taste", **more)


def test_edit_to_a_finished_step_is_refused(running: Bench) -> None:
    answer = edit(running, 0, "name: a, hold: 19 degC, for: 3 d", SERVE)
    assert isinstance(answer, Refused)
    assert answer.reason == "step 'a' is finished"


def test_edit_that_leaves_a_step_without_an_end_is_refused(running: Bench) -> None:
    steps = (*profile("name: x, hold: 18 degC").steps, *profile(SERVE).steps)
    answer = running.ask(EditSteps, batch="41-pale", first=1, steps=steps)
    assert isinstance(answer, Refused)
    assert "'x' can never end" in answer.reason


def test_edit_outside_the_limits_is_refused_and_changes_nothing(running: Bench) -> None:
    before = running.scheduler.snapshot().batches
    assert isinstance(edit(running, 1, "name: b, hold: 40 degC"), Refused)
    assert running.scheduler.snapshot().batches == before


def test_edit_of_the_running_step_counts_the_time_already_spent(running: Bench) -> None:
    assert isinstance(edit(running, 1, "name: b, hold: 21 degC, for: 2 d", SERVE), Accepted)
    assert running.setpoint().temperature_c == 21
    assert running.batch().steps[1].ends == MONDAY + days(5)


def test_ramp_that_replaces_the_running_step_starts_from_here_and_now(running: Bench) -> None:
    edit(running, 1, "name: down, to: 10 degC, over: 10 h", SERVE)
    running.run(hours(5))
    assert running.setpoint().temperature_c == pytest.approx(15, abs=0.03)


def test_edit_takes_effect_at_the_moment_it_names(running: Bench) -> None:
    edit(running, 2, "name: cold, hold: 1 degC", effective=MONDAY + days(3.9))
    assert running.batch().steps[2].name == "serve"
    running.run(days(1))
    assert running.setpoint().temperature_c == 1


def test_edit_that_comes_too_late_for_its_step_is_dropped_with_the_reason(running: Bench) -> None:
    edit(running, 1, "name: b, hold: 21 degC, for: 2 d", SERVE, effective=MONDAY + days(4.5))
    running.run(days(2))
    dropped = next(one for one in running.journal if one.event == "edit-dropped")
    assert dropped.why == "step 'b' is finished"


def test_planned_edit_survives_a_power_cut(running: Bench) -> None:
    edit(running, 2, "name: cold, hold: 1 degC", effective=MONDAY + days(3.6))
    running.sleep(days(1))
    assert running.setpoint().temperature_c == 1


def test_gravity_above_the_original_is_refused(running: Bench) -> None:
    assert isinstance(running.ask(LogGravity, batch="41-pale", hydrometer_sg=1.06), Refused)


def test_gravity_of_tomorrow_is_refused(running: Bench) -> None:
    tomorrow = running.now + days(1)
    assert isinstance(running.ask(LogGravity, batch="41-pale", hydrometer_sg=1.02, taken=tomorrow), Refused)


def test_gravity_without_a_reading_is_refused(running: Bench) -> None:
    assert isinstance(running.ask(LogGravity, batch="41-pale"), Refused)


# a step as a person might write it, and words of what they are told
MISWRITTEN = [
    ("name: a, hold: 18", ["steps.0.hold", "18 has no unit", "18 degC"]),
    ("name: a, hold: 18 degC, fro: 3 d", ["steps.0.fro", "did you mean 'for'"]),
    ("name: a, hold: 18 degC, for: 3 d, until: 2026-03-01T18:00:00Z", ["'for' and 'until'", "keep one"]),
    ("name: a, warm: 18 degC", ["does not say what to do", "hold: 18 degC"]),
    ("name: a, to: 18 degC", ["needs 'over' or 'rate'"]),
    ("name: a, hold: 18 degC, ends: {gravity_at_most: 12 degC}", ["gravity_at_most"]),
    ("name: a, hold: 18 degC, ends: {elapsd: 3 d}", ["is no trigger known here", "elapsed"]),
    ("name: a, hold: 18 degC, ends: {next: Friday}", ["'Friday' is no local time", "Fri 18:00"]),
    ("name: a, hold: 18 degC, ends: {all: []}", ["'ends' is empty"]),
    ("name: a, hold: 18 degC, for: 3 d, earliest: 5 d, latest: 4 d", ["'earliest' after 'latest'"]),
    ("name: a, hold: 18 degC, for: 3 d, alarm_above: 17 degC, alarm_below: 18 degC", ["swap them"]),
    ("name: serve, hold: 18 degC, for: 3 d", ["two steps are named 'serve'"]),
    ("name: a, hold: 18 degC", ["'a' can never end", "add 'for: 3 d'"]),
    ("name: a, free_rise: 22 degC", ["'a' can never end"]),
    ("name: a, hold: 18 degC, ends: {gravity_stable: {over: 1 h}}", ["gravity_stable.over"]),
]


@pytest.mark.parametrize(("step", "words"), MISWRITTEN, ids=[row[0] for row in MISWRITTEN])
def test_miswritten_profile_is_told_with_line_field_and_remedy(step: str, words: list[str]) -> None:
    text = f"profile: trial\nsteps:\n  - {{{step}}}\n  - {{{SERVE}}}\n"
    with pytest.raises(WrittenError) as caught:
        loads(text, "mine.yaml")
    said = str(caught.value)
    assert all(word in said for word in words), said
    assert said.startswith(("mine.yaml:3", "mine.yaml:1"))


def test_every_step_without_an_end_is_allowed_only_last() -> None:
    assert profile("name: a, hold: 18 degC").steps[0].name == "a"


@pytest.mark.parametrize("name", names())
def test_profile_that_comes_along_can_be_started(name: str) -> None:
    assert isinstance(Bench().start(find_profile(name), original_gravity_sg=1.050), Accepted)


@pytest.mark.parametrize("name", names())
def test_profile_that_comes_along_says_that_it_is_a_starting_point(name: str) -> None:
    from services.scheduler.profile_file import LIBRARY

    path = LIBRARY / f"{name}.yaml"
    assert "common practice" in path.read_text().splitlines()[0]
    assert load(path).profile == name


def test_unknown_profile_is_refused_with_those_there_are() -> None:
    with pytest.raises(WrittenError, match="name one of .*lager"):
        find_profile("porter")


@pytest.mark.parametrize("name", names())
def test_profile_survives_the_wire(name: str) -> None:
    sent = find_profile(name)
    assert Profile.model_validate_json(sent.model_dump_json()) == sent


def test_start_of_a_long_profile_fits_into_a_message() -> None:
    wait = "ends: {all: [{attenuation_at_least: 75 %}, {gravity_stable: {over: 48 h}}, {next: 'Fri 18:00'}]}"
    long = profile(*(f"name: step number {n}, hold: 18 degC, latest: 9 d, {wait}" for n in range(29)), SERVE)
    request = StartBatch(
        at=MONDAY, source="cli", id="x", client="cli", who="Ada", batch="b", chamber="third", profile=long
    )
    assert len(request.model_dump_json()) < 16_000
