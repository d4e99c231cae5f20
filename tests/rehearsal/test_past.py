"""A simulated plant's past: in the store that the plant file names, with states that the services go on from."""

from datetime import UTC, datetime, timedelta

from schemas.plant import Plant
from services.recorder.__main__ import HISTORY, reading_store
from services.recorder.elsewhere import waiting_for_server
from services.recorder.store import Match
from services.rehearsal.past import make_past

NOW = datetime(2026, 3, 2, tzinfo=UTC)
SHED = {
    "site": {"name": "shed"},
    "chambers": {
        "left": {"kind": "fridge", "probes": {"beer": {"measures": "temperature", "from": {"simulated": True}}}}
    },
}


def test_a_past_is_read_back_from_the_embedded_store_and_the_services_have_their_states(tmp_path):
    plant = Plant.model_validate(SHED)
    make_past(plant, tmp_path, NOW, (), span=timedelta(hours=2))
    store = reading_store(plant, tmp_path)
    (beer,) = store.series(Match(kind="reading", name="beer"))
    assert len(store.raw(beer, NOW - timedelta(hours=2), NOW)) > 100
    assert {"scheduler.json", "supervisor.json", HISTORY} <= {path.name for path in tmp_path.iterdir()}


def test_the_past_of_a_plant_with_a_server_goes_that_way_and_into_no_file(tmp_path):
    plant = Plant.model_validate(SHED | {"history": {"influx": {"address": "http://127.0.0.1:9", "writes": "v1"}}})
    make_past(plant, tmp_path, NOW, (), span=timedelta(hours=2))
    assert waiting_for_server(tmp_path, NOW)[0].rows > 100
    assert not (tmp_path / HISTORY).exists()
