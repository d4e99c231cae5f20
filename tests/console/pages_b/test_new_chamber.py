"""A chamber that is to be added becomes a block for the plant file, tried against the file before it is pasted."""

import pytest

from schemas.plant_file import loads
from services.commands.running import barn_file
from services.console.desk.new_chamber import Draft, OutputPick, ProbePick, problems_of, suggestions
from services.console.sources import Leaf

BARN = barn_file().read_text(encoding="utf-8")
BEER = ProbePick(Leaf("shed/1", "$.beer", ("11.5",), 4, "temperature"), "beer", "temperature")
PUMP = OutputPick("pump", "pump", "shed/relay/2", power="12 W")
COOL = OutputPick("cool", "compressor", "shed/relay/1", power="95 W")


def draft(**changes: object) -> Draft:
    return Draft(**{"name": "shed-fridge", "probes": [BEER], "outputs": [COOL], **changes})


def pasted(one: Draft) -> str:
    return BARN.replace("chambers:\n", f"chambers:\n{one.block()}\n", 1)


def test_a_block_that_is_pasted_is_a_chamber_of_the_plant() -> None:
    chamber = loads(pasted(draft(hold="4 degC"))).chambers["shed-fridge"]
    assert (chamber.hold_c, chamber.contents.volume_l) == (4.0, 23.0)
    assert chamber.probes["beer"].source.mqtt == "shed/1"
    assert chamber.outputs["cool"].power_w == 95.0


def test_what_would_be_accepted_has_no_problem() -> None:
    assert problems_of(draft(), BARN) == []
    assert problems_of(draft(kind="jacketed", cooled_by="bath", outputs=[PUMP]), BARN) == []


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"name": "bath"}, "already"),
        ({"name": "No Name"}, "name"),
        ({"volume": "23"}, "23 L"),
        ({"volume": "huge"}, "quantity"),
        ({"probes": []}, "probes"),
        ({"kind": "jacketed"}, "cooled_by"),
        ({"kind": "jacketed", "cooled_by": "bathh"}, "bath"),
        ({"outputs": [OutputPick("cool", "compressor", "shed/#")]}, "topic"),
    ],
)
def test_what_would_be_refused_says_why_and_where(changes: dict, says: str) -> None:
    found = problems_of(draft(**changes), BARN)
    assert any(says in one for one in found), found


@pytest.mark.parametrize(
    ("text", "says"), [("{", "cannot be read"), ("site: {name: x}", "no chambers"), ("", "no chambers")]
)
def test_a_plant_file_that_cannot_take_a_chamber_is_told(text: str, says: str) -> None:
    assert says in problems_of(draft(), text)[0]


def test_probes_are_named_after_what_they_say_each_once() -> None:
    leaves = [
        Leaf("a/beer", None, (), 1),
        Leaf("b", "$.beer", (), 1),
        Leaf("c", "$.p[0]", (), 1),
        Leaf("Ä/é", None, (), 1),
    ]
    assert [one.name for one in suggestions(leaves)] == ["beer", "beer-2", "probe-0", "probe"]


def test_a_temperatures_place_is_written_unless_its_name_says_it() -> None:
    line = ProbePick(BEER.leaf, "glycol-in", "temperature", "line")
    assert (line.data()["at"], BEER.data().get("at")) == ("line", None)
