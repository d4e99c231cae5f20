"""What circuits carry, by rated power."""

from schemas.plant import Plant
from schemas.telemetry import Basis, Report
from services.recorder.loads import CircuitLoads
from tests.recorder.history import DAY

OUTPUT = {"drives": "heater", "to": {"simulated": True}, "power": "115 W", "circuit": "ring"}
PLANT = Plant.model_validate(
    {
        "site": {"name": "shed"},
        "circuits": {"ring": {"voltage": "230 V", "limit": "10 A"}},
        "chambers": {
            name: {
                "kind": "fridge",
                "probes": {"beer": {"measures": "temperature", "from": {"simulated": True}}},
                "outputs": {"heat": OUTPUT, "lamp": {**OUTPUT, "circuit": None}},
            }
            for name in ("left", "right")
        },
    }
)


def report(chamber, level, output="heat"):
    return Report(at=DAY, source="bridge", chamber=chamber, output=output, level=level, basis=Basis.ECHOED, since=DAY)


def carried(*reports):
    loads = CircuitLoads(PLANT)
    return [list(loads.after(one)) for one in reports]


def test_levels_add_up_over_the_chambers_of_a_circuit():
    assert carried(report("left", 1.0), report("right", 0.5), report("left", 0.0)) == [
        [("ring", 0.5)],
        [("ring", 0.75)],
        [("ring", 0.25)],
    ]


def test_an_output_of_unknown_level_counts_as_on():
    assert carried(report("left", None)) == [[("ring", 0.5)]]


def test_an_output_on_no_circuit_counts_nowhere():
    assert carried(report("left", 1.0, "lamp"), report("left", 1.0, "unheard-of")) == [[], []]
