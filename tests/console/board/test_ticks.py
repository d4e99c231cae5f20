"""The time axis. Europe/Dublin: 29 March 2026 has 23 hours, 25 October 2026 has 25 (tz database)."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.console.board.ticks import LABEL_PX, midnights, ticks
from services.console.board.window import DAY_MS, HOUR_MS, SPANS, Window, milliseconds

DUBLIN = ZoneInfo("Europe/Dublin")
SPRING, AUTUMN = datetime(2026, 3, 29, tzinfo=DUBLIN), datetime(2026, 10, 25, tzinfo=DUBLIN)


def window(first: datetime, days: float) -> Window:
    """From a day before a moment on."""
    start = milliseconds(first - timedelta(days=1))
    return Window(start, start + round(days * DAY_MS))


@pytest.mark.parametrize(("changes", "hours"), [(SPRING, 23), (AUTUMN, 25)])
def test_days_begin_at_local_midnight_over_daylight_saving(changes: datetime, hours: int) -> None:
    found = midnights(window(changes, 4), DUBLIN)
    assert {datetime.fromtimestamp(at / 1000, DUBLIN).strftime("%H:%M") for at in found} == {"00:00"}
    assert found[2] - found[1] == hours * HOUR_MS


@pytest.mark.parametrize("changes", [SPRING, AUTUMN])
def test_hours_after_a_change_of_clocks_are_still_whole_local_hours(changes: datetime) -> None:
    found = ticks(window(changes, 3), DUBLIN, 1000)
    minutes = {datetime.fromtimestamp(one.at_ms / 1000, DUBLIN).minute for one in found}
    assert minutes == {0}
    assert sum(one.day for one in found) == len(midnights(window(changes, 3), DUBLIN))


def test_every_midnight_has_a_mark_even_where_its_name_has_no_room() -> None:
    found = ticks(window(SPRING, 56), DUBLIN, 400)
    assert len(found) == len(midnights(window(SPRING, 56), DUBLIN))
    assert 1 < sum(bool(one.label) for one in found) < 10


@settings(deadline=None)
@given(
    st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1)),
    st.sampled_from([span for _, span in SPANS]),
    st.floats(320, 2400),
)
def test_labels_never_stand_on_each_other(start: datetime, span: int, width_px: float) -> None:
    start_ms = milliseconds(start.replace(tzinfo=UTC))
    shown = Window(start_ms, start_ms + span)
    at = [shown.x(one.at_ms) / 1000 * width_px for one in ticks(shown, DUBLIN, width_px) if one.label]
    assert all(later - earlier >= LABEL_PX * 0.6 for earlier, later in zip(at, at[1:], strict=False))
