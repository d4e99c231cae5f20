"""What can be read: the site as it is, in the services' own words, and clear words where something is not there."""

import asyncio
from inspect import iscoroutinefunction
from pathlib import Path
from typing import Any

import pytest
from fastapi.routing import APIRoute

from schemas.telemetry import READING
from services.calc.questions import QUESTIONS
from services.console.access import LOCAL, NOBODY, Visitor
from services.console.accounts import Role
from services.console.api.looking import looking
from services.console.gate import Gate, Visits, judged
from tests.console.ground.bench import Bench, bench_on

CHAMBERS = ["ale-fridge", "lager-fridge", "bath", "conical", "keg-fridge"]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return bench_on(tmp_path_factory.mktemp("looking"))


def read(bench: Bench, path: str, **query: Any) -> Any:
    answer = bench.call("GET", f"/api/v1/{path}", params=query)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_the_site_says_how_what_is_shown_came_here(bench: Bench) -> None:
    site = read(bench, "site")
    assert (site["site"], site["chambers"], site["broker_connected"]) == ("barn", CHAMBERS, True)
    assert site["broker_lost"] is None


def test_every_chamber_comes_with_the_newest_of_everything(bench: Bench) -> None:
    chambers = {one["chamber"]: one for one in read(bench, "chambers")}
    assert list(chambers) == CHAMBERS
    ale = chambers["ale-fridge"]
    assert {one["probe"] for one in ale["readings"]} == {"beer", "air", "door"}
    assert {one["output"] for one in ale["reports"]} == {"cool", "heat", "fan"}
    assert ale["status"]["why"]
    assert read(bench, "chambers/ale-fridge") == ale


def test_readings_are_those_of_the_bus_word_for_word(bench: Bench) -> None:
    shown = [READING.validate_python(one) for one in read(bench, "readings")]
    assert shown == [bench.desk.live.readings[key] for key in sorted(bench.desk.live.readings)]


@pytest.mark.parametrize(
    "shelf",
    ["readings", "reports", "commands", "setpoints", "statuses", "conditions", "alarms", "healths", "deliveries"],
)
def test_every_shelf_of_the_mirror_can_be_read(bench: Bench, shelf: str) -> None:
    assert len(read(bench, shelf)) == len(getattr(bench.desk.live, shelf))


def test_the_journal_is_read_newest_first_and_by_chamber(bench: Bench) -> None:
    for chamber in ("ale-fridge", "bath"):
        bench.call("POST", "/api/v1/requests/lock-out", json={"chamber": chamber, "why": "a look"})
    lines = read(bench, "journal")
    assert [one["at"] for one in lines] == sorted((one["at"] for one in lines), reverse=True)
    assert {one["chamber"] for one in read(bench, "journal", chamber="bath")} == {"bath"}
    assert len(read(bench, "journal", most=1)) == 1


@pytest.mark.parametrize("path", ["chambers/cellar", "batches/none", "profiles/none", "calculators/none"])
def test_what_is_not_there_is_told_with_what_is(bench: Bench, path: str) -> None:
    answer = bench.call("GET", f"/api/v1/{path}")
    assert answer.status_code == 404
    assert "there are:" in answer.json()["detail"]


@pytest.mark.parametrize("path", ["history/series", "history/batches"])
def test_before_anything_was_recorded_history_says_what_still_works(bench: Bench, path: str) -> None:
    answer = bench.call("GET", f"/api/v1/{path}")
    assert answer.status_code == 503
    assert "What is live goes on" in answer.json()["detail"]


def test_a_stretch_of_time_that_is_none_is_refused(bench: Bench) -> None:
    span = {"start": "2026-03-02T12:00:00Z", "end": "2026-03-02T12:00:00Z"}
    answer = bench.call("GET", "/api/v1/history/series/bath/bath", params=span)
    assert answer.status_code == 422
    assert "the end must be later" in answer.json()["detail"]


def test_every_question_can_be_asked_with_its_own_examples(bench: Bench) -> None:
    for question in QUESTIONS:
        answer = bench.call("POST", f"/api/v1/calculators/{question.name}", json=question.examples())
        assert answer.status_code == 200, (question.name, answer.text)
        assert answer.json()["answer"].keys() == {one.name for one in question.answer(question.examples()).figures}


def test_a_question_that_is_asked_wrongly_says_what_would_be_right(bench: Bench) -> None:
    answer = bench.call("POST", "/api/v1/calculators/alcohol", json={"original_gravity": "heavy"})
    assert answer.status_code == 422
    assert "heavy" in answer.json()["detail"]


def test_the_description_names_what_each_operation_may_answer(bench: Bench) -> None:
    paths = read(bench, "openapi.json")["paths"]
    for path, operations in paths.items():
        for operation in operations.values():
            answers = set(operation["responses"])
            assert answers >= {"401", "403", "422"}, path
            assert answers & {"200", "201", "204"}, path


def test_a_rehearsal_of_what_is_no_profile_says_where(bench: Bench) -> None:
    body = {"profile": "profile: x\nsteps:\n  - hold: warm\n", "chamber": "ale-fridge"}
    answer = bench.call("POST", "/api/v1/rehearsals", json=body)
    assert answer.status_code == 422
    assert "3" in answer.json()["detail"]


def test_a_rehearsal_tells_how_it_would_go(bench: Bench) -> None:
    profile = "profile: quick\nsteps:\n  - name: hold it\n    hold: 18 degC\n    for: 2 h\n"
    answer = bench.call("POST", "/api/v1/rehearsals", json={"profile": profile, "chamber": "ale-fridge", "days": 0.1})
    assert answer.status_code == 200, answer.text
    assert answer.json()["steps"][0][0] == "hold it"
    assert answer.json()["verdict"]


@pytest.mark.parametrize(
    ("who", "path", "status"),
    [
        (NOBODY, "/", 401),
        (NOBODY, "/sign-in", None),
        (NOBODY, "/acknowledge/abc.def", None),
        (NOBODY, "/api/v1/backup", 401),
        (NOBODY, "/sign-in/../batch", 401),
        (Visitor("vic", Role.VIEWER, "session"), "/batch", None),
        (LOCAL, "/batch", None),
    ],
)
def test_who_may_look_at_what(who: Visitor, path: str, status: int | None) -> None:
    refusal = judged(who, "GET", path, from_elsewhere=False)
    assert (refusal.status if refusal else None) == status


def socket(headers: dict[str, str], bench: Bench) -> list[dict[str, Any]]:
    """What a page's socket is told when it opens."""
    sent: list[dict[str, Any]] = []

    async def inside(_scope: Any, _receive: Any, send: Any) -> None:
        await send({"type": "websocket.accept"})

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> dict[str, Any]:
        return {"type": "websocket.connect"}

    gate = Gate(inside, bench.console.app.keys, Visits())  # type: ignore[attr-defined]
    raw = [(name.encode(), value.encode()) for name, value in headers.items()]
    scope = {"type": "websocket", "path": "/_nicegui_ws/socket.io/", "headers": raw, "client": ("127.0.0.1", 1)}
    asyncio.run(gate(scope, receive, send))
    return sent


def test_a_pages_socket_opens_for_its_own_page_only(bench: Bench) -> None:
    own = {"host": "127.0.0.1:8765", "origin": "http://127.0.0.1:8765"}
    assert socket(own, bench) == [{"type": "websocket.accept"}]
    (refused,) = socket(own | {"origin": "http://elsewhere.example"}, bench)
    assert (refused["type"], refused["code"]) == ("websocket.close", 1008)


def test_visits_are_counted_while_a_socket_is_open(bench: Bench, tmp_path: Path) -> None:
    seen: list[int] = []

    async def inside(_scope: Any, _receive: Any, _send: Any) -> None:
        seen.append(visits.open_sockets)

    visits = Visits()
    gate = Gate(inside, bench.console.app.keys, visits)  # type: ignore[attr-defined]
    scope = {"type": "websocket", "path": "/_nicegui_ws/x", "headers": [], "client": ("127.0.0.1", 1)}
    asyncio.run(gate(scope, None, None))  # type: ignore[arg-type]
    assert (seen, visits.open_sockets) == ([1], 0)


def test_the_mirror_is_read_on_the_event_loop_alone_because_it_changes_there(bench: Bench) -> None:
    routes = [route for route in looking(bench.desk).routes if isinstance(route, APIRoute)]
    assert len(routes) >= 15
    assert all(iscoroutinefunction(route.endpoint) for route in routes)
