"""A changed plant file is followed without disturbing what is described as before."""

from schemas.plant_file import loads
from tests.bridge.bench import FRIDGE, Bench, fridge

SECOND = """
  lager:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: node/lager}}
    outputs:
      heat: {drives: heater, to: {mqtt: relay/lager}}
"""


def change(bench: Bench, text: str) -> None:
    bench.keep(bench.bridge.plant_changed(loads(text), bench.now))


def running() -> Bench:
    bench = Bench()
    bench.wait(1)
    bench.read("18")
    bench.command(1)
    return bench


def test_new_chamber_is_listened_to_and_switched_off_first():
    bench = running()
    change(bench, FRIDGE + SECOND)
    assert "node/lager" in bench.bridge.listens
    assert bench.sent("relay/lager") == [b"0"]


def test_other_chamber_stays_on_and_keeps_its_lease():
    bench = running()
    change(bench, FRIDGE + SECOND)
    assert bench.sent()[-1] == b"1"
    bench.wait(60)
    assert bench.sent()[-1] == b"0"


def test_rewired_output_is_switched_off_at_its_old_address():
    bench = running()
    change(bench, FRIDGE.replace("relay/heat", "relay/other"))
    assert (bench.sent("relay/heat")[-1], bench.sent("relay/other")) == (b"0", [b"0"])


def test_command_given_before_a_rewiring_is_not_followed_after_it():
    bench = running()
    bench.wait(5)
    change(bench, FRIDGE.replace("relay/heat", "relay/other"))
    bench.command(1, ago=2)
    assert bench.sent("relay/other") == [b"0"]


def test_what_went_away_is_forgotten_by_the_broker():
    bench = Bench(fridge(SECOND))
    change(bench, FRIDGE)
    cleared = {one.topic for one in bench.said if one.body == b"" and one.retain}
    assert {"coldside/barn/reading/lager/beer", "coldside/barn/report/lager/heat"} <= cleared
    assert bench.sent("relay/lager")[-1] == b"0"


def test_unchanged_probe_keeps_its_past():
    bench = running()
    change(bench, FRIDGE + SECOND)
    assert bench.read("30").quality == "bad"


def test_refused_plant_file_changes_nothing():
    bench = running()
    assert list(bench.bridge.plant_refused("line 3: ...", bench.now)) == []
    assert bench.sent()[-1] == b"1"
