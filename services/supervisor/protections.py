"""Interlocks that keep people, beer and bath from harm."""

from brewing.exposure import LIMITS
from schemas.conditions import ConditionKind
from schemas.plant import Measure
from services.supervisor.asked import COOLANT_MARGIN_K
from services.supervisor.facts import Facts
from services.supervisor.roles import Bars
from services.supervisor.trips import Interlock, Reset
from services.supervisor.where import has_air, holds_beer, is_jacketed, is_reservoir, measures

Row = Interlock

HYSTERESIS_K = 0.2
FAR_FROM_SETPOINT_K = 1.5
RISES_ABOVE_FLOOR_K = 0.5
BATH_BARELY_COLDER_K = 0.5
AIR_SETTLES_K = 5.0
LOW_FOR_S = 20.0
HOT_FOR_S = 10.0
"""Longer than one probe's noise, far shorter than anything takes to burn."""
ROOM_CO2_PPM = LIMITS["osha_pel"].ppm


def _too_cold(f: Facts, tripped: bool) -> bool:
    held_c = f.held_c
    return held_c is not None and held_c <= f.floor_c + (HYSTERESIS_K if tripped else 0.0)


def _too_warm_to_heat(f: Facts, tripped: bool) -> bool:
    held_c = f.held_c
    return held_c is not None and held_c >= f.ceiling_c - (HYSTERESIS_K if tripped else 0.0)


def _air_too_hot(f: Facts, tripped: bool) -> bool:
    return f.air_c is not None and f.air_c >= f.air_ceiling_c - (AIR_SETTLES_K if tripped else 0.0)


def _above_setpoint(f: Facts, tripped: bool) -> bool:
    return f.off_k > FAR_FROM_SETPOINT_K - (HYSTERESIS_K if tripped else 0.0)


def _below_setpoint(f: Facts, tripped: bool) -> bool:
    return f.off_k < -FAR_FROM_SETPOINT_K + (HYSTERESIS_K if tripped else 0.0)


def _left_to_rise(f: Facts, tripped: bool) -> bool:
    if not f.free_rise or f.held_c is None:
        return f.free_rise
    least_c = f.floor_c + RISES_ABOVE_FLOOR_K
    if f.kept_above_c is not None:
        least_c = max(least_c, f.kept_above_c)
    return f.held_c > least_c + (0.0 if tripped else HYSTERESIS_K)


def _bath_useless(f: Facts, tripped: bool) -> bool:
    margin_k = BATH_BARELY_COLDER_K + (HYSTERESIS_K if tripped else 0.0)
    return f.source_c is not None and f.beer_c is not None and f.source_c > f.beer_c - margin_k


PROTECTIONS: tuple[Row, ...] = (
    Row(
        id="locked-out",
        reason="Locked out by a person.",
        cause="Somebody works on the chamber and asked for a lock-out.",
        effect="Every output is off until the lock-out is cleared or its time is over.",
        bars=Bars.ALL,
        reset=Reset.AT_TIME,
        trips=lambda f, tripped: f.locked,
        outranks_run=True,
        tells=ConditionKind.LOCKED_OUT,
    ),
    Row(
        id="no-trusted-reading",
        reason="No temperature to trust: outputs are off.",
        cause="No good and fresh reading of the beer, and no air reading that may stand in for it.",
        effect="Cooling, heating and fan are off; a compressor finishes its minimum run.",
        bars=Bars.STEER | Bars.MOVE,
        trips=lambda f, tripped: f.blind,
        tells=ConditionKind.NO_TRUSTED_PROBE,
    ),
    Row(
        id="beer-near-freezing",
        reason="The beer is near freezing: no cooling.",
        cause="The beer is no warmer than its freezing point and margin, or the lowest temperature allowed.",
        effect="Cooling stops at once, also within a compressor's minimum run.",
        bars=Bars.COOL,
        trips=_too_cold,
        outranks_run=True,
        tells=ConditionKind.BEER_NEAR_FREEZING,
        applies=holds_beer,
        figures=(("value", "held_c"), ("limit", "floor_c")),
        unit="degC",
    ),
    Row(
        id="reservoir-too-cold",
        reason="The bath is as cold as its coolant bears: no cooling.",
        cause=f"The bath is within {COOLANT_MARGIN_K:g} K of its coolant's freezing point, or its lowest temperature.",
        effect="The chiller stops at once, also within its minimum run.",
        bars=Bars.COOL,
        trips=_too_cold,
        outranks_run=True,
        applies=is_reservoir,
        figures=(("value", "beer_c"), ("limit", "floor_c")),
        unit="degC",
    ),
    Row(
        id="reservoir-low",
        reason="The reservoir's level is low: chiller off.",
        cause="The reservoir's float contact is open.",
        effect="The chiller stops at once: a bare coil ices up.",
        bars=Bars.COOL | Bars.MOVE,
        trips=lambda f, tripped: f.level_low,
        after_s=20.0,
        outranks_run=True,
        tells=ConditionKind.RESERVOIR_LOW,
        applies=is_reservoir,
    ),
    Row(
        id="source-low",
        reason="The reservoir's level is low: pump off.",
        cause="The float contact of the reservoir that this vessel draws on is open.",
        effect="The pump stops rather than run dry.",
        bars=Bars.COOL,
        trips=lambda f, tripped: f.source_low,
        after_s=20.0,
        outranks_run=True,
        applies=is_jacketed,
    ),
    Row(
        id="beer-too-warm-for-heat",
        reason="The beer is at its highest temperature: no heating.",
        cause="The beer has reached the highest temperature allowed.",
        effect="The heater is off.",
        bars=Bars.HEAT,
        trips=_too_warm_to_heat,
    ),
    Row(
        id="air-too-hot",
        reason="The air got too hot: the heater stays off until somebody has looked.",
        cause="The air has reached the highest air temperature allowed.",
        effect="The heater is off.",
        bars=Bars.HEAT,
        reset=Reset.BY_PERSON,
        trips=_air_too_hot,
        after_s=10.0,
        tells=ConditionKind.AIR_TOO_HOT,
        applies=has_air,
        figures=(("value", "air_c"), ("limit", "air_ceiling_c")),
        unit="degC",
    ),
    Row(
        id="room-co2-high",
        reason="Carbon dioxide in the room: gas shut off. Ventilate; do not go in alone.",
        cause=f"A room probe reads {ROOM_CO2_PPM:g} ppm or more, the limit for an 8 h day.",
        effect="The gas valve is shut. This is no safety device: keep an independent alarm.",
        bars=Bars.GAS,
        trips=lambda f, tripped: f.co2_ppm is not None and f.co2_ppm >= ROOM_CO2_PPM * (0.8 if tripped else 1.0),
        tells=ConditionKind.ROOM_CO2,
        applies=measures(Measure.CO2),
        figures=(("value", "co2_ppm"),),
        unit="ppm",
    ),
    Row(
        id="door-pause",
        reason="The door is open: paused.",
        cause="The door contact is open.",
        effect="Cooling, heating and fan pause, for the time that the plant file allows; but for a minimum run.",
        bars=Bars.STEER | Bars.MOVE,
        trips=lambda f, tripped: 0.0 < f.door_open_s <= f.door_pause_s,
        tells=ConditionKind.DOOR_OPEN,
        applies=measures(Measure.CONTACT),
    ),
    Row(
        id="door-left-open",
        reason="The door stays open: going on, to protect the beer.",
        cause="The door contact has been open for longer than the pause that the plant file allows.",
        effect="Control goes on as if the door were shut.",
        trips=lambda f, tripped: f.door_open_s > f.door_pause_s,
        tells=ConditionKind.DOOR_OPEN,
        applies=measures(Measure.CONTACT),
    ),
    Row(
        id="bath-not-colder",
        reason="The bath is no colder than the beer: pump off.",
        cause=f"The bath is less than {BATH_BARELY_COLDER_K:g} K colder than the vessel on it.",
        effect="The pump is off: it would only warm the beer.",
        bars=Bars.COOL,
        trips=_bath_useless,
        applies=is_jacketed,
    ),
    Row(
        id="left-to-rise",
        reason="The beer is left to warm up by itself: no heating.",
        cause="The step lets the beer rise by itself, and it is above the least that the step or its freezing allows.",
        effect="The heater is off.",
        bars=Bars.HEAT,
        trips=_left_to_rise,
        applies=holds_beer,
    ),
    Row(
        id="far-above-setpoint",
        reason="The beer is far warmer than asked for: no heating.",
        cause=f"The beer is over {FAR_FROM_SETPOINT_K:g} K above its setpoint.",
        effect="The heater is off, whatever control believes.",
        bars=Bars.HEAT,
        trips=_above_setpoint,
        applies=holds_beer,
    ),
    Row(
        id="far-below-setpoint",
        reason="The beer is far colder than asked for: no cooling.",
        cause=f"The beer is over {FAR_FROM_SETPOINT_K:g} K below its setpoint.",
        effect="Cooling is off, whatever control believes; a compressor finishes its minimum run.",
        bars=Bars.COOL,
        trips=_below_setpoint,
        applies=holds_beer,
    ),
    Row(
        id="beer-probe-lost",
        reason="No beer reading to trust: holding the air instead.",
        cause="No good and fresh reading of the beer; the air probe is well and may stand in.",
        effect="Control goes by the air, in a wider band.",
        trips=lambda f, tripped: f.beer_lost and f.by_air,
        tells=ConditionKind.NO_TRUSTED_PROBE,
    ),
    Row(
        id="implausible-reading",
        reason="The newest reading is not plausible and steers nothing.",
        cause="The bridge marks the newest reading of the beer uncertain or bad.",
        effect="The last good reading counts until it is too old.",
        trips=lambda f, tripped: f.beer_doubtful and not f.beer_lost,
    ),
    Row(
        id="setpoint-cut",
        reason="More was asked for than the limits allow.",
        cause="The setpoint is below the freezing point and margin, or outside the chamber's limits.",
        effect="The nearest allowed temperature is held instead.",
        trips=lambda f, tripped: f.setpoint_cut,
    ),
)
"""In order of precedence."""
