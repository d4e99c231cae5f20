"""Dashboards: the JSON is what the code builds, fits the SDK's schema, and every query in it returns rows."""

import json
import re
from pathlib import Path

import pytest

pytest.importorskip("grafana_foundation_sdk")

from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.cog.plugins import register_default_plugins
from grafana_foundation_sdk.cog.runtime import Runtime
from grafana_foundation_sdk.models.dashboard import Dashboard
from ruamel.yaml import YAML

from grafana_provisioning.build import FOLDER, as_built, generated
from grafana_provisioning.dashboards import ALL
from grafana_provisioning.panels import DETAIL
from grafana_provisioning.queries import SOURCE, variant
from services.recorder.influx_server import InfluxQl
from services.recorder.influx_store import InfluxStore
from tests.recorder.conftest import INFLUX, new_database
from tests.recorder.history import DAY, after
from tests.recorder.recorded import record
from tests.recorder.sdk_schema import misfits

STORED = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in sorted(FOLDER.glob("*.json"))}
CHOSEN = {"site": "shed", "origin": "life", "batch": "pale-7"}
CHAMBER_OF = {"sources": "bath"}


def panel_queries(stored):
    return [(panel["title"], target["query"]) for panel in stored["panels"] for target in panel["targets"]]


def annotation_queries(stored):
    return [(one["name"], one["query"]) for one in stored["annotations"].get("list", ())]


def variable_queries(stored):
    return [(one["name"], one["query"]) for one in stored["templating"]["list"] if one["type"] == "query"]


QUERIES = [
    pytest.param(name, query, id=f"{name}: {title} {number}")
    for name, stored in STORED.items()
    for number, (title, query) in enumerate(
        panel_queries(stored) + annotation_queries(stored) + variable_queries(stored)
    )
]


def asked(query, name, detail="$"):
    """The statement as Grafana would send it for the day."""
    chosen = {**CHOSEN, "chamber": CHAMBER_OF.get(name, "left")}
    start, end = (int(one.timestamp() * 1000) for one in (DAY, after(days=1)))
    query = query.replace("$timeFilter", f"time >= {start}ms AND time < {end}ms").replace("$__interval", "10m")
    query = query.replace("${detail:raw}", detail)
    for variable, value in chosen.items():
        query = re.sub(rf"\${variable}\b", value, query)
    assert "${" not in query
    return query


@pytest.fixture(scope="module", params=INFLUX)
def history(request):
    database = new_database(request, request.param)
    store = InfluxStore(database)
    record(store)
    for series in store.series():
        store.roll_up(series, int(DAY.timestamp() // 86400))
    return InfluxQl(database)


def test_no_dashboard_is_stale():
    for path, text in generated().items():
        assert path.read_text(encoding="utf-8") == text
    assert set(STORED) == set(ALL)


@pytest.mark.parametrize("name", ALL)
def test_a_dashboard_fits_the_sdks_schema(name):
    register_default_plugins()
    Runtime().register_dataquery_variant(variant())
    built = as_built(name)
    again = json.loads(json.dumps(Dashboard.from_json(built), cls=JSONEncoder))
    assert again == built


@pytest.fixture
def sdk():
    register_default_plugins()
    Runtime().register_dataquery_variant(variant())
    return Dashboard


@pytest.mark.parametrize("name", STORED)
def test_all_that_is_committed_is_of_the_type_that_the_sdk_declares(sdk, name):
    assert list(misfits(sdk.from_json(STORED[name]))) == []


@pytest.mark.parametrize(
    ("place", "wrong"), [(("panels", 0, "gridPos", "h"), "9"), (("panels", 0, "title"), 7), (("graphTooltip",), 5)]
)
def test_a_dashboard_that_does_not_fit_is_found_out(sdk, place, wrong):
    spoiled = part = json.loads(json.dumps(STORED["overview"]))
    for step in place[:-1]:
        part = part[step]
    part[place[-1]] = wrong
    assert len(list(misfits(sdk.from_json(spoiled)))) == 1


@pytest.mark.parametrize(("name", "query"), QUERIES)
def test_every_query_returns_rows_from_a_real_server(history, name, query):
    assert sum(len(one["values"]) for one in history.ask(asked(query, name))) > 0


@pytest.mark.parametrize("detail", DETAIL.values())
def test_curves_can_be_drawn_from_every_level_of_detail(history, detail):
    ends = {}
    for name, stored in STORED.items():
        for title, query in panel_queries(stored):
            if "${detail" in query:
                ends[name, title, query] = sum(len(one["values"]) for one in history.ask(asked(query, name, detail)))
    assert ends
    assert all(ends.values())


def test_no_curve_shows_a_bad_reading(history):
    drawn = [query for title, query in panel_queries(STORED["chamber"]) if title == "Temperatures"]
    rows = [row for query in drawn for one in history.ask(asked(query, "chamber")) for row in one["values"]]
    assert max(row[1] for row in rows if row[1] is not None) < 20


def test_every_panel_asks_the_source_that_is_provisioned():
    (source,) = YAML(typ="safe").load((FOLDER.parent / "datasources" / "coldside.yaml").read_text())["datasources"]
    assert (source["uid"], source["type"]) == (SOURCE.uid, SOURCE.type_val)
    for stored in STORED.values():
        asked_of = {target["datasource"]["uid"] for panel in stored["panels"] for target in panel["targets"]}
        assert asked_of == {SOURCE.uid}


def test_dashboards_have_ids_and_titles_of_their_own():
    assert (
        len({stored["uid"] for stored in STORED.values()}) == len({stored["title"] for stored in STORED.values()}) == 6
    )


def test_no_secret_is_committed():
    text = (Path(FOLDER).parent / "datasources" / "coldside.yaml").read_text()
    assert re.search(r"httpHeaderValue1: Token \$COLDSIDE_INFLUX_TOKEN", text)
