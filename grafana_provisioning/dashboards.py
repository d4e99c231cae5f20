"""The six dashboards. Their design is ours: what a brewer looks at first stands first."""

from collections.abc import Callable

from grafana_foundation_sdk.builders import dashboard

from grafana_provisioning.panels import HALF, choice, curves, listing, numbers, page, states
from grafana_provisioning.queries import (
    CHAMBER,
    HERE,
    SOURCE,
    Ask,
    last,
    mean,
    measured_in,
    named,
    named_like,
    newest,
    told,
)

TEMPERATURES = measured_in("degC")
OF_BATCH = "\"batch\" = '$batch'"
CHAMBERS = 'SHOW TAG VALUES FROM "reading" WITH KEY = "chamber" WHERE "site" = \'$site\''
BATCHES = 'SHOW TAG VALUES FROM "annotation" WITH KEY = "batch" WHERE "site" = \'$site\''


def overview() -> dashboard.Dashboard:
    """All chambers on one page."""
    return (
        page("overview", "All chambers", "What every chamber holds, wants and does.", "now-2d")
        .with_panel(numbers("Beer now", "celsius", Ask(newest("reading", named("beer")), alias="$tag_chamber")))
        .with_panel(
            curves(
                "Beer and setpoint",
                "celsius",
                [
                    Ask(mean("reading", named("beer")), alias="$tag_chamber"),
                    Ask(last("setpoint", named("setpoint")), ref_id="B", alias="$tag_chamber setpoint"),
                ],
            )
        )
        .with_panel(states("Compressors, heaters and pumps", Ask(_outputs(), alias="$tag_chamber $tag_name")))
        .with_panel(
            curves("Demand", "percentunit", [Ask(last("status", named("demand")), alias="$tag_chamber")], span=HALF)
        )
        .with_panel(listing("Alarms raised", Ask(_raised(), form="table"), span=HALF))
    )


def chamber() -> dashboard.Dashboard:
    """One chamber closely."""
    return (
        page("chamber", "One chamber", "Temperatures, outputs and reasons of one chamber.", "now-2d")
        .with_variable(choice("chamber", "Chamber", CHAMBERS))
        .annotation(_events("Steps", told("journal", f"{CHAMBER} AND {named('step-begun')}")))
        .with_panel(
            curves(
                "Temperatures",
                "celsius",
                [
                    Ask(mean("reading", f"{CHAMBER} AND {TEMPERATURES}", by="name"), alias="$tag_name"),
                    Ask(last("setpoint", f"{CHAMBER} AND {named('setpoint')}"), ref_id="B", alias="setpoint"),
                    Ask(mean("status", f"{CHAMBER} AND {named('beer-estimate')}"), ref_id="C", alias="beer, estimated"),
                ],
            )
        )
        .with_panel(states("Outputs", Ask(last("report", CHAMBER, by="name"), alias="$tag_name"), height=6))
        .with_panel(
            curves(
                "Heat from the yeast and unknown loads, estimated",
                "watt",
                [Ask(mean("status", f"{CHAMBER} AND {named('heat-estimate')}"), alias="heat")],
                span=HALF,
            )
        )
        .with_panel(listing("What it did and why", Ask(told("status", CHAMBER), form="table"), span=HALF))
        .with_panel(listing("Probes whose quality changed", Ask(told("quality", CHAMBER), form="table")))
    )


def batch() -> dashboard.Dashboard:
    """One batch from pitching to the last pint; its chamber is chosen beside it."""
    return (
        page("batch", "One batch", "Course, gravity, decisions and notes of one batch.", "now-21d")
        .with_variable(choice("batch", "Batch", BATCHES))
        .with_variable(choice("chamber", "Chamber", CHAMBERS))
        .annotation(_events("Decisions", told("journal", OF_BATCH)))
        .with_panel(
            curves(
                "Course",
                "celsius",
                [
                    Ask(mean("reading", f"{CHAMBER} AND {named('beer')}"), alias="beer"),
                    Ask(last("setpoint", f"{CHAMBER} AND {named('setpoint')}"), ref_id="B", alias="setpoint"),
                ],
            )
        )
        .with_panel(
            curves(
                "Gravity",
                "none",
                [Ask(mean("reading", f"{CHAMBER} AND {measured_in('SG')}", by="name"), alias="$tag_name")],
            )
        )
        .with_panel(listing("Steps and decisions", Ask(told("journal", OF_BATCH), form="table"), span=HALF))
        .with_panel(listing("As the scheduler told of it", Ask(told("batch", OF_BATCH), form="table"), span=HALF))
    )


def cold_sources() -> dashboard.Dashboard:
    """Reservoirs, and the electrical circuits that all share."""
    return (
        page("sources", "Reservoirs and circuits", "What the shared sources of cold and current carry.", "now-2d")
        .with_panel(
            curves(
                "Reservoirs",
                "celsius",
                [
                    Ask(mean("reading", named("bath")), alias="$tag_chamber"),
                    Ask(last("setpoint", named("setpoint")), ref_id="B", alias="$tag_chamber setpoint"),
                ],
            )
        )
        .with_panel(
            states("Chillers and pumps", Ask(_outputs("chill|pump"), alias="$tag_chamber $tag_name"), span=HALF)
        )
        .with_panel(
            curves(
                "Current on each circuit",
                "amp",
                [Ask(last("status", named_like("-load$"), by="name"), alias="$tag_name")],
                span=HALF,
            )
        )
        .with_panel(listing("Circuits near their limit", Ask(told("condition", named_like("^circuit-")), form="table")))
    )


def alarms() -> dashboard.Dashboard:
    """What needed somebody, and how it went."""
    return (
        page("alarms", "Alarms", "Alarms raised, acknowledged and returned, and the conditions behind them.", "now-7d")
        .with_panel(
            curves(
                "Alarm messages a day",
                "none",
                [Ask(_per_day("alarm"), alias="$tag_chamber")],
                span=HALF,
            )
        )
        .with_panel(listing("Raised", Ask(_raised(), form="table"), span=HALF))
        .with_panel(listing("Every change of an alarm", Ask(told("alarm"), form="table"), span=HALF))
        .with_panel(listing("Conditions", Ask(told("condition"), form="table"), span=HALF))
    )


def services() -> dashboard.Dashboard:
    """Whether the programs run."""
    return (
        page("services", "Services", "Which service runs, how far behind it is, and what went wrong last.", "now-1d")
        .with_panel(states("Running", Ask(last("health", named_like("-running$"), by="name"), alias="$tag_name")))
        .with_panel(
            curves(
                "Messages waiting", "none", [Ask(last("health", named_like("-queue$"), by="name"), alias="$tag_name")]
            )
        )
        .with_panel(listing("Came, went, failed", Ask(told("health"), form="table")))
    )


ALL: dict[str, Callable[[], dashboard.Dashboard]] = {
    "overview": overview,
    "chamber": chamber,
    "batch": batch,
    "sources": cold_sources,
    "alarms": alarms,
    "services": services,
}


def _outputs(names: str = ".") -> str:
    return (
        f'SELECT last("value") FROM "report" WHERE $timeFilter AND {HERE} AND {named_like(names)} AND grade < 4 '
        'GROUP BY time($__interval), "chamber", "name" fill(previous)'
    )


def _raised() -> str:
    return told("alarm", '"facts" =~ /"phase":"unacknowledged"/')


def _per_day(kind: str) -> str:
    return (
        f'SELECT count("id") FROM "annotation" WHERE $timeFilter AND {HERE} AND "kind" = \'{kind}\' '
        'GROUP BY time(1d), "chamber" fill(0)'
    )


def _events(name: str, query: str) -> dashboard.AnnotationQuery:
    """Vertical marks on every chart of the page."""
    return dashboard.AnnotationQuery().name(name).datasource(SOURCE).enable(True).icon_color("gray").expr(query)
