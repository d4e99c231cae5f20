"""Evaluates the rows on carbon dioxide in rooms."""

from brewing import exposure

EVALUATORS = {
    "OSHA PEL 8 h TWA": lambda row: exposure.LIMITS["osha_pel"].ppm,
    "NIOSH REL TWA": lambda row: exposure.LIMITS["niosh_rel"].ppm,
    "NIOSH STEL 15 min": lambda row: exposure.LIMITS["niosh_stel"].ppm,
    "ACGIH TLV-TWA": lambda row: exposure.LIMITS["acgih_twa"].ppm,
    "ACGIH TLV-STEL": lambda row: exposure.LIMITS["acgih_stel"].ppm,
    "IDLH": lambda row: exposure.LIMITS["idlh"].ppm,
    "vacated 1989 OSHA PEL TWA (not in force)": lambda row: exposure.LIMITS["osha_1989"].ppm,
    "unconsciousness within minutes": lambda row: exposure.LIMITS["unconsciousness"].ppm,
    "outdoor background": lambda row: exposure.LIMITS["background"].ppm,
    "oxygen lower limit": lambda row: exposure.LOWEST_OXYGEN_PERCENT,
    "conversion 1 ppm CO2 at 25 C, 1 atm": lambda row: exposure.milligrams_per_m3(1.0),
    "CO2 concentration after full release into a closed room, displacement mix": lambda row: exposure.release(
        row["mass_kg"], row["room_m3"], row["T_C"]
    ),
    "steady CO2 rise with ventilation": lambda row: exposure.steady_rise(
        row["source_kg_s"], row["ACH_per_h"], row["room_m3"]
    ),
    "CO2/air density ratio at 20 C": lambda row: exposure.DENSITY_RATIO_TO_AIR,
}
