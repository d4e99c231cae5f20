"""What a simulated plant is made of: plain parameters, SI units and degC, defaults of an ordinary garage brewery.

Conductances are from heat-transfer estimates (h about 8 W/m2K in still air, 15 in moved air, 60-150 in liquid) and are
typical, not measured; heats and specific heats are those of the trade's tables.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

BEER_CP = 4050.0
"""J/(kg K); the value widely quoted for beer."""
WATER_CP = 4190.0
LATENT_J_KG = 333_550.0
"""Heat of fusion of water (IAPWS-06)."""


@dataclass(frozen=True, slots=True)
class ProbeModel:
    """One sensor. `sees` is what it is in touch with.

    Temperatures: `beer` (thermowell, in the core), `strapped` (on the vessel's wall, covered), `outer`, `air`, `bath`,
    `jacket`, `evaporator`, `ambient`. Others: `door` (1 open, 0 shut), `gravity` (SG), `level` (0..1), `power` (W).
    `lag_s` is a first-order time constant; `resolution` the step of the device's number; `noise` a standard deviation.
    """

    sees: str
    lag_s: float = 30.0
    offset: float = 0.0
    noise: float = 0.02
    resolution: float = 0.0625


@dataclass(frozen=True, slots=True)
class BeerModel:
    """The contents of a vessel: two well-stirred shares, and a fermentation that is driven by what is left to ferment.

    `original_extract_p` in degP, 0 for water. `fermented` 0..1 of the fermentable part is gone already. `rate_per_h` is
    the specific rate at 18 degC and `rate_per_k` its relative change per kelvin. `mixing_w_k` joins core and outer
    layer in still beer; carbon dioxide at full fermentation multiplies it by 1 + `stirring`. `outer_share` of the mass
    is the outer layer.
    """

    volume_l: float = 20.0
    start_c: float = 18.0
    original_extract_p: float = 12.0
    attenuation: float = 0.78
    fermented: float = 0.0
    inoculum: float = 0.02
    rate_per_h: float = 0.06
    rate_per_k: float = 0.09
    outer_share: float = 0.25
    mixing_w_k: float = 60.0
    stirring: float = 3.0


@dataclass(frozen=True, slots=True)
class CompressorModel:
    """A small hermetic compressor with its evaporator.

    `cooling_w` and `power_w` at -10 degC evaporator and 25 degC room; capacity falls with a colder evaporator and a
    warmer room, and comes up with `pull_down_s` after a start. `own_coldest_c`, where given, is the machine's own
    thermostat that lets it run only down to this air temperature (a domestic fridge at its coldest), with 2 K of its
    own differential.
    """

    cooling_w: float = 120.0
    power_w: float = 95.0
    pull_down_s: float = 80.0
    evaporator_j_k: float = 2500.0
    own_coldest_c: float | None = None


def _cabinet_outputs() -> Mapping[str, str]:
    return {"cool": "compressor", "heat": "heater", "fan": "fan"}


def _cabinet_probes() -> Mapping[str, ProbeModel]:
    return {
        "beer": ProbeModel("beer", 60.0),
        "air": ProbeModel("air", 25.0),
        "door": ProbeModel("door", 0.0, noise=0.0, resolution=1.0),
    }


@dataclass(frozen=True, slots=True)
class FridgeModel:
    """A vessel in the air of a converted fridge.

    `outputs` maps an output's name to what it drives: compressor, heater or fan. `vessel_w_k`, `evaporator_w_k` and
    `wall_w_k` join the air with still air; a running fan multiplies the first two by `fan_gain`. A cabinet whose
    `outputs` name no fan has the air moved all the time. `heater_to_vessel` of the heater's heat goes straight into the
    outer beer (a strap), the rest into the air.
    """

    beer: BeerModel = field(default_factory=BeerModel)
    compressor: CompressorModel = field(default_factory=CompressorModel)
    outputs: Mapping[str, str] = field(default_factory=_cabinet_outputs)
    probes: Mapping[str, ProbeModel] = field(default_factory=_cabinet_probes)
    heater_w: float = 60.0
    heater_lag_s: float = 180.0
    heater_to_vessel: float = 0.0
    fan_w: float = 3.0
    fan_gain: float = 1.5
    vessel_w_k: float = 3.5
    evaporator_w_k: float = 8.0
    wall_w_k: float = 12.0
    wall_j_k: float = 15_000.0
    insulation_w_k: float = 1.4
    leak_w_k: float = 0.2
    air_j_k: float = 900.0
    cabinet_l: float = 250.0
    door_area_m2: float = 0.6
    door_height_m: float = 1.1


@dataclass(frozen=True, slots=True)
class KegeratorModel(FridgeModel):
    """A fridge with kegs of finished beer, kept at serving temperature."""

    beer: BeerModel = field(default_factory=lambda: BeerModel(volume_l=38.0, start_c=5.0, fermented=1.0))
    outputs: Mapping[str, str] = field(default_factory=lambda: {"cool": "compressor", "fan": "fan"})
    heater_w: float = 0.0
    vessel_w_k: float = 6.0


@dataclass(frozen=True, slots=True)
class JacketedModel:
    """A vessel whose jacket is fed from the reservoir named `cooled_by`; its heater is a strap on the vessel's wall."""

    cooled_by: str
    beer: BeerModel = field(default_factory=lambda: BeerModel(volume_l=30.0, mixing_w_k=80.0))
    outputs: Mapping[str, str] = field(default_factory=lambda: {"pump": "pump", "heat": "heater"})
    probes: Mapping[str, ProbeModel] = field(default_factory=lambda: {"beer": ProbeModel("beer", 60.0)})
    heater_w: float = 80.0
    heater_lag_s: float = 240.0
    pump_w: float = 12.0
    flow_w_k: float = 110.0
    jacket_w_k: float = 18.0
    jacket_j_k: float = 5500.0
    hose_w_k: float = 0.3
    insulation_w_k: float = 1.2


@dataclass(frozen=True, slots=True)
class ReservoirModel:
    """A bath with its own chiller. A coil in the liquid is `coil_w_k`; a bucket standing in cold air is `air_w_k`.

    `freezes_at_c` is the coolant's freezing point: -12.9 degC for 30 % by mass of propylene glycol (CoolProp), 0 for
    water.
    """

    volume_l: float = 40.0
    start_c: float = 15.0
    coolant_j_kg_k: float = 3850.0
    freezes_at_c: float = -12.9
    compressor: CompressorModel = field(
        default_factory=lambda: CompressorModel(cooling_w=400.0, power_w=260.0, evaporator_j_k=4000.0)
    )
    outputs: Mapping[str, str] = field(default_factory=lambda: {"chill": "compressor"})
    probes: Mapping[str, ProbeModel] = field(
        default_factory=lambda: {
            "bath": ProbeModel("bath", 30.0),
            "level": ProbeModel("level", noise=0.0, resolution=0.01),
        }
    )
    coil_w_k: float = 60.0
    air_w_k: float = 0.0
    evaporator_w_k: float = 10.0
    air_j_k: float = 5000.0
    insulation_w_k: float = 1.0


ChamberModel = FridgeModel | KegeratorModel | JacketedModel | ReservoirModel


def water_bucket_in_a_fridge(volume_l: float = 15.0) -> ReservoirModel:
    """A bucket of water in a domestic fridge at its coldest: weak, and never below a few degrees."""
    machine = CompressorModel(cooling_w=90.0, power_w=80.0, own_coldest_c=2.0)
    return ReservoirModel(
        volume_l=volume_l,
        coolant_j_kg_k=WATER_CP,
        freezes_at_c=0.0,
        compressor=machine,
        coil_w_k=0.0,
        air_w_k=7.0,
        insulation_w_k=1.2,
    )


def glycol_in_a_freezer(volume_l: float = 20.0) -> ReservoirModel:
    """A bucket of 30 % propylene glycol in a chest freezer whose own thermostat is set to -18 degC."""
    machine = CompressorModel(cooling_w=130.0, power_w=110.0, own_coldest_c=-20.0)
    return ReservoirModel(
        volume_l=volume_l, compressor=machine, coil_w_k=0.0, air_w_k=6.0, evaporator_w_k=14.0, insulation_w_k=0.9
    )
