"""Profiles as people write them: what is understood, and what nobody could go through."""

from datetime import UTC, datetime
from typing import Any

import pytest
from pydantic import ValidationError

from schemas.ends import Ends
from schemas.profiles import FreeRiseStep, HoldStep, Profile, RampStep, never_ends, problem_with
from schemas.written import WrittenError, build, read

START = "profile: p\nsteps:\n"


def written(*steps: str) -> Profile:
    return build(Profile, read(START + "".join(f"  - {{{step}}}\n" for step in steps), "p.yaml"))


def refusal(*steps: str) -> str:
    with pytest.raises(WrittenError) as caught:
        written(*steps)
    return str(caught.value)


def hold(**more: Any) -> HoldStep:
    return HoldStep(name="rest", hold_c=18.0, **more)


@pytest.mark.parametrize(
    ("step", "kind"),
    [
        ("name: a, hold: 18 degC", HoldStep),
        ("name: a, to: 2 degC, over: 1 d", RampStep),
        ("name: a, free_rise: 22 degC", FreeRiseStep),
    ],
)
def test_what_a_step_does_is_told_by_its_key(step: str, kind: type) -> None:
    assert isinstance(written(step).steps[0], kind)


def test_step_that_does_nothing_is_refused_with_what_it_could_do() -> None:
    assert "write 'hold: 18 degC', 'to: 2 degC' or 'free_rise: 22 degC'" in refusal("name: a, for: 1 d")


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("name: a, hold: 18 degC, for: 1 d, until: 2026-11-25T10:00:00Z", "both 'for' and 'until'"),
        ("name: a, hold: 18 degC, for: 1 d, ends: {word: ready}", "both 'for' and 'ends'"),
        ("name: a, to: 2 degC", "needs 'over' or 'rate'"),
        ("name: a, to: 2 degC, over: 1 d, rate: 1 K/h", "needs 'over' or 'rate', and not both"),
        ("name: a, hold: 18 degC, earliest: 2 d, latest: 1 d", "'earliest' after 'latest'"),
        ("name: a, hold: 18 degC, alarm_above: 17 degC, alarm_below: 17 degC", "'alarm_above' not above"),
        ("name: a, hold: 18", "18 degC"),
        ("name: a, hold: 18 degC, for: 70 d", "less than or equal to 5184000"),
        ("name: a, hold: 18 degC, tolerance: 0 K", "greater than 0"),
    ],
)
def test_step_that_contradicts_itself_is_refused_with_the_remedy(step: str, words: str) -> None:
    assert words in refusal(step)


def test_refusal_names_the_line_of_the_step() -> None:
    assert refusal("name: a, hold: 18 degC, for: 1 d", "name: b, to: 2 degC").startswith("p.yaml:4: steps.1")


def test_two_steps_of_one_name_are_refused() -> None:
    assert "two steps are named 'a'" in refusal("name: a, hold: 18 degC, for: 1 d", "name: a, hold: 2 degC")


def test_step_without_an_end_may_only_be_the_last() -> None:
    assert "step 'a' can never end" in refusal("name: a, hold: 18 degC", "name: b, hold: 2 degC")
    assert len(written("name: a, hold: 18 degC, for: 1 d", "name: b, hold: 2 degC").steps) == 2


def test_profile_without_steps_is_refused() -> None:
    with pytest.raises(ValidationError, match="at least 1"):
        Profile(profile="p", steps=())


def test_hold_that_waits_for_a_person_has_an_end() -> None:
    assert not never_ends(hold(ends=Ends.model_validate({"word": "ready"})))


def test_hold_without_any_end_never_ends() -> None:
    assert never_ends(hold())


def test_lateness_ends_a_step_only_where_it_is_told_to_go_on() -> None:
    late = [hold(latest_s=3600.0, when_late=when) for when in ("wait", "hold-and-call", "go-on")]
    assert [never_ends(step) for step in late] == [True, True, False]


def test_ramp_ends_by_itself() -> None:
    assert not never_ends(RampStep(name="down", to_c=2.0, over_s=3600.0))


def test_free_rise_needs_something_that_ends_it() -> None:
    assert never_ends(FreeRiseStep(name="up", free_rise_c=22.0))


def test_no_steps_have_no_problem() -> None:
    assert problem_with(()) == ""


@pytest.mark.parametrize("from_c", [18.0, -14.0])
def test_ramp_by_rate_takes_as_long_up_as_down(from_c: float) -> None:
    assert RampStep(name="down", to_c=2.0, rate_k_per_h=2.0).seconds_from(from_c) == 8 * 3600


def test_ramp_over_a_span_takes_it_from_anywhere() -> None:
    assert RampStep(name="down", to_c=2.0, over_s=7200.0).seconds_from(2.0) == 7200.0


def test_ramp_by_rate_from_where_it_ends_takes_no_time() -> None:
    assert RampStep(name="down", to_c=2.0, rate_k_per_h=2.0).seconds_from(2.0) == 0.0


def test_profile_survives_the_wire() -> None:
    profile = written("name: a, free_rise: 22 degC, ends: {elapsed: 3 d}", "name: b, to: 2 degC, rate: 1 K/h")
    assert Profile.model_validate_json(profile.model_dump_json()) == profile


def test_what_nobody_said_is_not_sent() -> None:
    assert not {"until", "latest_s", "pressure_bar"} & hold(for_s=60.0).model_dump().keys()


def test_until_without_an_offset_is_refused() -> None:
    assert "timezone" in refusal("name: a, hold: 18 degC, until: '2026-11-25T10:00:00'")


def test_until_is_kept_in_utc() -> None:
    step = written("name: a, hold: 18 degC, until: '2026-11-25T10:00:00+01:00'").steps[0]
    assert isinstance(step, HoldStep)
    assert step.until == datetime(2026, 11, 25, 9, tzinfo=UTC)
