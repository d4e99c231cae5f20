"""Units that nobody chose, headers, sessions at their end, tokens, and lines that people type."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from services.console import units
from services.console.accounts import Account, Book, Role
from services.console.board.palette import style
from services.console.desk.alarm_list import place, rate_words
from services.console.desk.batch_words import lasting, suggested_name, when
from services.console.desk.entries import as_csv, as_json_lines, entries, gravities, local_moment, notes, number_in
from services.console.desk.topics import beside, find, topics
from services.console.headers import comes_from_elsewhere, names_this_machine, plain
from services.console.sessions import LASTS, MOST_KEPT, Sessions, digest
from services.console.settings import Settings
from services.console.tokens import owner
from services.console.units import Units, chosen

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
DUBLIN = ZoneInfo("Europe/Dublin")
FAHRENHEIT = Units(temperature="degF")
ANN = Account(name="ann", role=Role.OPERATOR, password="x", changed=NOON)
BOOK = Book(accounts=(ANN,))


def test_a_visitor_without_a_cookie_reads_celsius_bar_and_litres() -> None:
    assert chosen({}) == Units("degC", "bar", "L")


def test_units_in_any_order_are_understood() -> None:
    assert chosen({units.COOKIE: "gal.degF"}) == Units("degF", "bar", "gal")


def test_figures_are_as_fine_as_asked_for() -> None:
    assert units.show_temperature(18.256, Units(), 2) == "18.26 °C"


def test_no_digits_leave_no_point() -> None:
    assert units.figure(18.6, 0) == "19"


def test_no_difference_has_no_sign() -> None:
    assert units.show_difference(0.04, Units()) == "0.0 K"


def test_a_difference_without_its_mark_is_a_bare_figure() -> None:
    assert units.show_difference(1.0, FAHRENHEIT, mark=False) == "+1.8"


def test_a_difference_is_in_kelvins_unless_somebody_reads_fahrenheit() -> None:
    assert (units.difference_mark(Units()), units.difference_mark(FAHRENHEIT)) == ("K", "°F")


def test_minus_forty_is_the_same_on_both_scales() -> None:
    assert units.number("temperature", -40.0, FAHRENHEIT) == pytest.approx(-40)


def test_every_kind_of_quantity_has_the_visitors_mark() -> None:
    picked = Units("degF", "psi", "gal")
    assert [units.mark_of(kind, picked) for kind in units.SCALES] == ["°F", "psi", "gal"]


def test_a_temperature_in_fahrenheit_is_kept_in_celsius() -> None:
    assert units.read_temperature("212", FAHRENHEIT) == pytest.approx(100)


def test_names_of_headers_are_read_in_lower_case() -> None:
    assert plain([(b"Host", b"Barn")]) == {"host": "Barn"}


def test_of_a_header_that_comes_twice_the_last_counts() -> None:
    assert plain([(b"host", b"one"), (b"Host", b"two")]) == {"host": "two"}


def test_a_program_that_sends_no_origin_comes_from_nowhere_else() -> None:
    assert not comes_from_elsewhere({"host": "barn"})


def test_an_origin_on_another_port_is_elsewhere() -> None:
    assert comes_from_elsewhere({"host": "barn:8765", "origin": "http://barn:80"})


def test_a_request_without_a_host_does_not_name_this_machine() -> None:
    assert not names_this_machine({})


@pytest.mark.parametrize(("host", "alone"), [("127.0.0.1", True), ("::1", True), ("0.0.0.0", False), ("barn", False)])
def test_a_console_knows_whether_only_this_machine_reaches_it(host: str, alone: bool) -> None:
    assert Settings(state_folder=Path(), plant_path=Path(), host=host).on_loopback is alone


def test_a_session_is_over_at_its_end_and_not_before(tmp_path: Path) -> None:
    sessions = Sessions(tmp_path)
    secret = sessions.begin(ANN, NOON)
    assert sessions.account(secret, BOOK, NOON + LASTS - timedelta(seconds=1)) == ANN
    assert sessions.account(secret, BOOK, NOON + LASTS) is None


def test_a_session_outlives_a_restart(tmp_path: Path) -> None:
    secret = Sessions(tmp_path).begin(ANN, NOON)
    assert Sessions(tmp_path).account(secret, BOOK, NOON) == ANN


def test_a_session_that_was_ended_stays_ended_after_a_restart(tmp_path: Path) -> None:
    sessions = Sessions(tmp_path)
    secret = sessions.begin(ANN, NOON)
    sessions.end(secret)
    assert Sessions(tmp_path).account(secret, BOOK, NOON) is None


def test_ending_an_unknown_session_leaves_the_others(tmp_path: Path) -> None:
    sessions = Sessions(tmp_path)
    secret = sessions.begin(ANN, NOON)
    sessions.end("another")
    assert sessions.account(secret, BOOK, NOON) == ANN


def test_a_new_password_ends_the_sessions_from_before(tmp_path: Path) -> None:
    sessions = Sessions(tmp_path)
    secret = sessions.begin(ANN, NOON)
    changed = ANN.model_copy(update={"changed": NOON + timedelta(hours=1)})
    assert sessions.account(secret, Book(accounts=(changed,)), NOON) is None


def test_an_account_that_is_gone_has_no_session(tmp_path: Path) -> None:
    sessions = Sessions(tmp_path)
    assert sessions.account(sessions.begin(ANN, NOON), Book(), NOON) is None


def test_the_file_of_sessions_does_not_hold_their_secrets(tmp_path: Path) -> None:
    Sessions(tmp_path, lambda: "open-sesame").begin(ANN, NOON)
    kept = "".join(one.read_text() for one in tmp_path.iterdir())
    assert digest("open-sesame") in kept
    assert "open-sesame" not in kept


def test_a_digest_is_sha_256() -> None:
    """FIPS 180-4, the example `abc`."""
    assert digest("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_an_unknown_token_belongs_to_nobody() -> None:
    assert owner(BOOK, "coldside-guess", NOON) is None


def test_an_account_put_again_takes_its_own_place() -> None:
    viewer = ANN.model_copy(update={"role": Role.VIEWER})
    assert BOOK.put(viewer).accounts == (viewer,)


def test_accounts_stand_in_the_order_of_their_names() -> None:
    zoe = ANN.model_copy(update={"name": "zoe"})
    assert [one.name for one in Book().put(zoe).put(ANN).accounts] == ["ann", "zoe"]


def test_viewers_alone_are_no_operator() -> None:
    assert BOOK.has_operator
    assert not Book(accounts=(ANN.model_copy(update={"role": Role.VIEWER}),)).has_operator


def test_every_theme_has_its_rule() -> None:
    assert [line[:25] for line in style().splitlines()] == [':root[data-theme="light"]', ':root[data-theme="dark"] ']


def test_no_alarm_is_said_in_words() -> None:
    assert rate_words([], 7) == "No alarm in 7 days."


def test_a_chamber_is_called_by_its_name() -> None:
    assert place("conical") == "conical"


def test_no_time_at_all_lasts_no_minutes() -> None:
    assert lasting(timedelta()) == "0 min"


def test_a_span_already_over_lasts_no_minutes() -> None:
    assert lasting(timedelta(hours=-2)) == "0 min"


def test_almost_a_day_is_rounded_to_a_day() -> None:
    assert lasting(timedelta(hours=23, minutes=59, seconds=45)) == "1 d"


def test_a_moment_that_cannot_be_said_is_a_dash() -> None:
    assert when(None, DUBLIN) == "–"


def test_both_hours_of_the_autumn_night_are_told_as_clocks_show_them() -> None:
    first = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert when(first, DUBLIN) == when(first + timedelta(hours=1), DUBLIN) == "Sun 25 Oct 01:30"


def test_a_suggested_name_has_forty_characters_at_most() -> None:
    assert len(suggested_name("very " * 20, [])) <= 40


def test_a_title_of_signs_alone_leaves_a_number() -> None:
    assert suggested_name("!?", ["7-stout"]) == "8"


def test_no_line_is_an_empty_journal() -> None:
    assert (entries([]), gravities([]), notes([])) == ([], [], [])


def test_an_empty_journal_as_a_table_has_its_head() -> None:
    assert as_csv([]) == "at,who,event,chamber,batch,why,facts\r\n"


def test_an_empty_journal_as_json_lines_is_empty() -> None:
    assert as_json_lines([]) == ""


@pytest.mark.parametrize("written", ["1", "1,5", " 2 "])
def test_both_limits_of_a_number_are_allowed(written: str) -> None:
    assert 1 <= number_in(written, 1, 2) <= 2


@pytest.mark.parametrize("written", ["0.99", "2.01", "nan", "inf"])
def test_a_number_beyond_its_limits_is_told_with_them(written: str) -> None:
    with pytest.raises(ValueError, match="outside 1 to 2"):
        number_in(written, 1, 2)


def test_a_moment_with_its_own_offset_keeps_it() -> None:
    assert local_moment("2026-07-01T12:00+00:00", DUBLIN) == datetime(2026, 7, 1, 12, tzinfo=UTC)


def test_blanks_are_no_moment() -> None:
    assert local_moment("   ", DUBLIN) is None


def test_every_question_is_found_by_its_name() -> None:
    assert all(find(one.name) is one for _, questions in topics() for one in questions)


def test_an_unknown_question_is_not_found() -> None:
    assert find("no-such-question") is None


def test_a_question_stands_among_those_beside_it() -> None:
    assert all(one in beside(one) for _, questions in topics() for one in questions)


def test_more_sessions_than_are_kept_end_the_oldest(tmp_path: Path) -> None:
    sessions = Sessions(tmp_path)
    secrets = [sessions.begin(ANN, NOON) for _ in range(MOST_KEPT + 1)]
    assert sessions.account(secrets[0], BOOK, NOON) is None
    assert sessions.account(secrets[-1], BOOK, NOON) == ANN


@pytest.mark.parametrize("gap", [" ", "\t", "\u00a0"])
def test_any_blank_may_stand_between_a_minus_and_its_number(gap: str) -> None:
    assert units.read_temperature(f"\u2212{gap}4", Units()) == -4.0
