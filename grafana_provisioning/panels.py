"""The few kinds of panel that the dashboards are made of."""

from collections.abc import Sequence

from grafana_foundation_sdk.builders import common, dashboard, stat, statetimeline, table, timeseries
from grafana_foundation_sdk.models.common import (
    GraphDrawStyle,
    LegendDisplayMode,
    LegendPlacement,
    LineInterpolation,
    LineStyle,
    VisibilityMode,
)
from grafana_foundation_sdk.models.dashboard import (
    DashboardLinkType,
    DynamicConfigValue,
    VariableHide,
    VariableOption,
    VariableRefresh,
)

from grafana_provisioning.queries import SOURCE, Ask

HALF, WHOLE = 12, 24
TALL, LOW = 9, 4
DASHED = LineStyle(fill="dash", dash=[10, 6])
STEPS = LineInterpolation.STEP_AFTER


def curves(title: str, unit: str, asks: Sequence[Ask], *, span: int = WHOLE, height: int = TALL) -> timeseries.Panel:
    """Lines over time; a line whose name says `setpoint` is dashed and runs in steps."""
    legend = common.VizLegendOptions().display_mode(LegendDisplayMode.LIST).placement(LegendPlacement.BOTTOM)
    panel = (
        timeseries.Panel()
        .title(title)
        .datasource(SOURCE)
        .unit(unit)
        .span(span)
        .height(height)
        .line_width(1)
        .draw_style(GraphDrawStyle.LINE)
        .legend(legend.show_legend(True).calcs([]))
        .override_by_regexp(
            ".*setpoint.*",
            [
                DynamicConfigValue(id_val="custom.lineStyle", value=DASHED),
                DynamicConfigValue(id_val="custom.lineInterpolation", value=STEPS),
            ],
        )
    )
    for ask in asks:
        panel = panel.with_target(ask)
    return panel


def states(title: str, ask: Ask, *, span: int = WHOLE, height: int = TALL) -> statetimeline.Panel:
    """Which of several things was on, and when."""
    panel = statetimeline.Panel().title(title).datasource(SOURCE).span(span).height(height)
    return panel.show_value(VisibilityMode.NEVER).merge_values(True).line_width(0).fill_opacity(70).with_target(ask)


def numbers(title: str, unit: str, ask: Ask, *, span: int = WHOLE) -> stat.Panel:
    """The newest value of each, side by side."""
    reduce = common.ReduceDataOptions().calcs(["lastNotNull"]).values(False)
    return (
        stat.Panel()
        .title(title)
        .datasource(SOURCE)
        .unit(unit)
        .span(span)
        .height(LOW)
        .reduce_options(reduce)
        .with_target(ask)
    )


def listing(title: str, ask: Ask, *, span: int = WHOLE, height: int = TALL) -> table.Panel:
    """Rows."""
    panel = table.Panel().title(title).datasource(SOURCE).span(span).height(height)
    return panel.show_header(True).with_target(ask)


def page(uid: str, title: str, description: str, since: str) -> dashboard.Dashboard:
    """An empty dashboard with the variables that all have: site, origin and detail."""
    return (
        dashboard.Dashboard(title)
        .uid(f"coldside-{uid}")
        .description(description)
        .tags(["coldside"])
        .editable()
        .refresh("30s")
        .time(since, "now")
        .timezone("browser")
        .link(dashboard.DashboardLink("coldside").type(DashboardLinkType.DASHBOARDS).tags(["coldside"]).keep_time(True))
        .with_variable(choice("site", "Site", 'SHOW TAG VALUES WITH KEY = "site"'))
        .with_variable(fixed("origin", "Origin", {"lived": "life", "rehearsed": "simulated", "imported": "imported"}))
        .with_variable(fixed("detail", "Detail", DETAIL))
    )


DETAIL = {"samples": "$", "minutes": "_60s$", "quarters of an hour": "_900s$", "hours": "_3600s$"}
"""Ends of measurement names; samples are kept for weeks, hours for ever."""


def choice(name: str, label: str, query: str) -> dashboard.QueryVariable:
    """A variable whose values the store knows."""
    return (
        dashboard.QueryVariable(name)
        .label(label)
        .datasource(SOURCE)
        .query(query)
        .refresh(VariableRefresh.ON_TIME_RANGE_CHANGED)
        .include_all(False)
    )


def fixed(name: str, label: str, values: dict[str, str]) -> dashboard.CustomVariable:
    """A variable with values of our own, the first chosen at first."""
    first = next(iter(values))
    options = [VariableOption(selected=text == first, text=text, value=value) for text, value in values.items()]
    return (
        dashboard.CustomVariable(name)
        .label(label)
        .hide(VariableHide.DONT_HIDE)
        .values(", ".join(f"{text} : {value}" for text, value in values.items()))
        .options(options)
        .current(options[0])
    )
