"""Commands that need no broker, and what decides before one is asked: accounts, addresses, secrets in a text, pulse."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import typer
from click.testing import Result
from typer.testing import CliRunner

from schemas.base import ServiceName
from schemas.plant import Broker, Plant
from services.commands import accounts, looking, rehearsing
from services.commands.bundles import SHORTEST_SECRET, secrets_of, without
from services.commands.children import Library
from services.commands.client import Unreachable, where
from services.commands.doorstep import Doorstep, Opening
from services.commands.member import Membership, Unusable, address_of, plant_of, run_member
from services.commands.parts import RUNNABLE, part_of
from services.commands.pulse import FRESH_S, complaint
from services.commands.running import barn_file
from services.console.redacted import HIDDEN
from services.console.sources import NotUsable
from services.runtime.address import BrokerAddress
from services.runtime.broker import ADDRESS_FILE
from services.runtime.compose import Surroundings
from services.runtime.credentials import SecretUnusable
from tests.rehearsal.situations import TWO_VESSELS, cellar

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
PASSWORD = "six barrels of wort\n"
PLANT = cellar()
Run = Callable[..., Result]


def of_broker(**described: str) -> Plant:
    return PLANT.model_copy(update={"broker": Broker(**described)})


def member(state: Path, broker: str = "") -> Membership:
    return Membership(services=[ServiceName.BRIDGE], plant=Path("plant.yaml"), state=state, broker=broker)


def called(command: Callable[..., None], *words: str) -> Result:
    app = typer.Typer()
    app.command()(command)
    return CliRunner().invoke(app, words, env={"COLUMNS": "160", "NO_COLOR": "1"})


@pytest.fixture
def book(tmp_path: Path) -> Run:
    def run(*words: str, said: str = "") -> Result:
        return CliRunner().invoke(accounts.app, [*words, "--state", str(tmp_path)], input=said, env={"NO_COLOR": "1"})

    return run


def test_book_without_accounts_says_who_may_act_then(book: Run) -> None:
    assert "Nobody has an account" in book("list").output


def test_book_without_accounts_is_an_empty_list_for_programs(book: Run) -> None:
    assert json.loads(book("list", "--json").output) == []


def test_new_account_looks_and_does_not_act_unless_told(book: Run) -> None:
    assert book("add", "ada", said=PASSWORD).output == "ada is a viewer.\n"
    assert json.loads(book("list", "--json").output) == [{"name": "ada", "role": "viewer", "tokens": []}]


def test_operator_is_told_with_the_right_article(book: Run) -> None:
    assert book("add", "ada", "--role", "operator", said=PASSWORD).output == "ada is an operator.\n"


def test_short_password_is_refused_with_status_2(book: Run) -> None:
    done = book("add", "ada", said="hop\n")
    assert (done.exit_code, "a password has 10 to 500 characters" in done.stderr) == (2, True)
    assert json.loads(book("list", "--json").output) == []


def test_one_who_has_no_account_cannot_be_removed(book: Run) -> None:
    done = book("remove", "ada")
    assert (done.exit_code, "there is no account 'ada'; there are: none" in done.stderr) == (2, True)


def test_removed_account_is_gone(book: Run) -> None:
    book("add", "ada", said=PASSWORD)
    assert book("remove", "ada").output == "ada is gone.\n"
    assert json.loads(book("list", "--json").output) == []


def test_password_of_nobody_cannot_be_set(book: Run) -> None:
    done = book("password", "ada", said=PASSWORD)
    assert (done.exit_code, "there is no account 'ada'; there are: none" in done.stderr) == (2, True)


def test_token_is_shown_once_and_kept_without_its_secret(book: Run) -> None:
    book("add", "ada", said=PASSWORD)
    secret = book("token", "add", "ada", "--label", "charts", "--for", "90 d").output.strip()
    listed = book("list", "--json").output
    assert secret not in listed
    assert "digest" not in listed
    assert json.loads(listed)[0]["tokens"][0]["label"] == "charts"


def test_token_for_a_time_without_a_unit_is_refused(book: Run) -> None:
    book("add", "ada", said=PASSWORD)
    assert "write it like '5 min'" in book("token", "add", "ada", "--label", "charts", "--for", "90").stderr


def test_token_taken_back_is_no_longer_listed(book: Run) -> None:
    book("add", "ada", said=PASSWORD)
    book("token", "add", "ada", "--label", "charts")
    (kept,) = json.loads(book("list", "--json").output)[0]["tokens"]
    assert book("token", "remove", "ada", kept["id"]).output == f"Token {kept['id']} is gone.\n"
    assert json.loads(book("list", "--json").output)[0]["tokens"] == []


def test_named_broker_wins_over_the_plant_file(tmp_path: Path) -> None:
    plant = of_broker(address="mqtt://other", user="me")
    assert address_of(member(tmp_path, "mqtt://barn"), plant) == BrokerAddress("barn")


def test_broker_of_the_plant_file_is_entered_as_it_says(tmp_path: Path) -> None:
    (tmp_path / "password").write_text("hop\n")
    plant = of_broker(address="mqtt://barn", user="me", password_file=str(tmp_path / "password"))
    assert address_of(member(tmp_path), plant) == BrokerAddress("barn", username="me", password="hop")


def test_password_file_of_the_plant_that_is_missing_is_named(tmp_path: Path) -> None:
    plant = of_broker(address="mqtt://barn", password_file=str(tmp_path / "password"))
    with pytest.raises(SecretUnusable, match="password is missing"):
        address_of(member(tmp_path), plant)


def test_broker_of_the_state_folder_is_taken_where_nobody_names_one(tmp_path: Path) -> None:
    (tmp_path / ADDRESS_FILE).write_text('{"url": "mqtt://127.0.0.1:1999"}')
    assert address_of(member(tmp_path), PLANT) == BrokerAddress("127.0.0.1", 1999)


def test_no_broker_anywhere_is_told_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match="name one with --broker"):
        address_of(member(tmp_path), PLANT)


def test_plant_file_that_is_missing_cannot_be_used(tmp_path: Path) -> None:
    with pytest.raises(Unusable, match=r"plant\.yaml"):
        plant_of(tmp_path / "plant.yaml")


def test_service_that_cannot_run_here_is_refused_with_those_that_can(tmp_path: Path) -> None:
    console = Membership(services=[ServiceName.CONSOLE], plant=tmp_path / "plant.yaml", state=tmp_path)
    with pytest.raises(Unusable, match="console cannot be run here; these can: bridge, supervisor"):
        run_member(console)


@pytest.mark.parametrize("service", RUNNABLE)
def test_each_service_is_a_part_under_its_own_name(service: ServiceName, tmp_path: Path) -> None:
    around = Surroundings(site="cellar", broker=BrokerAddress(), state_folder=tmp_path, version="1")
    assert part_of(service, PLANT, tmp_path / "plant.yaml", around).name is service


def test_broker_that_is_no_address_is_refused(tmp_path: Path) -> None:
    with pytest.raises((ValueError, Unreachable), match="begins with mqtt://"):
        where("http://barn", tmp_path)


def test_console_that_is_off_needs_no_process_and_no_socket() -> None:
    nothing = Doorstep()
    assert (nothing.members, nothing.visited, nothing.socket_fd) == ({}, {}, None)


def test_console_opens_in_three_ways() -> None:
    assert [one.value for one in Opening] == ["on-visit", "always", "off"]


def test_service_that_was_heard_just_in_time_is_well() -> None:
    heard = {"state": "running", "at": (NOW - timedelta(seconds=FRESH_S)).isoformat()}
    assert complaint(heard, NOW) == ""


def test_silence_is_told_with_its_length() -> None:
    assert complaint({"state": "running", "at": "2026-11-25T09:59:00Z"}, NOW) == "it was last heard 60 s ago"


def test_service_without_a_state_is_not_well() -> None:
    assert complaint({}, NOW) == "it is None"


def test_every_place_of_a_secret_is_hidden() -> None:
    assert without("hop, hop and malt", ("hop",)) == f"{HIDDEN}, {HIDDEN} and malt"


def test_text_without_secrets_stays_as_it_is() -> None:
    assert without("see http://barn/a?b=c", ()) == "see http://barn/a?b=c"


@pytest.mark.parametrize("name", ["token", "KEY", "password", "secret-id"])
def test_key_in_an_address_is_hidden_and_what_follows_stays(name: str) -> None:
    assert without(f"http://barn/?{name}=abc&x=1", ()) == f"http://barn/?{name}={HIDDEN}&x=1"


def test_plant_that_leads_to_no_secret_has_none() -> None:
    assert secrets_of(PLANT) == ()


@pytest.mark.parametrize(("length", "hidden"), [(SHORTEST_SECRET - 1, False), (SHORTEST_SECRET, True)])
def test_text_too_short_for_a_secret_is_not_taken_for_one(length: int, hidden: bool, tmp_path: Path) -> None:
    (tmp_path / "password").write_text("x" * length)
    plant = of_broker(address="mqtt://barn", password_file=str(tmp_path / "password"))
    assert ("x" * length in secrets_of(plant)) is hidden


def test_every_profile_that_is_named_has_its_text() -> None:
    library = Library()
    assert all(library.text(name).strip() for name in library.names())


@pytest.mark.parametrize("text", ["", "profile: trial\nsteps: []\n", "- 1\n"])
def test_text_that_is_no_profile_is_not_usable(text: str) -> None:
    with pytest.raises(NotUsable):
        Library().read(text)


def test_demonstration_plant_comes_along_and_is_sound() -> None:
    assert plant_of(barn_file()).site.name == "barn"


def test_sound_plant_is_told_with_its_size(tmp_path: Path) -> None:
    (tmp_path / "plant.yaml").write_text(TWO_VESSELS)
    said = called(looking.check, str(tmp_path / "plant.yaml")).output
    assert said.startswith("plant.yaml: 3 chambers on site 'cellar', in order.\n")


def test_sound_plant_is_told_to_programs_output_by_output(tmp_path: Path) -> None:
    (tmp_path / "plant.yaml").write_text(TWO_VESSELS)
    told = json.loads(called(looking.check, str(tmp_path / "plant.yaml"), "--json").output)
    assert told["valid"] is True
    assert [one["output"] for one in told["protection"]] == ["bath.chill", "east.pump", "west.pump"]


def test_broken_plant_is_told_to_programs_with_status_2(tmp_path: Path) -> None:
    (tmp_path / "plant.yaml").write_text("site: {name: cellar}\n")
    done = called(looking.check, str(tmp_path / "plant.yaml"), "--json")
    assert (done.exit_code, json.loads(done.output)["valid"]) == (2, False)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "name a profile, or go on from what runs"),
        (("ale",), "say where the beer would stand"),
        (("ale", "--chamber", "ale-fridge", "--begins", "soon"), "'soon' is no date and time"),
        (("ale", "--chamber", "ale-fridge", "--answers-after", "4"), "'4' is no quantity"),
        (("ale", "--chamber", "ale-fridge", "--plant-model", "cellar"), "names no plant model"),
    ],
)
def test_incomplete_question_is_refused_before_it_is_played(words: tuple[str, ...], says: str) -> None:
    done = called(rehearsing.rehearse, *words)
    assert (done.exit_code, says in done.stderr) == (2, True)
