"""What is made of a guided first run, message by message, and the page about it."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from schemas.base import ServiceName
from schemas.control import Activity, ChamberStatus, GuidedRun
from schemas.journal import Health, JournalEntry, Wellness
from schemas.telemetry import Basis, Quality, Report, TemperatureReading
from services.commands.commissioning_report import CAUTION, NO_PICTURE, page, write
from services.commands.commissioning_watch import CUT_SHORT, DONE, NO_RESULT, Findings, Watched

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
MINUTE = timedelta(minutes=1)


def reading(value: float | None, quality: Quality = Quality.GOOD, chamber: str = "ale") -> TemperatureReading:
    return TemperatureReading(
        at=NOW, source="bridge", chamber=chamber, probe="beer", quality=quality, temperature_c=value
    )


def report(level: float | None) -> Report:
    return Report(at=NOW, source="bridge", chamber="ale", output="cool", level=level, basis=Basis.ECHOED, since=NOW)


def status(guided: GuidedRun | None, at: datetime = NOW) -> ChamberStatus:
    return ChamberStatus(at=at, source="supervisor", chamber="ale", doing=Activity.COOLING, why="Cooling.",
                         setpoint_c=None, guided=guided)  # fmt: skip


def entry(event: str, why: str, at: datetime = NOW) -> JournalEntry:
    return JournalEntry(at=at, source="supervisor", id="1", event=event, who="Ada", why=why, chamber="ale",
                        facts={"cool.verdict": "answered"})  # fmt: skip


def findings(*lines: str, **facts: float | str) -> Findings:
    return Findings(
        "Ada", NOW, lines or ("All is well.",), {name.replace("__", "."): one for name, one in facts.items()}
    )


def begun() -> Watched:
    watched = Watched("ale")
    watched.begin(NOW)
    return watched


PART = GuidedRun(part=1, parts=2, doing="cooling", share=0.25)


def test_run_of_which_nothing_was_judged_is_not_sound() -> None:
    assert not findings().sound


def test_run_in_which_everything_answered_is_sound() -> None:
    assert findings(cool__verdict="answered", heat__verdict="answered").sound


def test_one_output_that_did_not_answer_is_enough_to_be_unsound() -> None:
    assert not findings(cool__verdict="answered", heat__verdict="silent").sound


def test_model_without_parameters_is_empty() -> None:
    assert findings(cool__verdict="answered").model() == []


def test_parameter_comes_with_spread_and_share_learnt() -> None:
    assert findings(model__cooling_w=150.0, **{"model__cooling_w__sd": 12.0}).model() == [
        ("cooling_w", 150.0, 12.0, 0.0)
    ]


def test_course_begins_empty() -> None:
    assert (begun().temperatures(), begun().told, begun().lines()) == ("", False, (NO_RESULT,))


def test_latest_temperature_is_told() -> None:
    watched = begun()
    for value in (18.0, 17.24):
        watched.take(reading(value))
    assert watched.temperatures() == "beer 17.2 degC"


@pytest.mark.parametrize("one", [reading(85.0, Quality.BAD), reading(None), reading(4.0, chamber="bath")])
def test_reading_that_is_not_good_or_of_another_chamber_is_not_drawn(one: TemperatureReading) -> None:
    watched = begun()
    watched.take(one)
    assert watched.curves == {}


def test_output_whose_level_is_unknown_is_not_drawn() -> None:
    watched = begun()
    for level in (1.0, None, 0.0):
        watched.take(report(level))
    assert watched.levels == {"cool": [(NOW, 1.0), (NOW, 0.0)]}


def test_what_came_before_the_acceptance_counts_once_that_is_known() -> None:
    watched = Watched("ale")
    watched.take(status(PART, NOW + MINUTE))
    assert watched.guided is None
    watched.begin(NOW)
    assert watched.guided == PART


def test_status_from_before_the_run_does_not_end_it() -> None:
    watched = begun()
    watched.take(status(None, NOW - MINUTE))
    assert not watched.over


def test_status_without_a_run_ends_it() -> None:
    watched = begun()
    watched.take(status(PART))
    watched.take(status(None))
    assert (watched.over, watched.guided) == (True, None)


def test_result_is_told_line_by_line() -> None:
    watched = begun()
    watched.take(entry(DONE, "It is sound.\n- cool answered"))
    assert (watched.told, watched.lines()) == (True, ("It is sound.", "- cool answered"))


def test_run_that_was_cut_short_is_told_with_why() -> None:
    watched = begun()
    watched.take(entry(CUT_SHORT, "A door is open."))
    assert watched.lines() == ("The guided first run was cut short. A door is open.",)


def test_other_lines_of_the_journal_are_no_end() -> None:
    watched = begun()
    watched.take(entry("compressor-started", "Too warm."))
    assert not watched.told


def test_lost_service_is_noticed() -> None:
    watched = begun()
    watched.take(Health(at=NOW, source="supervisor", service=ServiceName.SUPERVISOR, state=Wellness.LOST))
    assert watched.lost


def test_run_without_a_result_is_not_sound_for_programs() -> None:
    told = begun().plain("")
    assert (told["sound"], told["facts"], told["report"], told["says"]) == (False, {}, None, [NO_RESULT])


def test_report_is_named_for_programs() -> None:
    watched = begun()
    watched.take(entry(DONE, "It is sound."))
    assert {"sound": True, "report": "a.html"}.items() <= watched.plain("a.html").items()


def test_page_without_a_picture_has_no_course() -> None:
    assert "<h2>Course</h2>" not in page(begun(), findings(), "")
    assert "<h2>Course</h2><svg/>" in page(begun(), findings(), "<svg/>")


def test_figure_that_was_not_measured_says_so() -> None:
    assert page(begun(), findings(cool__verdict="silent"), "").count("<td>not measured</td>") == 3


def test_figure_is_written_with_its_spread() -> None:
    measured = findings(cool__verdict="answered", cool__lag_s=61.26, cool__lag_sd_s=4.0)
    assert "<td>61.3 ± 4.0</td>" in page(begun(), measured, "")


def test_findings_become_paragraphs_without_their_dashes() -> None:
    assert "<p>cool answered</p><p>heat answered</p>" in page(
        begun(), findings("A", "- cool answered", "- heat answered"), ""
    )


def test_every_page_has_its_caution() -> None:
    assert CAUTION in page(begun(), findings(), "")


def test_written_page_is_kept_where_it_was_asked_for(tmp_path: Path) -> None:
    kept = write(begun(), findings(), "<svg/>", tmp_path / "a.html")
    assert (kept.path, kept.lacks) == (str(tmp_path / "a.html"), "")
    assert (tmp_path / "a.html").read_text().startswith("<!DOCTYPE html>")


def test_page_without_its_picture_says_what_adds_it(tmp_path: Path) -> None:
    assert write(begun(), findings(), "", tmp_path / "a.html").lacks == NO_PICTURE
