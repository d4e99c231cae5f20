"""From keg to glass: the line that uses up the pressure, the first pour, and how many pours are left.

Darcy-Weisbach with Colebrook's friction. The physics of a smooth tube gives about a third less resistance than the
trade's lists, whose figures carry fittings and hose tolerance: start from the longer line, then cut.

Caution: gas pressure and carbon dioxide can hurt; never raise the regulator above the rating of keg, line or
fittings.
"""

import math
from typing import NamedTuple

from brewing import water
from brewing.atmosphere import STANDARD_PA
from brewing.carbonation import CHART_GAUGE_PA, PSI_PA, volumes
from brewing.errors import check

GRAVITY = 9.80665
BEER_DENSITY = 1010.0  # kg/m3
BEER_VISCOSITY = 0.002  # Pa s near 4 degC; 1.5 to 2.4 moves the drop by 10 %
SMOOTH_TUBE_M = 1.5e-6
POUR_M3_S = 63.1e-6  # 1 US gal/min: common practice, no source
LAMINAR_BELOW, TURBULENT_ABOVE = 2300.0, 4000.0
INCH, FOOT = 0.0254, 0.3048

_PSI_PER_FOOT = PSI_PA / FOOT


class Restriction(NamedTuple):
    """Pa per m as the trade lists it at about one US gallon a minute: usual, lowest and highest printed."""

    usual: float
    low: float
    high: float


TRADE_RESTRICTIONS = {  # common practice, no source
    "3/16 in ID soft vinyl line": Restriction(3.0 * _PSI_PER_FOOT, 2.2 * _PSI_PER_FOOT, 3.0 * _PSI_PER_FOOT),
    "1/4 in ID soft vinyl line": Restriction(0.8 * _PSI_PER_FOOT, 0.65 * _PSI_PER_FOOT, 0.85 * _PSI_PER_FOOT),
    "3/16 in ID barrier line": Restriction(2.2 * _PSI_PER_FOOT, 2.0 * _PSI_PER_FOOT, 2.2 * _PSI_PER_FOOT),
}


class Liquid(NamedTuple):
    """What flows: kg/m3 and Pa s."""

    density: float = BEER_DENSITY
    viscosity: float = BEER_VISCOSITY


class Line(NamedTuple):
    """The tube: bore and wall roughness in m, rise from keg to tap in m, losses of fittings and exit in velocity
    heads.
    """

    bore_m: float
    rise_m: float = 0.0
    losses: float = 1.0
    roughness_m: float = SMOOTH_TUBE_M


BEER = Liquid()


def beer_at(temperature_c: float, viscosity: float | None = None) -> Liquid:
    """Beer between 0 and 30 degC: water's density and viscosity at that temperature, scaled to 1010 kg/m3 and 2 mPa
    s at 4.

    The scaling is our own assumption; beers lie 25 % either way (a lager had 2.42 mPa s at 6 degC: ACS Omega 2021,
    PMC8047704). A measured `viscosity` in Pa s goes before it.
    """
    celsius = check("temperature_c", temperature_c, 0.0, 30.0, "degC")
    scaled = BEER_VISCOSITY * water.viscosity(celsius) / water.viscosity(4.0)
    return Liquid(BEER_DENSITY * water.density(celsius) / water.density(4.0), viscosity or scaled)


def velocity(flow_m3_s: float, bore_m: float) -> float:
    """m/s in a round tube of 1 to 50 mm bore, up to 1 L/s."""
    flow = check("flow_m3_s", flow_m3_s, 1e-9, 1e-3, "m3/s")
    return 4.0 * flow / (math.pi * check("bore_m", bore_m, 0.001, 0.05, "m") ** 2)


def reynolds(flow_m3_s: float, bore_m: float, liquid: Liquid = BEER) -> float:
    """Reynolds number; 2300 to 4000 is neither laminar nor turbulent and no friction law holds well there."""
    viscosity = check("viscosity", liquid.viscosity, 1e-4, 1.0, "Pa s")
    return check("density", liquid.density, 500.0, 2000.0, "kg/m3") * velocity(flow_m3_s, bore_m) * bore_m / viscosity


def transitional(reynolds_number: float) -> bool:
    """Whether the friction there is uncertain by tens of percent."""
    return LAMINAR_BELOW <= check("reynolds_number", reynolds_number, 0.0, 1e8, "") <= TURBULENT_ABOVE


def friction_factor(reynolds_number: float, relative_roughness: float = 0.0) -> float:
    """Darcy friction factor: 64/Re below 2300, Colebrook above (solved, not approximated); roughness up to 5 % of the
    bore.
    """
    number = check("reynolds_number", reynolds_number, 1e-3, 1e8, "")
    rough = check("relative_roughness", relative_roughness, 0.0, 0.05, "")
    if number < LAMINAR_BELOW:
        return 64.0 / number
    root = 7.0
    for _ in range(30):
        root = -2.0 * math.log10(rough / 3.7 + 2.51 * root / number)
    return 1.0 / (root * root)


def friction_gradient(
    flow_m3_s: float, bore_m: float, liquid: Liquid = BEER, roughness_m: float = SMOOTH_TUBE_M
) -> float:
    """Pa lost to friction in each metre of line, +/-10 % for the viscosity of beers; flows in transition are worse."""
    number = reynolds(flow_m3_s, bore_m, liquid)
    factor = friction_factor(number, check("roughness_m", roughness_m, 0.0, 1e-3, "m") / bore_m)
    return factor / bore_m * liquid.density * velocity(flow_m3_s, bore_m) ** 2 / 2.0


def head(rise_m: float, density: float = BEER_DENSITY) -> float:
    """Pa that the rise costs (negative when the tap is below the keg); the trade rounds to half a psi a foot."""
    return check("density", density, 500.0, 2000.0, "kg/m3") * GRAVITY * check("rise_m", rise_m, -30.0, 30.0, "m")


def balanced_length(gauge_pa: float, line: Line, flow_m3_s: float = POUR_M3_S, liquid: Liquid = BEER) -> float:
    """m of line that leave no pressure at the tap at that flow, so that the beer arrives without foaming; +/-10 %.

    Raises OutOfRange naming `gauge_pa` when rise and fittings alone use up the pressure.
    """
    lost = _fixed_losses(line, flow_m3_s, liquid)
    gauge = check("gauge_pa", gauge_pa, max(lost, 0.0), 1e6, "Pa", "rise and fittings need more than that")
    return (gauge - lost) / friction_gradient(flow_m3_s, line.bore_m, liquid, line.roughness_m)


def flow_through(length_m: float, gauge_pa: float, line: Line, liquid: Liquid = BEER) -> float:
    """m3/s that this line pours at that pressure: the inverse of `balanced_length`; OutOfRange when nothing would
    flow.
    """
    length = check("length_m", length_m, 0.01, 200.0, "m")
    still = head(line.rise_m, liquid.density)
    gauge = check("gauge_pa", gauge_pa, max(still, 0.0), 1e6, "Pa", "the rise alone needs more than that")
    low, high = 1e-9, 1e-3
    for _ in range(80):
        middle = math.sqrt(low * high)
        gradient = friction_gradient(middle, line.bore_m, liquid, line.roughness_m)
        needed = _fixed_losses(line, middle, liquid) + gradient * length
        low, high = (middle, high) if needed < gauge else (low, middle)
    return low


def rule_of_thumb_length(gauge_pa: float, rise_m: float, tubing: str, at_tap_pa: float = 0.0) -> float:
    """m of line by the trade's resistance list; `tubing` is a name in TRADE_RESTRICTIONS. Common practice, no
    source.
    """
    if tubing not in TRADE_RESTRICTIONS:
        raise ValueError(f"tubing is {tubing!r}, which is none of {', '.join(TRADE_RESTRICTIONS)}")
    used = head(rise_m) + check("at_tap_pa", at_tap_pa, 0.0, 1e5, "Pa")
    gauge = check("gauge_pa", gauge_pa, max(used, 0.0), 1e6, "Pa", "the rise alone needs more than that")
    return (gauge - used) / TRADE_RESTRICTIONS[tubing].usual


def line_volume(length_m: float, bore_m: float) -> float:
    """L of beer that stand in the line: what the first pour brings at the line's temperature, not the keg's."""
    length = check("length_m", length_m, 0.0, 200.0, "m")
    return math.pi / 4.0 * check("bore_m", bore_m, 0.001, 0.05, "m") ** 2 * length * 1e3


def gas_set_free(
    keg_c: float, line_c: float, gauge_pa: float, rise_m: float = 0.0, atmosphere_pa: float = STANDARD_PA
) -> float:
    """Volumes of gas that beer in a line warmer than the keg, and higher, can no longer hold at rest: the first
    pour's foam.

    0 when it stays dissolved. Both temperatures within the carbonation chart, -1.1 to 21.1 degC.
    """
    at_tap = gauge_pa - head(rise_m)
    check(
        "rise_m", rise_m, -30.0, (gauge_pa - CHART_GAUGE_PA[0]) / (BEER_DENSITY * GRAVITY), "m", "no pressure up there"
    )
    return max(
        0.0, volumes(keg_c, gauge_pa, atmosphere_pa) - volumes(line_c, min(at_tap, CHART_GAUGE_PA[1]), atmosphere_pa)
    )


def contents_by_mass(gross_kg: float, empty_kg: float, density: float = BEER_DENSITY) -> float:
    """L left in a keg on a scale; OutOfRange names `gross_kg` below the empty keg's mass. 50 g of gas are not
    counted.
    """
    empty = check("empty_kg", empty_kg, 0.0, 200.0, "kg")
    beer = check("gross_kg", gross_kg, empty, 1000.0, "kg", "weigh the empty keg with its fittings again") - empty
    return beer / check("density", density, 900.0, 1200.0, "kg/m3") * 1e3


def contents_by_flow(filled_l: float, poured_l: float) -> float:
    """L left by a flow meter; OutOfRange names `poured_l` when more came out than went in: the meter counted foam."""
    filled = check("filled_l", filled_l, 0.0, 1000.0, "L")
    return filled - check("poured_l", poured_l, 0.0, filled, "L", "the meter counts foam: reset it")


def pours_left(contents_l: float, glass_l: float, lost_l: float = 0.0) -> int:
    """Whole glasses left when `lost_l` stays behind below the dip tube or goes down the drain."""
    usable = check("contents_l", contents_l, 0.0, 1000.0, "L") - check("lost_l", lost_l, 0.0, 100.0, "L")
    return max(0, math.floor(usable / check("glass_l", glass_l, 0.01, 5.0, "L") + 1e-9))


def _fixed_losses(line: Line, flow_m3_s: float, liquid: Liquid) -> float:
    losses = check("losses", line.losses, 0.0, 1000.0, "velocity heads")
    return head(line.rise_m, liquid.density) + losses * liquid.density * velocity(flow_m3_s, line.bore_m) ** 2 / 2.0
