"""What people read: where, what, since when, what to do, on one phone screen; and the pages that explain it."""

import re
from datetime import timedelta
from pathlib import Path
from textwrap import wrap

import pytest

from schemas.alarms import AlarmPhase
from schemas.plant_file import PlantFileError, loads
from services.notifier.catalogue import Definitions, standard_catalogue
from services.notifier.links import Claim, sign
from services.notifier.messages import Told, message
from services.notifier.records import alarm_of, quiet_record
from services.notifier.review import site_report
from tests.notifier.bench import NOON, plant, site_with

DOCS = Path(__file__).parent.parent.parent / "docs"
PLANT = site_with({}, {}, left={"title": "Ale fridge"})
RULES = Definitions(PLANT, standard_catalogue())
COLUMNS, LINES = 40, 24
"""What a small phone shows of a message at its usual size, the link's own lines not counted; from memory."""
CHAMBER = """
  {name}:
    kind: fridge
    probes: {{beer: {{measures: temperature, from: {{simulated: true}}}}}}
"""


def told(name="beer-too-warm", phase=AlarmPhase.UNACKNOWLEDGED, chamber="left", late_s=0.0, **said):
    fields = {"phase": phase, "detail": "The beer stays too warm.", **said}
    record = quiet_record(chamber, name, NOON).model_copy(update=fields)
    definition = RULES(chamber, name)
    return Told(alarm=alarm_of(record, definition, "notifier"), definition=definition, late_s=late_s)


def written(*ones, link=""):
    return message(ones, PLANT, NOON + timedelta(minutes=35), link)


def test_a_message_says_where_what_since_when_what_to_do_and_how_soon():
    said = written(told())
    assert said.subject == "[high] Ale fridge: beer too warm"
    lines = dict(line.split(": ", 1) for line in said.text.splitlines())
    assert lines["Where"] == "Ale fridge, shed"
    assert lines["What"] == "The beer stays too warm."
    assert lines["Since"] == "12:00"
    assert lines["Do"].startswith("Close the door.")
    assert lines["Else"].endswith("Respond within 4 h.")


@pytest.mark.parametrize("kind", standard_catalogue())
def test_every_kind_fits_on_one_phone_screen(kind):
    said = written(told(kind, detail="x " * 500, late_s=900))
    lines = [part for line in said.text.splitlines() for part in wrap(line, COLUMNS)]
    assert len(lines) <= LINES
    assert len(said.subject) <= 2 * COLUMNS


def test_the_link_comes_last_and_whole():
    claim = Claim(chamber="left", name="beer-too-warm", raised=NOON, person="ann", expires=NOON)
    link = f"https://shed.example.org/acknowledge/{sign(claim, bytes(32))}"
    assert written(told(), link=link).text.splitlines()[-1] == f"Acknowledge: {link}"


def test_what_it_concerns_is_named_where_the_kind_alone_does_not_say():
    assert written(told("probe-silent-beer")).subject == "[medium] Ale fridge: probe silent (beer)"


def test_a_site_wide_alarm_has_the_sites_name():
    assert "Where: shed, shed" in written(told("broker-lost", chamber="site")).text


def test_yesterdays_alarm_says_the_day():
    said = message([told()], PLANT, NOON + timedelta(days=1))
    assert "Since: Wed 04 Mar 12:00" in said.text


@pytest.mark.parametrize(
    ("phase", "words"),
    [
        (AlarmPhase.RETURNED_UNACKNOWLEDGED, "gone by itself"),
        (AlarmPhase.LATCHED_UNACKNOWLEDGED, "until somebody has looked"),
        (AlarmPhase.ACKNOWLEDGED, "Acknowledged by Ben."),
        (AlarmPhase.NORMAL, "It is over."),
    ],
)
def test_a_message_that_was_held_up_says_how_things_stand_now(phase, words):
    assert words in written(told(phase=phase, by="Ben")).text


def test_a_later_step_says_that_nobody_has_acknowledged():
    assert "Nobody has acknowledged it for 15 min." in written(told(late_s=900)).text


def test_several_alarms_come_most_urgent_first_and_none_is_left_out():
    said = written(told("step-late"), told("relay-welded"), told("door-open", chamber="right"))
    assert said.subject == "[critical] 3 alarms, first: Ale fridge: relay will not switch off"
    order = re.findall(r"^- (\w+):", said.text, re.MULTILINE)
    assert order == ["critical", "medium", "low"]


def test_the_page_about_telling_people_shows_a_plant_file_that_is_valid():
    shown = re.search(r"```yaml\n(.*?)```", (DOCS / "telling-people.md").read_text(encoding="utf-8"), re.DOTALL)
    chambers = "".join(CHAMBER.format(name=name) for name in ("ale-fridge", "keg-fridge"))
    found = loads(f"site: {{name: shed}}\n{shown[1]}\nchambers:{chambers}")
    assert found.people["ann"].quiet == "22:30-07:00"
    assert found.notifier.routes[2].again_s == 3600


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ("notifier: {alarms: {dor-open: {on_delay: 5 min}}}", "did you mean 'door-open'?"),
        ("notifier: {routes: [{to: [ann.mail]}]}", "nobody's way here"),
        ("notifier: {digest: '25:00'}", "wrong form"),
        ("people: {ann: {quiet: 22-7, ways: {m: {webhook: 'http://x'}}}}", "write it like '22:30-07:00'"),
        ("people: {ann: {ways: {m: {mail: ann@x.org}}}}", "no server takes our mail"),
        ("people: {ann: {ways: {m: {webhook: file}}}}", "names none"),
        ("people: {ann: {ways: {m: {pigeon: ann}}}}", "names no way known here"),
        ("notifier: {heartbeat: {every: 5 min}}", "names no address"),
        ("notifier: {alarms: {door-open: {on_delay: 5}}}", "has no unit"),
    ],
)
def test_a_mistake_about_people_is_told_with_its_line_and_remedy(wrong, words):
    with pytest.raises(PlantFileError) as refused:
        loads(f"site: {{name: shed}}\n{wrong}\nchambers:{CHAMBER.format(name='left')}", "shed.yaml")
    assert "shed.yaml:2: " in str(refused.value)
    assert words in str(refused.value)


def test_the_report_of_a_site_shows_what_its_plant_file_changes():
    changed = site_with(
        {}, {"alarms": {"leak": {"priority": "high"}}}, right={"alarms": {"leak": {"on_delay": "5 min"}}}
    )
    report = site_report(changed, standard_catalogue())
    assert "| `leak` | high | 0 s |" in report
    assert "| `leak` in right | high | 5 min |" in report
    assert "`leak` in left" not in report


def test_the_report_of_a_site_that_changes_nothing_has_a_row_for_each_kind():
    rows = [line for line in site_report(plant("left"), standard_catalogue()).splitlines() if line.startswith("| `")]
    assert len(rows) == len(standard_catalogue())
