"""Somebody's plant model played as devices: energy, starts, probes that speak in their turn."""

from collections.abc import Mapping
from datetime import timedelta

import pytest

from schemas.topics import simulated_relay
from services.rehearsal.player import Player
from services.runtime.service import Incoming, Outgoing
from services.simulator.mapping import DEFAULT_POWER_W
from tests.rehearsal.situations import HOUR, START, cellar

PLANT = cellar()
SECOND = timedelta(seconds=1)


class Lukewarm:
    """Says the same of the same probes, and remembers what it was handed."""

    def __init__(self, **says: float) -> None:
        self.says = {(chamber, "bath" if chamber == "bath" else "beer"): value for chamber, value in says.items()}
        self.seconds = 0.0

    def advance(self, seconds: float, outputs: Mapping[tuple[str, str], float]) -> Mapping[tuple[str, str], float]:
        self.seconds += seconds
        return self.says


@pytest.fixture
def player() -> Player:
    made = Player(PLANT, Lukewarm(bath=3.0, east=12.5))
    made.start(START)
    return made


def switch(player: Player, chamber: str, output: str, level: bytes) -> None:
    player.receive(Incoming(simulated_relay("cellar", chamber, output), level), START)


def values(said: list[Outgoing]) -> list[bytes]:
    return [one.body for one in said]


def test_devices_say_nothing_before_they_have_measured(player: Player) -> None:
    assert [*player.start(START), *player.rejoin(START), *player.tick(START)] == []


def test_probe_of_which_the_model_says_nothing_is_silent(player: Player) -> None:
    assert values(list(player.tick(START + SECOND))) == [b"3", b"12.5"]


def test_probe_does_not_speak_again_before_its_turn(player: Player) -> None:
    list(player.tick(START + SECOND))
    assert list(player.tick(START + 1.1 * SECOND)) == []


def test_model_lives_through_all_the_time_that_passes(player: Player) -> None:
    for hours in (1, 3):
        list(player.tick(START + hours * HOUR))
    assert player.model.seconds == 3 * 3600


def test_time_that_goes_back_is_not_lived_through(player: Player) -> None:
    assert (list(player.tick(START - HOUR)), player.model.seconds) == ([], 0.0)


def test_output_uses_what_the_plant_file_says(player: Player) -> None:
    switch(player, "bath", "chill", b"1")
    list(player.tick(START + 2 * HOUR))
    assert player.kwh == pytest.approx({"bath": 0.12, "east": 0.0, "west": 0.0})


def test_output_of_unknown_power_uses_what_is_typical() -> None:
    pump = PLANT.chambers["east"].outputs["pump"].model_copy(update={"power_w": None})
    east = PLANT.chambers["east"].model_copy(update={"outputs": {"pump": pump}})
    player = Player(PLANT.model_copy(update={"chambers": {"east": east}}), Lukewarm())
    player.start(START)
    switch(player, "east", "pump", b"1")
    list(player.tick(START + HOUR))
    assert player.kwh["east"] == pytest.approx(DEFAULT_POWER_W[pump.drives] / 1000)


def test_output_at_half_its_level_uses_half(player: Player) -> None:
    switch(player, "east", "pump", b"0.5")
    list(player.tick(START + HOUR))
    assert player.kwh["east"] == pytest.approx(0.006)


def test_compressor_starts_once_however_often_it_is_told(player: Player) -> None:
    for level in (b"1", b"1", b"0", b"1"):
        switch(player, "bath", "chill", level)
    assert player.starts == 2


def test_pump_is_no_machine_whose_starts_count(player: Player) -> None:
    switch(player, "east", "pump", b"1")
    assert player.starts == 0


def test_relay_that_the_plant_does_not_have_switches_nothing(player: Player) -> None:
    switch(player, "attic", "fan", b"1")
    list(player.tick(START + HOUR))
    assert sum(player.kwh.values()) == 0.0


def test_beer_is_as_its_probe_says_where_the_model_does_not_tell(player: Player) -> None:
    list(player.tick(START + SECOND))
    assert [player.beer_c(name) for name in PLANT.chambers] == [3.0, 12.5, None]


def test_player_goes_on_from_a_copy_as_from_itself(player: Player) -> None:
    switch(player, "bath", "chill", b"1")
    list(player.tick(START + HOUR))
    again = Player(PLANT, Lukewarm(), player.snapshot())
    list(again.tick(START + 2 * HOUR))
    assert (again.kwh["bath"], again.starts, again.model.seconds) == (pytest.approx(0.12), 1, 7200)


def test_copy_does_not_age_with_what_it_was_taken_of(player: Player) -> None:
    kept = player.snapshot()
    list(player.tick(START + HOUR))
    assert (kept.model.seconds, kept.readings) == (0.0, {})


def test_player_that_was_not_started_has_nothing_to_keep() -> None:
    with pytest.raises(RuntimeError, match="has not been started"):
        Player(PLANT, Lukewarm()).snapshot()


def test_player_listens_to_relays_and_batches_of_its_site(player: Player) -> None:
    relays, batches = player.listens
    assert relays == simulated_relay("cellar", "+", "+")
    assert batches.startswith("coldside/cellar/batch/")
