"""The chambers that control is judged on: small and large, quick and slow, weak and oversized, leaky, hot, on baths."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

from services.simulator.models import (
    BeerModel,
    ChamberModel,
    CompressorModel,
    FridgeModel,
    JacketedModel,
    ProbeModel,
    ReservoirModel,
    water_bucket_in_a_fridge,
)
from services.simulator.weather import Spell, Weather, garage
from services.supervisor.control import Rules

HOUR = 3600.0
Programme = tuple[tuple[float, float], ...]
"""Hours and degC, joined by straight lines; two points at one hour are a step."""


def standard(crash_c: float = 1.0, later_h: float = 0.0) -> Programme:
    """Five days at 18 degC, a day's ramp to 21, two days' rest, then the crash and its hold, two days in all."""
    hours = [(0.0, 18.0), (120.0, 18.0), (144.0, 21.0), (192.0, 21.0), (192.0, crash_c), (240.0, crash_c)]
    return tuple((hour + later_h if hour else hour, celsius) for hour, celsius in hours)


@dataclass(frozen=True)
class Case:
    """One plant of the benchmark. `programmes` name the chambers whose beer is judged; `bath_c` is for the
    thermostat."""

    name: str
    models: Mapping[str, ChamberModel]
    programmes: Mapping[str, Programme]
    month: int = 4
    room_k: float = 6.0
    spells: tuple[Spell, ...] = ()
    bath_c: float = -4.0
    doors: tuple[tuple[str, float, float], ...] = field(default=())
    """Door openings: chamber, every so many hours, for so many minutes."""

    @property
    def hours(self) -> float:
        """Until the last programme ends."""
        return max(programme[-1][0] for programme in self.programmes.values())

    @property
    def crash_h(self) -> float:
        """When the first crash begins."""
        return min(programme[3][0] for programme in self.programmes.values())

    def start(self, seed: int) -> datetime:
        """Another fortnight of the year for each seed."""
        return datetime(2026, self.month, 1, tzinfo=UTC) + timedelta(days=9 * seed)

    def weather(self, seed: int) -> Weather:
        """The room."""
        return garage(self.start(seed), hours=24 * 15, offset_k=self.room_k, spells=self.spells)

    def rules(self, chamber: str) -> Rules:
        """What a plant file would say of this chamber."""
        model = self.models[chamber]
        if isinstance(model, ReservoirModel):
            power = model.compressor.power_w
            return Rules("reservoir", model.volume_l, cooling_power_w=power, coolant_freezes_at_c=model.freezes_at_c)
        drives = set(model.outputs.values())
        strapped = model.probes["beer"].sees == "strapped"
        common = Rules(
            "jacketed", model.beer.volume_l, has_heater="heater" in drives, has_fan="fan" in drives, strapped=strapped,
            heater_power_w=model.heater_w,
        )  # fmt: skip
        if isinstance(model, JacketedModel):
            bath = self.models[model.cooled_by]
            assert isinstance(bath, ReservoirModel)
            return replace(common, coolant_freezes_at_c=bath.freezes_at_c)
        return replace(
            common, kind="fridge", has_air_probe="air" in model.probes, cooling_power_w=model.compressor.power_w
        )


def _alone(name: str, model: FridgeModel, **more: object) -> Case:
    return Case(name, {"ale": model}, {"ale": standard()}, **more)  # type: ignore[arg-type]


_BEER = BeerModel()
_STRAPPED: Mapping[str, ProbeModel] = {
    "beer": ProbeModel("strapped", 45.0),
    "air": ProbeModel("air", 25.0),
}
_NO_AIR: Mapping[str, ProbeModel] = {"beer": ProbeModel("beer", 90.0)}
_CONICAL = JacketedModel("bath", beer=BeerModel(volume_l=40.0, mixing_w_k=95.0))

CASES: tuple[Case, ...] = (
    _alone("ordinary", FridgeModel()),
    _alone(
        "small-quick",
        FridgeModel(
            beer=replace(_BEER, volume_l=6.0, mixing_w_k=27.0),
            compressor=CompressorModel(70.0, 65.0, 60.0, 1500.0),
            heater_w=30.0,
            vessel_w_k=1.8,
            evaporator_w_k=6.0,
            wall_w_k=7.0,
            wall_j_k=6000.0,
            insulation_w_k=0.9,
            air_j_k=350.0,
            cabinet_l=80.0,
        ),
    ),
    _alone(
        "large-slow",
        FridgeModel(
            beer=replace(_BEER, volume_l=58.0, mixing_w_k=120.0),
            compressor=CompressorModel(180.0, 140.0, 110.0, 4000.0),
            heater_w=100.0,
            heater_lag_s=300.0,
            vessel_w_k=6.0,
            evaporator_w_k=11.0,
            wall_w_k=16.0,
            wall_j_k=28_000.0,
            insulation_w_k=1.6,
            air_j_k=1500.0,
            cabinet_l=450.0,
        ),
        month=5,
    ),
    _alone(
        "weak-old",
        FridgeModel(
            beer=replace(_BEER, volume_l=23.0, mixing_w_k=65.0),
            compressor=CompressorModel(75.0, 90.0, 120.0, 2200.0),
            vessel_w_k=3.2,
            insulation_w_k=1.7,
            wall_j_k=20_000.0,
        ),
        month=5,
    ),
    _alone(
        "oversized",
        FridgeModel(
            beer=replace(_BEER, volume_l=17.0, mixing_w_k=54.0),
            compressor=CompressorModel(270.0, 195.0, 70.0, 4000.0),
            heater_w=150.0,
            vessel_w_k=4.5,
            evaporator_w_k=14.0,
        ),
    ),
    _alone(
        "leaky-door", FridgeModel(leak_w_k=1.3, compressor=CompressorModel(150.0, 110.0)), doors=(("ale", 24.0, 2.0),)
    ),
    _alone("heat-wave", FridgeModel(), month=7, spells=(Spell(60.0, 96.0, 9.0),)),
    _alone(
        "strap-and-well",
        FridgeModel(
            beer=replace(_BEER, volume_l=19.0, original_extract_p=17.0, rate_per_h=0.075),
            probes=_STRAPPED,
            heater_w=40.0,
            heater_to_vessel=0.7,
            heater_lag_s=300.0,
            outputs={"cool": "compressor", "heat": "heater"},
        ),
        month=2,
    ),
    _alone("no-air-probe", FridgeModel(probes=_NO_AIR, beer=replace(_BEER, volume_l=25.0, mixing_w_k=70.0)), month=9),
    Case(
        "water-bucket",
        {
            "bath": water_bucket_in_a_fridge(),
            "vessel": JacketedModel("bath", beer=_BEER, jacket_w_k=6.0, insulation_w_k=1.2, pump_w=5.0, heater_w=40.0),
        },
        {"vessel": standard(crash_c=11.5)},
        bath_c=2.0,
    ),
    Case("conical", {"bath": ReservoirModel(), "vessel": _CONICAL}, {"vessel": standard()}, month=5),
    Case(
        "two-on-one-bath",
        {
            "bath": ReservoirModel(volume_l=60.0, compressor=CompressorModel(480.0, 310.0, 90.0, 5000.0)),
            "first": _CONICAL,
            "second": replace(_CONICAL, beer=replace(_BEER, volume_l=28.0, mixing_w_k=75.0), jacket_w_k=14.0),
        },
        {"first": standard(), "second": standard(later_h=6.0)},
        month=6,
    ),
)
