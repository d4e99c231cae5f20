"""A batch's chart as SVG: told apart by line and marker, not by colour, so that it prints well in black and white."""

import io
from datetime import datetime, timedelta
from importlib import import_module
from typing import Any

import numpy as np

from services.recorder.account import Account
from services.recorder.buckets import Buckets
from services.recorder.rows import moment

INK, SOFT, PALE = "#111111", "#777777", "#dddddd"
SIZE_IN = (7.4, 5.4)


def chart(account: Account) -> str:
    """Temperatures above; gravity and the expected end, as they were known then, below. One SVG element."""
    from matplotlib.figure import Figure  # an extra, and heavy

    with_gravity = bool(account.gravity)
    figure = Figure(figsize=SIZE_IN, layout="constrained")
    shares = {"height_ratios": (3, 1, 1) if with_gravity else (3, 1)}
    panels = figure.subplots(3 if with_gravity else 2, 1, sharex=True, gridspec_kw=shares)
    _temperatures(panels[0], account)
    if with_gravity:
        _gravity(panels[1], account)
    _expected_end(panels[-1], account)
    _dates(panels[-1], account)
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None})
    written = out.getvalue()
    return written[written.index("<svg") :]


def _temperatures(panel: Any, account: Account) -> None:
    curves = account.curves
    if curves.setpoint is not None:
        at, wanted = _middles(curves.setpoint, account), curves.setpoint.last
        band = 0.5 if curves.tolerance is None else np.nan_to_num(curves.tolerance.last, nan=0.5)
        panel.fill_between(at, wanted - band, wanted + band, color=PALE, linewidth=0, label="band", step="mid")
        panel.plot(at, wanted, color=INK, linewidth=0.9, dashes=(6, 3), label="setpoint", drawstyle="steps-mid")
    if curves.air is not None:
        panel.plot(
            _middles(curves.air, account), curves.air.mean, color=SOFT, linewidth=0.6, dashes=(1, 2), label="air"
        )
    if curves.beer is not None:
        panel.plot(_middles(curves.beer, account), curves.beer.mean, color=INK, linewidth=1.3, label="beer")
    for number, step in enumerate(account.steps, start=1):
        if step.real[0] is not None:
            _mark(panel, _local(step.real[0], account), str(number))
    for alarm in account.alarms:
        panel.plot([_local(moment(alarm.at_ms), account)], [0.03], marker="^", color=INK, markersize=5, zorder=5,
                   transform=panel.get_xaxis_transform(), linestyle="none", clip_on=False)  # fmt: skip
    panel.set_ylabel("degC")
    if panel.get_legend_handles_labels()[0]:
        panel.legend(loc="lower right", bbox_to_anchor=(1, 1), fontsize=7, ncols=4, frameon=False)
    panel.margins(y=0.15)


def _gravity(panel: Any, account: Account) -> None:
    at = [_local(when, account) for when, _ in account.gravity]
    panel.plot(at, [value for _, value in account.gravity], color=INK, marker="o", markersize=2.5, linewidth=0.7)
    panel.set_ylabel("SG 20/20")
    panel.ticklabel_format(axis="y", useOffset=False)


def _expected_end(panel: Any, account: Account) -> None:
    """When the end was expected, as it was thought then: a plan that holds runs level."""
    at = [_local(one.at, account) for one in account.foreseen]
    ends = [_local(one.ends, account) for one in account.foreseen]
    if at:
        at, ends = [*at, _local(account.end, account)], [*ends, ends[-1]]
        panel.set_ylim(min(ends) - timedelta(days=1), max(ends) + timedelta(days=1))
    changed = [place for place in range(len(ends)) if not place or ends[place] != ends[place - 1]]
    panel.plot(
        at, ends, color=INK, marker="s", markersize=2.5, markevery=changed, linewidth=0.8, drawstyle="steps-post"
    )
    panel.yaxis.set_major_locator(import_module("matplotlib.ticker").LinearLocator(3))
    panel.yaxis.set_major_formatter(import_module("matplotlib.dates").DateFormatter("%d %b"))
    panel.set_ylabel("expected\nend")


def _dates(panel: Any, account: Account) -> None:
    dates: Any = import_module("matplotlib.dates")
    locator = dates.AutoDateLocator()
    panel.xaxis.set_major_locator(locator)
    panel.xaxis.set_major_formatter(dates.ConciseDateFormatter(locator))
    panel.xaxis.get_offset_text().set_size(7)
    panel.set_xlim(_local(account.start, account), _local(account.end, account))
    for one in panel.figure.axes:
        one.grid(color=PALE, linewidth=0.4)
        one.tick_params(labelsize=7)
        one.yaxis.label.set_size(7)


def _mark(panel: Any, at: datetime, text: str) -> None:
    panel.axvline(at, color=SOFT, linewidth=0.5)
    panel.text(at, 0.93, f" {text}", transform=panel.get_xaxis_transform(), fontsize=7)


def _middles(buckets: Buckets, account: Account) -> list[datetime]:
    middles = (buckets.edges_ms[:-1] + buckets.edges_ms[1:]) // 2
    return [_local(moment(at), account) for at in middles.tolist()]


def _local(at: datetime, account: Account) -> datetime:
    """The wall clock of the site, without zone, as charts want it."""
    return at.astimezone(account.zone).replace(tzinfo=None)
