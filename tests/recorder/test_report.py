"""A batch's account and its report: figures against hand-made history, and the page itself."""

from datetime import timedelta
from html.parser import HTMLParser
from zoneinfo import ZoneInfo

import pytest

from schemas.batches import BatchPhase, BatchState, PlannedStep
from services.recorder import translation
from services.recorder.account import NoSuchBatch, account_of, batches_in, earlier_than
from services.recorder.housekeeping import Retention
from services.recorder.report import html, pdf
from services.recorder.rows import Annotation, Sample, milliseconds
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from tests.recorder.conftest import LATER
from tests.recorder.history import BEER, COOL, DAY, after, note
from tests.recorder.test_recorder import PLANT

SETPOINT = BEER._replace(kind="setpoint", name="setpoint")
TOLERANCE = BEER._replace(kind="setpoint", name="tolerance", unit="K")


def state(at, *, step=0, done=(), batch="pale-7", ends=(48, 96), gravity=None, phase=BatchPhase.RUNNING, begun=DAY):
    hours = [0, *ends]
    steps = tuple(
        PlannedStep(
            name=f"step {n}", does="hold", from_c=18, to_c=18, done=n in done, ends_when="time has passed",
            begins=begun + timedelta(hours=hours[n]), ends=begun + timedelta(hours=hours[n + 1]),
        )
        for n in range(2)
    )  # fmt: skip
    said = BatchState(
        at=at, source="scheduler", batch=batch, title="Pale <ale>", chamber="left", profile="ale",
        phase=phase, started=begun, step=step, steps=steps, original_gravity_sg=1.05, gravity_sg=gravity,
    )  # fmt: skip
    return translation.of_batch("shed", said)


def at(hours, value, series):
    return Sample(series, milliseconds(after(hours=hours)), value, 0)


def alarm(hours):
    facts = {"phase": "unacknowledged", "priority": "high"}
    return Annotation(
        f"alarm-{hours}", milliseconds(after(hours=hours)), "shed", "alarm", "beer-too-warm", "left", facts=facts
    )


@pytest.fixture
def store():
    """Four days: two hours too warm, the compressor on for 3 h in two runs, one alarm, a note and two tastings."""
    made = SqliteStore(IN_MEMORY)
    warm = {10, 11}
    beer = [at(minute / 60, 19.5 if minute // 60 in warm else 18.0, BEER) for minute in range(96 * 60)]
    cool = [at(hours, level, COOL) for hours, level in ((1, 1.0), (2, 0.0), (10, 1.0), (12, 0.0))]
    made.write([*beer, *cool, at(0, 18.0, SETPOINT), at(0, 0.5, TOLERANCE)])
    told = [
        state(DAY),
        state(after(hours=24), gravity=1.03, ends=(50, 98)),
        state(after(hours=50), step=1, done=(0,), gravity=1.012, ends=(50, 98)),
        state(after(hours=96), step=None, done=(0, 1), gravity=1.011, ends=(50, 96), phase=BatchPhase.COMPLETE),
    ]
    notes = [
        note(90, "n1", name="note-written", batch="pale-7", who="Ann", text="Smells of pears."),
        note(5700, "n2", name="beer-tasted", batch="pale-7", who="Ann", text="Good.", facts={"overall": 8.0}),
        note(5701, "n3", name="beer-tasted", batch="pale-7", who="Bob", text="Fair.", facts={"overall": 6.0}),
    ]
    made.write([], [*told, *notes, alarm(10.5), translation.of_plant(PLANT, DAY)])
    return made


def test_its_span_is_from_the_first_word_to_the_last(store):
    account = account_of(store, "pale-7")
    assert (account.start, account.end) == (DAY, after(hours=96, milliseconds=1))
    assert (account.title, account.phase, account.zone) == ("Pale <ale>", "complete", ZoneInfo("UTC"))


def test_a_batch_that_goes_on_reaches_to_the_newest_reading(store):
    store.write([], [state(after(hours=3), batch="next", begun=after(hours=3))])
    assert account_of(store, "next").end == after(minutes=96 * 60 - 1, milliseconds=1)


def test_steps_are_told_as_planned_at_first_and_as_they_were(store):
    first, second = account_of(store, "pale-7").steps
    assert first.planned == (DAY, after(hours=48))
    assert first.real == (DAY, after(hours=50))
    assert second.real == (after(hours=50), after(hours=96))


def test_a_step_to_come_has_no_real_times(store):
    store.write([], [state(after(hours=3), batch="next", begun=after(hours=3))])
    assert account_of(store, "next").steps[1].real == (None, None)


def test_time_out_of_band_is_what_the_beer_spent_beyond_its_tolerance(store):
    assert account_of(store, "pale-7").out_of_band == pytest.approx(timedelta(hours=2), abs=timedelta(minutes=10))


def test_energy_is_rated_power_times_hours_on(store):
    (use,) = account_of(store, "pale-7").outputs
    assert (use.hours, use.energy_kwh, use.starts) == (pytest.approx(3.0), pytest.approx(3 * 0.095), 2)


def test_energy_of_days_whose_reports_were_dropped_comes_from_their_minutes(store):
    while store.maintain(LATER, Retention(raw_days=1, minute_days=None, quarter_days=None)):
        pass
    account = account_of(store, "pale-7")
    assert account.energy_kwh == pytest.approx(3 * 0.095, rel=0.02)
    assert account.compressor_starts == 2


def test_gravity_and_the_expected_end_are_told_as_they_were_known(store):
    account = account_of(store, "pale-7")
    assert [value for _, value in account.gravity] == [1.03, 1.012, 1.011]
    assert [one.ends for one in account.foreseen] == [after(hours=hours) for hours in (96, 98, 98, 96)]


def test_alarms_notes_and_mean_scores(store):
    account = account_of(store, "pale-7")
    assert [one.name for one in account.alarms] == ["beer-too-warm"]
    assert len(account.notes) == 3
    assert account.scores == {"overall": 7.0}


def test_an_unknown_batch_is_told_with_those_that_are_known(store):
    with pytest.raises(NoSuchBatch, match="'stout'.*pale-7"):
        account_of(store, "stout")


def test_earlier_batches_are_those_that_began_before_newest_first(store):
    for days in range(1, 9):
        store.write([], [state(after(days=-days), batch=f"old-{days}", begun=after(days=-days))])
    earlier = earlier_than(store, account_of(store, "pale-7"), 5)
    assert [one.batch for one in earlier] == [f"old-{days}" for days in range(1, 6)]
    assert batches_in(store)[0] == "old-8"


def test_rehearsed_batches_are_not_compared_with_brewed_ones(store):
    rehearsed = state(after(days=-2), batch="dream", begun=after(days=-2))
    store.write(
        [], [Annotation(**{name: getattr(rehearsed, name) for name in rehearsed.__slots__} | {"origin": "simulated"})]
    )
    assert earlier_than(store, account_of(store, "pale-7"), 5) == []


class Balance(HTMLParser):
    """Whether every element that was opened is closed, in order."""

    def __init__(self):
        super().__init__()
        self.open, self.text = [], []

    def handle_starttag(self, tag, attrs):
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text.append(data)


@pytest.fixture
def page(store):
    pytest.importorskip("matplotlib")
    store.write([], [state(after(days=-2), batch="old", begun=after(days=-2))])
    account = account_of(store, "pale-7")
    return html(account, earlier_than(store, account, 5), price_per_kwh=0.4)


def test_the_page_stands_alone_and_is_well_formed(page):
    balance = Balance()
    balance.feed(page)
    assert balance.open == []
    assert "<script" not in page
    assert 'src="http' not in page
    assert "Pale &lt;ale&gt;" in page


def test_the_page_says_everything_that_was_asked_for(page):
    for part in (
        "Course",
        "Steps",
        "Gravity",
        "Notes and tasting",
        "Alarms",
        "Outputs",
        "Beside earlier batches",
        "Decisions",
    ):
        assert f"<h2>{part}</h2>" in page
    for figure in ("0.28 kWh", "0.11", "1.050", "1.011", "Mean scores: overall 7.0", "2 h 0 min"):
        assert figure in page


def test_the_chart_tells_lines_apart_without_colour(page):
    chart = page[page.index("<svg") : page.index("</svg>")]
    colours = {part[:7].lower() for part in chart.split("#")[1:] if len(part) > 6 and part[6] in ";\"'"} | set()
    assert all(one[0:2] == one[2:4] == one[4:6] for one in colours)
    assert "stroke-dasharray" in chart


def test_a_batch_without_gravity_alarms_or_notes_has_a_report_too():
    pytest.importorskip("matplotlib")
    bare = SqliteStore(IN_MEMORY)
    bare.write([at(hours, 18.0, BEER) for hours in range(50)], [state(DAY)])
    page = html(account_of(bare, "pale-7"))
    assert "<p>None.</p>" in page
    assert "<h2>Gravity</h2>" not in page


def test_a_rehearsed_batch_says_so(store):
    pytest.importorskip("matplotlib")
    bare = SqliteStore(IN_MEMORY)
    rehearsed = state(DAY)
    bare.write(
        [], [Annotation(**{name: getattr(rehearsed, name) for name in rehearsed.__slots__} | {"origin": "simulated"})]
    )
    assert "Rehearsed, not brewed." in html(account_of(bare, "pale-7"))


def test_the_pdf_has_a_few_pages(page):
    weasyprint = pytest.importorskip("weasyprint")
    assert pdf(page).startswith(b"%PDF-")
    assert 1 <= len(weasyprint.HTML(string=page).render().pages) <= 3
