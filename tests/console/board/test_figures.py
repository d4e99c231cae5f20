"""What stands at a lane's end, and the line on how the machinery stands."""

from datetime import timedelta
from pathlib import Path

import pytest

from schemas.alarms import Alarm, AlarmPhase, Condition, Priority
from schemas.base import ServiceName
from schemas.control import Activity, ChamberStatus
from schemas.journal import Health, Wellness
from schemas.plant_file import load
from schemas.telemetry import Basis, Quality, Report, TemperatureReading
from services.console.board.composing import Past, alarm_marks, compose, door_marks, freezes_at_c, kind_words
from services.console.board.figures import draw, figure_of
from services.console.board.load import draw_load, draw_load_figure, load_now
from services.console.board.scene import View
from services.console.board.sheet import head
from services.console.board.standing import remarks, standing_alarms, waiting_words
from services.console.board.window import DAY_MS, Window, around, milliseconds
from services.console.live import Live
from services.console.sources import Annotation
from services.console.units import Units
from tests.console.board.material import NOON, NOW_MS, batch, line, setpoint, step

BARN = load(Path("services/simulator/barn.yaml"))
US = Units("degF", "psi", "gal")


def live(*messages: object) -> Live:
    """A mirror that has heard so much."""
    found = Live(BARN)
    for one in messages:
        found.take(one, NOON)  # type: ignore[arg-type]
    return found


def reading(celsius: float | None, quality: Quality = Quality.GOOD, reason: str = "") -> TemperatureReading:
    return TemperatureReading(at=NOON, source="bridge", chamber="ale-fridge", probe="beer", quality=quality,
                              reason=reason, temperature_c=celsius)  # fmt: skip


def status(why: str = "Compressor resting, 2 min left.") -> ChamberStatus:
    return ChamberStatus(at=NOON, source="supervisor", chamber="ale-fridge", doing=Activity.WAITING, why=why,
                         setpoint_c=18.0)  # fmt: skip


def alarm(name: str, priority: Priority, phase: AlarmPhase = AlarmPhase.UNACKNOWLEDGED, minutes: int = 0) -> Alarm:
    at = NOON + timedelta(minutes=minutes)
    return Alarm(at=at, source="notifier", chamber="ale-fridge", name=name, phase=phase, priority=priority, since=at,
                 detail="d", cause="c", consequence="q", response="r")  # fmt: skip


def health(service: ServiceName, state: Wellness = Wellness.RUNNING) -> Health:
    return Health(at=NOON, source=service.value, service=service, state=state)


def report(output: str, level: float | None) -> Report:
    return Report(
        at=NOON, source="bridge", chamber="ale-fridge", output=output, level=level, basis=Basis.ECHOED, since=NOON
    )


def test_figure_says_how_warm_what_is_wanted_what_it_does_and_why() -> None:
    shown = draw(figure_of(live(reading(18.26), status()), "ale-fridge", Units()))
    for part in ("18.3", "°C", "18.0", "Waiting.", "Compressor resting, 2 min left.", f'data-at="{NOW_MS}"'):
        assert part in shown


def test_figure_is_in_the_visitors_units() -> None:
    found = figure_of(live(reading(20.0), status()), "ale-fridge", US)
    assert (found.value, found.unit, found.wanted) == ("68.0", "°F", "64.4")


def test_chamber_that_was_not_heard_of_shows_no_number() -> None:
    found = figure_of(live(), "ale-fridge", Units())
    assert (found.value, found.doing, found.at_ms) == ("––", "Not heard of yet", None)
    assert "data-at" not in draw(found)


def test_reading_that_is_not_good_says_why() -> None:
    found = figure_of(live(reading(85.0, Quality.BAD, "85.0 degC is the power-on value")), "ale-fridge", Units())
    assert found.doubt == "85.0 degC is the power-on value"


@pytest.mark.parametrize(("priority", "look"), [(Priority.CRITICAL, "grave"), (Priority.HIGH, "grave"),
                                                (Priority.MEDIUM, "notice"), (Priority.LOW, "notice")])  # fmt: skip
def test_trouble_is_told_by_words_and_a_sign_not_by_colour_alone(priority: Priority, look: str) -> None:
    shown = draw(figure_of(live(reading(25.0), alarm("beer-too-warm", priority)), "ale-fridge", Units()))
    assert f'class="reading {look}"' in shown
    assert "Beer too warm" in shown
    assert (">!<" if look == "grave" else ">△<") in shown


def test_most_urgent_alarm_speaks_and_the_others_are_counted() -> None:
    known = live(alarm("door-open", Priority.MEDIUM), alarm("beer-too-warm", Priority.CRITICAL, minutes=5),
                 alarm("heading-out", Priority.HIGH))  # fmt: skip
    found = figure_of(known, "ale-fridge", Units())
    assert (found.alarm, found.more) == ("Beer too warm", 2)


def test_shelved_alarm_is_no_trouble_and_waits_for_nobody() -> None:
    known = live(alarm("door-open", Priority.HIGH, AlarmPhase.SHELVED))
    assert figure_of(known, "ale-fridge", Units()).trouble == "none"
    assert standing_alarms(known) == []
    assert waiting_words(known) == ""


def test_alarms_that_wait_are_counted_in_words() -> None:
    one = live(alarm("door-open", Priority.LOW), alarm("leak", Priority.LOW, AlarmPhase.ACKNOWLEDGED))
    assert waiting_words(one) == "1 alarm waits for you"
    one.take(alarm("beer-too-warm", Priority.HIGH), NOON)
    assert waiting_words(one) == "2 alarms wait for you"


def test_all_well_has_no_remark() -> None:
    assert remarks(live(health(ServiceName.BRIDGE)), None, NOON + timedelta(seconds=20)) == []


def test_silent_and_lost_services_are_named_with_the_time() -> None:
    known = live(health(ServiceName.BRIDGE), health(ServiceName.RECORDER, Wellness.LOST))
    said = [one.text for one in remarks(known, None, NOON + timedelta(seconds=50))]
    assert said == ["The bridge is silent since 13:00.", "The recorder is gone since 13:00."]


def test_without_a_broker_only_that_is_said_of_services() -> None:
    said = remarks(live(health(ServiceName.BRIDGE)), NOON, NOON + timedelta(hours=1))
    assert [one.grave for one in said] == [True]
    assert said[0].text.startswith("The broker is gone since 13:00")


def test_store_that_is_behind_and_a_refused_plant_file_are_told() -> None:
    known = live(Condition(at=NOON, source="recorder", chamber="site", name="store-behind", active=True, since=NOON,
                           detail="1200 rows wait"))  # fmt: skip
    known.refuse_plant("line 3: no such chamber")
    assert [one.grave for one in remarks(known, None, NOON)] == [False, False]


def test_load_adds_what_is_on_and_counts_the_unknown_as_on() -> None:
    found = load_now(live(report("cool", 1.0), report("heat", None), report("fan", 1.0)), "garage-ring")
    assert found.amperes == pytest.approx((95 + 60) / 230)
    assert (found.running, found.unsure) == (["Ale fridge: compressor"], ["Ale fridge: heater"])
    assert "Counted as on, not known: Ale fridge: heater" in draw_load_figure(found)


def test_load_lane_shows_its_limit_even_without_a_past() -> None:
    window = around(NOW_MS)
    view = View(window, NOW_MS, BARN.zone, Units())
    loads = line([0.5, 2.0, 1.0], Window(window.start_ms, NOW_MS))
    assert "2.0 A at most" in draw_load(loads, 10.0, view, "Garage ring")
    assert 'class="limit"' in draw_load(Past().beer, 10.0, view, "Garage ring")


def test_lane_is_put_together_from_history_bus_and_plan() -> None:
    window = around(NOW_MS)
    past = Past(beer=line([18.0] * 90, Window(window.start_ms, NOW_MS)))
    known = live(reading(18.2), setpoint(18.0), batch(step("ferment", -24, 24, 18.0)), status())
    lane = compose(known, "ale-fridge", past, window, NOW_MS)
    assert lane.beer.last[-1] == 18.2
    assert lane.forecast is not None
    assert [one.name for one in lane.steps] == ["ferment"]


def test_nothing_is_foreseen_from_readings_long_past() -> None:
    window = around(NOW_MS)
    past = Past(beer=line([18.0] * 90, Window(window.start_ms, NOW_MS - 2 * DAY_MS)))
    assert compose(live(setpoint(18.0)), "ale-fridge", past, window, NOW_MS).forecast is None


def test_bath_shows_where_its_coolant_freezes_and_what_the_supervisor_aims_at() -> None:
    known = live(status().model_copy(update={"chamber": "bath", "setpoint_c": 2.0}))
    lane = compose(known, "bath", Past(), around(NOW_MS), NOW_MS)
    assert [round(one.value_c) for one in lane.limits] == [-13]
    assert [celsius for _, celsius in lane.ahead] == [2.0]
    assert freezes_at_c(BARN.chambers["ale-fridge"]) is None


def test_head_says_which_beer_and_what_kind_of_chamber() -> None:
    shown = head(live(batch(step("ferment", -1, 1, 18.0))), "ale-fridge", Units())
    assert "Oat pale" in shown
    assert "fridge, beer in air" in shown
    assert kind_words(BARN, "conical", Units()) == "jacket, cooled by glycol bath"
    assert kind_words(BARN, "bath", US).endswith("begins to freeze at 9 °F")


def test_each_opening_of_a_door_is_one_mark() -> None:
    doors = line([0, 1, 1, 0, 0, 1, 0], Window(0, 7 * 3_600_000))
    assert len(list(door_marks(doors))) == 2


def test_alarm_is_marked_once_when_it_calls_and_not_when_it_ends() -> None:
    said = [Annotation(f"{index}", milliseconds(NOON), "alarm", "door-open", "ale-fridge", facts={"phase": phase})
            for index, phase in enumerate(("unacknowledged", "acknowledged", "normal"))]  # fmt: skip
    assert len(list(alarm_marks(said, "ale-fridge"))) == 1
    assert list(alarm_marks(said, "bath")) == []
