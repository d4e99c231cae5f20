"""Interlocks for outputs that say one thing and temperatures another, and for beer that stays off its setpoint."""

from schemas.conditions import ConditionKind
from schemas.plant import Drive, Measure
from services.supervisor.facts import Facts
from services.supervisor.roles import Bars
from services.supervisor.trips import Interlock
from services.supervisor.where import cools_by_air, holds_beer, is_jacketed, is_reservoir, measures

Row = Interlock

COOL, HEAT = int(Bars.COOL), int(Bars.HEAT)
COLD_TRIAL_S, COLD_PAUSE_S, PROVEN_AFTER_S = 1200.0, 1800.0, 300.0
OFF_LONG_S, OFF_VERY_LONG_S, HOUR_S = 1800.0, 2700.0, 3600.0
OFF_TOO_LONG_S = 10_800.0
"""So long after heating, what the air does says nothing of the heater any more."""
FLOWS_L_MIN = 0.2
COLDER_K = 1.0
"""Air that stays where a run left it is only the beer's own warmth or cold, unless it is so far from the beer."""
HOTTER_K = 3.0
"""A warm room alone keeps the air of a cold chamber one or two kelvins above its beer."""
ROOM_OVER_AIR = 2.5
"""Walls insulate so much better than a vessel: the air stands two sevenths of the way from the beer to the room."""
HOTTEST_ROOM_C, WARM_ROOM_C = 40.0, 30.0
"""No room is hotter than the first; up to the second it explains by itself why a cold chamber's air is warm."""
UNASKED_SHARE = 0.6
"""A relay that is welded on gives all of it, but the model is not sure; a hotter room or an open door is less."""
BELOW_FLOOR_K = 0.5
"""The coil's own cold takes a bath a little below where its chiller was stopped; this is more than that."""
BATH_BAND_K = 2.0
"""A bath swings so far above what its vessels want in ordinary control."""


def _not_cooling_air(f: Facts, _: bool) -> bool:
    if f.cool_on_s < COLD_TRIAL_S or f.door_shut_s < COLD_TRIAL_S or f.air_c is None or f.beer_c is None:
        return False
    warms_beer = f.air_c >= f.beer_c + 0.3 and (f.felt_change_10min_k or 0.0) > -0.3
    return warms_beer or f.cool_fall_k < 0.5


def _air_cools(f: Facts) -> bool:
    return f.cool_on_s >= PROVEN_AFTER_S and f.cool_fall_k >= 1.0 and not _not_cooling_air(f, True)


def _bath_not_cooling(f: Facts, _: bool) -> bool:
    changed_k = f.beer_change_60min_k
    return min(f.cool_on_s, f.undrawn_s) >= HOUR_S and changed_k is not None and changed_k >= 0.2


def _bath_cools(f: Facts) -> bool:
    return f.cool_on_s >= PROVEN_AFTER_S and (f.beer_change_30min_k or 0.0) <= -0.2


def _pump_without_effect(f: Facts, _: bool) -> bool:
    changed_k, source_c, beer_c = f.beer_change_30min_k, f.source_c, f.beer_c
    if f.cool_on_s < OFF_LONG_S or changed_k is None or source_c is None or beer_c is None:
        return False
    return source_c <= beer_c - 4.0 and changed_k > -0.05


def _beer_falls(f: Facts) -> bool:
    return f.cool_on_s >= PROVEN_AFTER_S and (f.beer_change_30min_k or 0.0) <= -0.1


def _no_flow(f: Facts, _: bool) -> bool:
    return f.cool_on_s > 0.0 and f.flow_l_min is not None and f.flow_l_min < FLOWS_L_MIN


def _flows(f: Facts) -> bool:
    return f.cool_on_s > 0.0 and f.flow_l_min is not None and f.flow_l_min >= FLOWS_L_MIN


def _not_heating(f: Facts, _: bool) -> bool:
    changed_k = f.beer_change_60min_k
    if f.heated_in_hour_s < 0.5 * HOUR_S or changed_k is None or f.beer_c is None:
        return False
    warm_air = f.air_c is not None and f.air_c > f.beer_c + 1.0
    return changed_k <= 0.02 and f.off_k < -0.3 and not warm_air


def _heats(f: Facts) -> bool:
    warm_air = f.air_c is not None and f.beer_c is not None and f.air_c > f.beer_c + 1.0
    return warm_air or (f.beer_change_60min_k or 0.0) >= 0.1 or f.off_k > -0.2


def _beer_or_setpoint(f: Facts) -> float:
    """Where the beer is, as far as is known; the air says nothing by itself where neither is."""
    if f.beer_c is not None:
        return f.beer_c
    return f.setpoint_c if f.setpoint_c is not None else f.air_c or 0.0


def _cooling_welded(f: Facts, tripped: bool) -> bool:
    if f.still_on & COOL:
        return True
    if f.air_c is not None:
        stays_cold = f.cool_fall_k >= 1.5 and f.cool_recovery_k < (0.5 if tripped else 0.2)
        colder_than_beer = tripped or f.air_c < _beer_or_setpoint(f) - COLDER_K
        return f.cool_off_s >= OFF_LONG_S and stays_cold and colder_than_beer
    changed_k = f.beer_change_30min_k
    limit_k = -0.1 if tripped else -0.5
    return min(f.cool_off_s, f.heat_off_s) >= OFF_VERY_LONG_S and changed_k is not None and changed_k <= limit_k


def _heating_welded(f: Facts, tripped: bool) -> bool:
    if f.still_on & HEAT:
        return True
    if f.air_c is None or f.heat_off_s < OFF_LONG_S or (f.door_shut_s < OFF_LONG_S and not tripped):
        return False
    above_k = f.air_c - _beer_or_setpoint(f)
    if f.unasked is not None and f.unasked >= UNASKED_SHARE * (0.7 if tripped else 1.0):
        return tripped or f.door_shut_s >= OFF_TOO_LONG_S
    just_heated = tripped or (f.heat_off_s <= OFF_TOO_LONG_S and above_k > HOTTER_K)
    stays_hot = f.heat_rise_k >= 1.5 and f.heat_recovery_k < (0.5 if tripped else 0.2) and just_heated
    does_not_fall = tripped or (f.felt_change_10min_k or 0.0) > -0.2
    unexplained = f.air_c + ROOM_OVER_AIR * above_k > HOTTEST_ROOM_C
    far_above = f.beer_c is not None and above_k >= 6.0 and unexplained and f.cool_off_s >= OFF_LONG_S
    return stays_hot or (far_above and does_not_fall)


def _heating_is_off(f: Facts) -> bool:
    """Without cooling's help the air is near the beer again, or no warmer than a warm room makes it; or nothing but the
    device itself spoke against it."""
    if f.air_c is None or f.beer_c is None:
        return True
    above_k = f.air_c - f.beer_c
    explained = above_k < COLDER_K or f.air_c + ROOM_OVER_AIR * above_k < WARM_ROOM_C
    return f.heat_off_s >= OFF_LONG_S and f.cool_off_s >= OFF_LONG_S and explained


def _stays_too_warm(f: Facts, tripped: bool) -> bool:
    return f.off_k > f.tolerance_k * (0.8 if tripped else 1.0) and (f.beer_change_30min_k or 0.0) > -0.1


def _bath_too_warm(f: Facts, tripped: bool) -> bool:
    """A bath that no vessel wants cold may be as warm as it likes."""
    if f.bath_wanted_c is None or f.beer_c is None:
        return False
    off_k = f.beer_c - f.bath_wanted_c - BATH_BAND_K
    return off_k > f.tolerance_k * (0.8 if tripped else 1.0) and (f.beer_change_30min_k or 0.0) > -0.1


def _bath_still_colder(f: Facts, tripped: bool) -> bool:
    return f.beer_c is not None and f.beer_c <= f.floor_c - (0.2 if tripped else BELOW_FLOOR_K)


def _stays_too_cold(f: Facts, tripped: bool) -> bool:
    """Beer that may rise by itself is on its way, not too cold."""
    return (
        not f.free_rise
        and f.off_k < -f.tolerance_k * (0.8 if tripped else 1.0)
        and (f.beer_change_30min_k or 0.0) < 0.1
    )


SYMPTOMS: tuple[Row, ...] = (
    Row(
        id="no-flow",
        reason="The pump moves nothing: it rests.",
        cause=f"The flow meter reads under {FLOWS_L_MIN:g} L/min while the pump runs.",
        effect="The pump rests for ten minutes, then tries again.",
        bars=Bars.COOL,
        trips=_no_flow,
        proven=_flows,
        after_s=30.0,
        lasts_s=600.0,
        tells=ConditionKind.PUMP_WITHOUT_FLOW,
        applies=lambda chamber: chamber.kind == "jacketed" and measures(Measure.FLOW)(chamber),
    ),
    Row(
        id="not-cooling",
        reason="The compressor ran without cooling: it rests.",
        cause="Twenty minutes of running and shut door have not cooled the air.",
        effect="The compressor rests for half an hour, in case it is iced up or overheated, then tries again.",
        bars=Bars.COOL,
        trips=_not_cooling_air,
        proven=_air_cools,
        after_s=300.0,
        lasts_s=COLD_PAUSE_S,
        tells=ConditionKind.NOT_COOLING,
        applies=cools_by_air,
    ),
    Row(
        id="bath-not-cooling",
        reason="The chiller ran without cooling: it rests.",
        cause="The bath got warmer in an hour of chilling in which no vessel drew on it.",
        effect="The chiller rests for half an hour, then tries again.",
        bars=Bars.COOL,
        trips=_bath_not_cooling,
        proven=_bath_cools,
        after_s=300.0,
        lasts_s=COLD_PAUSE_S,
        tells=ConditionKind.NOT_COOLING,
        applies=is_reservoir,
    ),
    Row(
        id="pump-without-effect",
        reason="The pump runs and the beer does not get colder.",
        cause="Half an hour of pumping from a bath 4 K colder or more has not cooled the beer.",
        effect="Control goes on: strong fermentation can do that too. A person is told.",
        trips=_pump_without_effect,
        proven=_beer_falls,
        after_s=300.0,
        tells=ConditionKind.PUMP_WITHOUT_FLOW,
        applies=is_jacketed,
    ),
    Row(
        id="not-heating",
        reason="The heater runs and nothing gets warmer.",
        cause="Half an hour of heating within an hour has warmed neither air nor beer, and the beer is too cold.",
        effect="Control goes on. A person is told.",
        trips=_not_heating,
        proven=_heats,
        after_s=300.0,
        tells=ConditionKind.NOT_HEATING,
        applies=lambda chamber: chamber.output_that(Drive.HEATER) is not None,
    ),
    Row(
        id="cooling-welded",
        reason="Cooling is told off and goes on: the heater holds against it.",
        cause="The device says on though told off, or half an hour after the end of a run it is as cold as before.",
        effect="The heater may work although cooling seems on. A person is told: unplug the machine.",
        trips=_cooling_welded,
        after_s=60.0,
        lasts_s=OFF_LONG_S,
        tells=ConditionKind.RELAY_WELDED,
        applies=lambda chamber: True,
    ),
    Row(
        id="heating-welded",
        reason="Heating is told off and goes on: cooling holds against it.",
        cause="The device says on though told off, or half an hour after the end of heating it is as hot as before, or "
        f"for hours there has been {UNASKED_SHARE:.0%} or more of the heater's power that nobody asked for.",
        effect="Cooling may work although the heater seems on. A person is told: unplug the heater.",
        trips=_heating_welded,
        proven=_heating_is_off,
        after_s=60.0,
        tells=ConditionKind.RELAY_WELDED,
        applies=lambda chamber: chamber.output_that(Drive.HEATER) is not None,
    ),
    Row(
        id="stays-too-warm",
        reason="The beer stays too warm.",
        cause="The beer has been above its tolerance for half an hour and is not getting colder.",
        effect="Control goes on. A person is told.",
        trips=_stays_too_warm,
        after_s=OFF_LONG_S,
        tells=ConditionKind.BEER_TOO_WARM,
        applies=holds_beer,
        figures=(("value", "beer_c"), ("limit", "warmest_c")),
        unit="degC",
    ),
    Row(
        id="stays-too-cold",
        reason="The beer stays too cold.",
        cause="The beer has been below its tolerance for half an hour and is not getting warmer.",
        effect="Control goes on. A person is told.",
        trips=_stays_too_cold,
        after_s=OFF_LONG_S,
        tells=ConditionKind.BEER_TOO_COLD,
        applies=holds_beer,
        figures=(("value", "beer_c"), ("limit", "coldest_c")),
        unit="degC",
    ),
    Row(
        id="bath-too-warm",
        reason="The bath stays too warm.",
        cause="Vessels want the bath colder, and for half an hour it has not been getting colder.",
        effect="Control goes on. A person is told.",
        trips=_bath_too_warm,
        after_s=OFF_LONG_S,
        tells=ConditionKind.RESERVOIR_TOO_WARM,
        applies=is_reservoir,
        figures=(("value", "beer_c"), ("limit", "bath_wanted_c")),
        unit="degC",
    ),
    Row(
        id="bath-still-colder",
        reason="The bath goes on getting colder though its chiller is told off.",
        cause=f"The bath is {BELOW_FLOOR_K:g} K or more below where its chiller was stopped.",
        effect="Control goes on. A person is told.",
        trips=_bath_still_colder,
        tells=ConditionKind.RESERVOIR_TOO_COLD,
        applies=is_reservoir,
        figures=(("value", "beer_c"), ("limit", "floor_c")),
        unit="degC",
    ),
)
"""In order of precedence."""
