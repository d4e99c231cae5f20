"""The supervisor's account of a chamber: what it is doing and why, in one plain sentence."""

from collections.abc import Mapping
from datetime import datetime
from math import ceil, isfinite

from schemas.control import ActiveInterlock, Activity, ChamberStatus, Estimate, Reach
from services.supervisor.board import Board
from services.supervisor.outlets import SOURCE, Outlet
from services.supervisor.reach import SURELY
from services.supervisor.restraint import COOL, HEAT
from services.supervisor.roles import Bars
from services.supervisor.trips import Interlock, Reset

MINUTE_S = 60.0
Key = tuple[object, ...]


def substance(board: Board, now_s: float) -> Key:
    """What must differ for a status to be worth sending again before its minute is over."""
    held = holder(board)
    left = 0 if held is None or held.until_s is None else ceil((held.until_s - now_s) / MINUTE_S)
    guided = board.course.says() if board.course is not None else ""
    return activity(board), board.facts.setpoint_c, held.held_by if held else "", left, board.trips.version, guided


def activity(board: Board) -> Activity:
    """What the chamber is doing."""
    facts = board.facts
    if facts.locked:
        return Activity.LOCKED_OUT
    if any(outlet.wanted > 0.0 for outlet in board.cooling):
        return Activity.COOLING
    if any(outlet.wanted > 0.0 for outlet in board.heating):
        return Activity.HEATING
    if facts.blind:
        return Activity.SAFE
    return Activity.WAITING if facts.wished & (COOL | HEAT) else Activity.RESTING


def holder(board: Board) -> Outlet | None:
    """The output whose guard keeps it from doing what was wished, or keeps it running; None when there is none."""
    return next((outlet for outlet in board.outlets.values() if outlet.held_by), None)


def why(board: Board, now_s: float, guards_say: Mapping[str, str]) -> str:
    """One sentence: the interlock that holds something back, else the guard that does, else control's own reason."""
    barring = next((row for row, _ in board.trips.active if _holds_back(row, board)), None)
    if barring is not None:
        return barring.reason
    held = holder(board)
    if held is not None:
        return f"{guards_say.get(held.held_by, held.held_by)}{_left(held, now_s)}."
    said = _as_sentence(board.decision.why if board.decision is not None else "Waiting for the first readings")
    return f"{said} {_out_of_reach(board)}".rstrip()


def _out_of_reach(board: Board) -> str:
    """That more cold is asked for than there is, where that is sure."""
    facts = board.facts
    if facts.setpoint_c is None or not facts.wished & COOL or board.drawing:
        return ""
    reach = _reach(board)
    if reach is None:
        return ""
    surely_c = reach.coldest_c - SURELY * reach.sd_k
    if surely_c <= facts.setpoint_c + facts.tolerance_k:
        return ""
    return f"About {reach.coldest_c:.0f} degC is the coldest it gets as things are."


def status(board: Board, now_s: float, now: datetime, guards_say: Mapping[str, str]) -> ChamberStatus:
    """The whole account."""
    decision = board.decision
    return ChamberStatus(
        at=now,
        source=SOURCE,
        chamber=board.name,
        doing=activity(board),
        why=why(board, now_s, guards_say),
        setpoint_c=board.facts.setpoint_c,
        demand=min(1.0, max(0.0, decision.demand)) if decision is not None else 0.0,
        interlocks=tuple(_active(board, now, guards_say)),
        estimate=_estimate(board),
        reach=_reach(board),
        guided=board.course.progress() if board.course is not None else None,
    )


def _holds_back(row: Interlock, board: Board) -> bool:
    return bool(row.bars & board.facts.wished) or row.bars & Bars.STEER == Bars.STEER


def _active(board: Board, now: datetime, guards_say: Mapping[str, str]) -> list[ActiveInterlock]:
    tripped = [
        ActiveInterlock(id=row.id, reason=row.reason, since=trip.since or now, latched=row.reset is Reset.BY_PERSON)
        for row, trip in board.trips.active
        if row.tells or not row.bars or _holds_back(row, board)
    ]
    held = {outlet.held_by: outlet for outlet in board.outlets.values() if outlet.held_by in guards_say}
    known = {one.id for one in tripped}
    return tripped + [
        ActiveInterlock(id=guard, reason=f"{guards_say[guard]}.", since=outlet.held_since or now)
        for guard, outlet in held.items()
        if guard not in known
    ]


def _left(outlet: Outlet, now_s: float) -> str:
    if outlet.until_s is None:
        return ""
    left_s = outlet.until_s - now_s
    return f", {ceil(left_s / MINUTE_S)} min left" if left_s > MINUTE_S else ", under a minute left"


def _as_sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text.endswith((".", "!", "?")) else ".")


def _reach(board: Board) -> Reach | None:
    """Never below where cooling is cut, however strong the machine; what holds it then is no matter of chance."""
    found, floor_c = board.decision.estimate if board.decision is not None else None, board.facts.floor_c
    if found is None or found.reaches_c is None or not isfinite(found.reaches_c):
        return None
    sd_k = found.reach_sd_k if found.reaches_c + SURELY * found.reach_sd_k > floor_c else 0.0
    sure = min(1.0, max(0.0, found.reach_sureness))
    return Reach(coldest_c=max(found.reaches_c, floor_c), sd_k=sd_k, certainty=sure)


def _estimate(board: Board) -> Estimate | None:
    found = board.decision.estimate if board.decision is not None else None
    if found is None or found.beer_c is None:
        return None
    sureness = min(1.0, max(0.0, found.sureness))
    return Estimate(beer_c=found.beer_c, beer_sd_k=max(0.0, found.beer_sd_k), heat_w=found.heat_w, certainty=sureness)
