"""The tables and sentences of a chamber's page, and putting a probe right."""

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from schemas.alarms import Condition
from schemas.control import Estimate
from schemas.plant import Calibration
from schemas.telemetry import ContactReading, GravityReading, PressureReading, Quality
from services.console.board import particulars
from services.console.board.calibrating import advise, as_read
from services.console.sources import Annotation
from services.console.units import Units
from tests.console.board.material import NOON, NOW_MS, setpoint
from tests.console.board.test_figures import US, live, reading, report, status

ZONE = ZoneInfo("Europe/Dublin")


def test_every_probe_has_a_row_with_its_value_quality_and_age() -> None:
    rows = particulars.probe_rows(live(reading(18.04)), "ale-fridge", Units())
    assert [row.cells[0] for row in rows] == ["<b>beer</b>", "<b>air</b>", "<b>door</b>"]
    assert "18.04 °C" in rows[0].cells[2]
    assert f'data-at="{NOW_MS}"' in rows[0].cells[2]
    assert rows[1].cells[3] == "not heard of"


def test_every_output_says_what_it_does_and_how_that_is_known() -> None:
    rows = particulars.output_rows(live(report("cool", 1.0), report("heat", None)), "ale-fridge")
    assert [row.cells[2] for row in rows] == ["<b>● on</b>", "<b>◌ not known</b>", "<b>not heard of</b>"]
    assert rows[0].cells[5] == "only sent, not told back"


@pytest.mark.parametrize(("kind", "field", "value", "words"), [
    (ContactReading, "is_open", True, "open"), (GravityReading, "gravity_sg", 1.0124, "1.0124"),
    (PressureReading, "pressure_bar", 0.95, "13.8 psi"),
])  # fmt: skip
def test_other_measures_have_their_own_figures(kind: type, field: str, value: float, words: str) -> None:
    one = kind(at=NOON, source="bridge", chamber="conical", probe="x", quality=Quality.GOOD, **{field: value})
    assert particulars.shown(one, US) == words


def test_belief_names_its_certainty() -> None:
    believed = status().model_copy(
        update={"estimate": Estimate(beer_c=18.0, beer_sd_k=0.1, heat_w=12.0, certainty=0.2)}
    )
    said = " ".join(particulars.belief(believed, Units()))
    assert "give or take 0.10 K" in said
    assert "20 %, hardly" in said
    assert particulars.belief(None, Units()) == ["No estimate yet: it takes good readings for a while."]


def test_own_setpoint_is_told_apart_from_the_programme() -> None:
    own = particulars.own_setpoint(setpoint(5.0, expires=NOON + timedelta(hours=4)), ZONE, Units())
    assert own == "A person has asked for 5.0 °C until Wed 3 Jun, 17:00; then the programme goes on."
    assert "the step “crash”" in particulars.own_setpoint(setpoint(1.0, step="crash"), ZONE, Units())
    assert particulars.own_setpoint(None, ZONE, Units()) == "Nothing is asked of this chamber."


def test_events_are_newest_first_and_without_the_running_account() -> None:
    said = [
        Annotation("1", NOW_MS, "journal", "batch-started", who="ann", text="begins"),
        Annotation("2", NOW_MS + 1, "status", "cooling"),
        Annotation("3", NOW_MS + 2, "condition", "door-open", facts={"active": True}),
    ]
    assert [row.cells[1] for row in particulars.event_rows(said, ZONE)] == ["door open begins", "batch started"]


def test_nothing_that_people_write_is_markup() -> None:
    said = [Annotation("1", NOW_MS, "journal", "note", who="<b>", text="<script>")]
    assert particulars.event_rows(said, ZONE)[0].cells[2:] == ("&lt;b&gt;", "&lt;script&gt;")


@pytest.mark.parametrize(("active", "words"), [(True, "by ann, a new door seal"), (False, "")])
def test_lock_out_is_told_while_it_holds(active: bool, words: str) -> None:
    known = live(Condition(at=NOON, source="supervisor", chamber="ale-fridge", name="locked-out", active=active,
                           since=NOON, detail="by ann, a new door seal"))  # fmt: skip
    assert particulars.condition_words(known, "ale-fridge", "locked-out") == words
    assert particulars.condition_words(known, "bath", "locked-out") == ""


def test_ice_water_alone_shifts_a_probe() -> None:
    found = advise("beer", None, [(0.40, 0.0)])
    assert found.block == "beer:\n  calibration: {reads: [0.40], true: [0.00]}"
    assert found.shift_k == pytest.approx(-0.40)


def test_two_points_put_right_what_they_were_taken_at() -> None:
    found = advise("beer", None, [(20.10, 20.0), (0.40, 0.0)])
    assert found.block == "beer:\n  calibration: {reads: [0.40, 20.10], true: [0.00, 20.00]}"
    for shows, true in ((0.40, 0.0), (20.10, 20.0)):
        assert found.shift_k + found.slope * shows == pytest.approx(true)


@pytest.mark.parametrize("pairs", [[(9.0, 0.0)], [(0.0, 0.0), (1.0, 1.0)], [(0.0, 0.0), (20.0, 40.0)]])
def test_probe_that_far_off_is_not_put_right_but_called_broken(pairs: list[tuple[float, float]]) -> None:
    found = advise("beer", None, pairs)
    assert found.block == ""
    assert found.problem


@pytest.mark.parametrize(
    "known", [Calibration(reads=(0.4,), true=(0.0,)), Calibration(reads=(0.4, 20.1), true=(0.0, 20.0))]
)
def test_what_was_put_right_before_is_undone_first(known: Calibration) -> None:
    assert as_read(0.0, known) == pytest.approx(0.4)
    assert advise("beer", known, [(0.1, 0.0)]).block.startswith("beer:\n  calibration: {reads: [0.50], true: [0.00]}")
