"""A step goes into a form and comes back the same; what makes no step is said beside its field."""

from zoneinfo import ZoneInfo

import pytest

from schemas.profiles import Profile
from services.console.desk.drafts import (
    ENDS,
    KINDS,
    SUCH_AS,
    Draft,
    DraftError,
    draft_of,
    ends_for,
    step_of,
    unfinished,
    words_of,
)
from services.console.desk.forms import METRIC
from services.console.desk.writing import profile_text, span
from services.scheduler.profile_file import find_profile, loads, names

DUBLIN = ZoneInfo("Europe/Dublin")
FAHRENHEIT = {"degC": "degF", "K step": "degF"}
ODD = """
profile: odd
steps:
  - {name: a, hold: 18 degC, until: 2030-05-03T18:00:00+01:00, alarm_below: 12 degC, pressure: 0.5 bar}
  - {name: b, to: 2 degC, over: 30 h, not_before: 2030-06-03T18:00:00+01:00, ends: {next: "Fri 18:00"}}
  - {name: c, hold: 2 degC, ends: {gravity_stable: {within: 0.002, over: 3 d}, least_attenuation: 70 %}}
  - {name: d, free_rise: 22 degC, ends: {any: [{reached: {batch: x, step: y}}, {at: 2030-08-01 12:00}]}, latest: 9 d}
  - {name: e, hold: 3 degC, ends: {within_tolerance: 36 h}, when_late: go-on, latest: 90 s}
  - {name: f, hold: 3 degC, ends: {word: "Yes?"}, instruction: "Rack it, then rest."}
  - {name: g, hold: 4 degC}
"""


def profiles() -> list[Profile]:
    return [loads(ODD), *(find_profile(name) for name in names())]


@pytest.mark.parametrize("profile", profiles(), ids=lambda one: one.profile)
def test_every_step_comes_back_from_its_form_unchanged(profile: Profile) -> None:
    assert tuple(step_of(draft_of(step, METRIC, DUBLIN), METRIC, DUBLIN) for step in profile.steps) == profile.steps


@pytest.mark.parametrize("profile", profiles(), ids=lambda one: one.profile)
def test_a_profile_written_out_reads_as_the_same_profile(profile: Profile) -> None:
    assert loads(profile_text(profile, METRIC, DUBLIN)) == profile


def test_a_form_speaks_the_readers_units() -> None:
    draft = draft_of(loads(ODD).steps[2], FAHRENHEIT, DUBLIN)
    assert draft.target == "35.6 degF"
    assert step_of(draft.but(target="36"), FAHRENHEIT, DUBLIN).hold_c == pytest.approx(2.222, abs=0.001)


def test_a_local_time_is_meant_on_the_sites_clocks() -> None:
    draft = Draft("wait", "hold", "18", "until", "2030-07-01 18:00")
    assert step_of(draft, METRIC, DUBLIN).until.isoformat() == "2030-07-01T17:00:00+00:00"


@pytest.mark.parametrize(
    ("draft", "field", "says"),
    [
        (Draft("", "hold", "18", "for", "3 d"), "name", "name"),
        (Draft("a", "hold", "warm", "for", "3 d"), "target", "18 degC"),
        (Draft("a", "hold", "900", "for", "3 d"), "target", "150"),
        (Draft("a", "hold", "18", "for", "3"), "value", "unit"),
        (Draft("a", "hold", "18", "for", "-3 d"), "value", "0"),
        (Draft("a", "to", "2", "rate", "0"), "value", "0.001"),
        (Draft("a", "hold", "18", "gravity_at_most", "low"), "value", "number"),
        (Draft("a", "hold", "18", "next", "someday"), "value", "Fri 18:00"),
        (Draft("a", "hold", "18", "written", "{any: ["), "value", "cannot be read"),
        (Draft("a", "hold", "18", "written", "{sometime: 3 d}"), "value", "no trigger"),
        (Draft("a", "hold", "18", "for", "3 d", {"tolerance": "-1"}), "tolerance", "0"),
        (Draft("a", "hold", "18", "for", "3 d", {"when_late": "panic"}), "when_late", "wait"),
    ],
)
def test_what_makes_no_step_is_said_beside_its_field(draft: Draft, field: str, says: str) -> None:
    with pytest.raises(DraftError) as caught:
        step_of(draft, METRIC, DUBLIN)
    assert says in caught.value.problems[field]


def test_what_concerns_two_fields_is_said_of_the_whole() -> None:
    draft = Draft("a", "hold", "18", "gravity_at_most", "1.012", {"earliest": "9 d", "latest": "2 d"})
    with pytest.raises(DraftError, match="swap them") as caught:
        step_of(draft, METRIC, DUBLIN)
    assert list(caught.value.problems) == [""]


@pytest.mark.parametrize("kind", KINDS)
def test_every_way_to_end_is_shown_with_an_example_that_is_right(kind: str) -> None:
    for ends in ends_for(kind):
        assert step_of(Draft("a", kind, "18", ends, SUCH_AS.get(ends, "")), METRIC, DUBLIN).name == "a"


def test_a_kind_that_cannot_end_so_gets_an_end_that_it_can_have() -> None:
    assert Draft("a", "hold", "18", "word", "Yes?").but(kind="to").ends == "over"
    assert set(ends_for("hold")) >= set(ENDS) - {"elapsed", "at"}


@pytest.mark.parametrize(
    ("seconds", "said"), [(259200, "3 d"), (129600, "36 h"), (90, "90 s"), (5400, "90 min"), (0, "0 s")]
)
def test_a_span_is_said_exactly(seconds: float, said: str) -> None:
    assert span(seconds) == said


@pytest.mark.parametrize(
    ("draft", "said"),
    [
        (Draft("a", "hold", "18 degC", "for", "3 d"), "holds 18 °C for 3 d"),
        (Draft("a", "to", "36 degF", "rate", "1 K/h"), "moves to 36 °F by 1 K/h"),
        (
            Draft("a", "free_rise", "22 degC", "word", "Done?"),
            "warms by itself, up to 22 °C until somebody says: Done?",
        ),
        (Draft("a", "hold", "4 degC", "by hand", ""), "holds 4 °C until somebody moves it on"),
    ],
)
def test_a_step_is_said_in_a_few_words(draft: Draft, said: str) -> None:
    assert words_of(draft) == said


def test_a_new_step_lacks_nothing_but_its_name() -> None:
    with pytest.raises(DraftError) as caught:
        step_of(unfinished(FAHRENHEIT), FAHRENHEIT, DUBLIN)
    assert list(caught.value.problems) == ["name"]
