"""What still protects each output is said plainly, and a warning stands where nothing does."""

import pytest

from schemas.plant_file import loads
from services.bridge.protection import NOTHING, Protection, protections


def protection(drives: str = "heater", more: str = "", to: str = "{mqtt: r}") -> Protection:
    plant = loads(f"""
site: {{name: barn}}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {{measures: temperature, from: {{mqtt: a}}}}
    outputs:
      it: {{drives: {drives}, to: {to}{more}}}
""")
    return next(protections(plant))


def test_dumb_heater_has_nothing_but_a_cut_out_when_the_computer_dies():
    found = protection()
    assert found.computer_dies == found.broker_dies == NOTHING
    assert "thermal cut-out" in found.warning
    assert "ale.it" in found.warning


@pytest.mark.parametrize("drives", ["heater", "compressor", "pump", "valve"])
def test_last_will_covers_a_dead_bridge_on_every_dumb_relay_that_could_do_harm(drives):
    assert "last will" in protection(drives).service_dies


@pytest.mark.parametrize("drives", ["heater", "compressor", "pump", "valve"])
def test_dumb_relay_that_could_do_harm_has_a_warning(drives):
    assert protection(drives).warning


def test_fan_has_none():
    assert protection("fan").warning == ""


@pytest.mark.parametrize(("more", "to"), [(", watched_by: device", "{mqtt: r}"), ("", "{mqtt: r, lease: true}")])
def test_relay_that_watches_itself_has_no_warning(more, to):
    found = protection(more=more, to=to)
    assert (found.warning, "itself" in found.computer_dies) == ("", True)


def test_simulated_output_can_harm_nobody():
    assert "simulator" in protection(to="{simulated: true}").service_dies


def test_every_output_of_a_plant_has_its_row():
    plant = loads("""
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes: {beer: {measures: temperature, from: {mqtt: a}}}
    outputs: {heat: {drives: heater, to: {mqtt: b}}, fan: {drives: fan, to: {mqtt: c}}}
""")
    assert [(one.chamber, one.output) for one in protections(plant)] == [("ale", "heat"), ("ale", "fan")]
