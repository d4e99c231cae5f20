"""What the console has others do: the library of profiles, and work in processes of their own."""

import asyncio
from pathlib import Path

import pytest

from schemas.plant_file import load
from services.commands.children import Children, Library, RehearsalsByChild
from services.commands.console import MessageLinks
from services.commands.running import barn_file
from services.console.live import Live
from services.console.sources import NotUsable, Unknown
from services.notifier.links import Claim, sign
from tests.console.ground.bench import START

QUICK = "profile: quick\nsteps:\n  - {name: hold it, hold: 18 degC, for: 2 h}\n"


def test_every_profile_that_comes_along_can_be_read() -> None:
    library = Library()
    assert {library.read(library.text(name)).profile for name in library.names()}


def test_a_profile_that_is_not_there_is_told_with_those_that_are() -> None:
    with pytest.raises(Unknown, match="there are: ale"):
        Library().text("../barn")


def test_a_broken_profile_is_told_with_its_line() -> None:
    with pytest.raises(NotUsable, match="profile.yaml:3"):
        Library().read("profile: x\nsteps:\n  - {name: a, hold: warm}\n")


def test_a_command_that_fails_tells_its_own_words() -> None:
    with pytest.raises(NotUsable, match="No such command"):
        asyncio.run(Children().run(["none-such"]))


def test_what_a_command_prints_is_what_comes_back() -> None:
    assert asyncio.run(Children().run(["--version"])).strip()


def test_a_rehearsal_in_a_chamber_that_is_not_there_is_refused_before_anything_is_started() -> None:
    rehearsals = RehearsalsByChild(Children(), Live(load(barn_file())), barn_file())
    with pytest.raises(NotUsable, match="there is no chamber 'cellar'"):
        asyncio.run(rehearsals.rehearse(QUICK, "cellar"))


def test_a_messages_link_is_read_as_the_notifier_writes_it() -> None:
    said = Claim(chamber="bath", name="door-open", raised=START, person="ann", expires=START)
    read = MessageLinks().read(sign(said, b"k" * 32))
    assert (read.chamber, read.name, read.raised, read.person, read.expires) == (
        "bath", "door-open", START, "ann", START,
    )  # fmt: skip


@pytest.mark.parametrize("token", ["", ".", "abc", "a.b.c", "é.é", "x" * 5000])
def test_a_link_that_is_not_whole_is_refused_with_words(token: str, tmp_path: Path) -> None:
    with pytest.raises(NotUsable, match="not whole"):
        MessageLinks().read(token)
