"""Densities of sugar and of alcohol in water: what wort and beer are measured against."""

from brewing.errors import check

ETHANOL_SPECIFIC_GRAVITY = 0.790661
"""20/20, OIML R 22."""

# ICUMSA SPS-4 (Bettin, Emmerich, Spieweck & Toth 1998): kg/m3, rows in powers of (t - 20)/100, columns of w^1 ...
_SUCROSE = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.289),
    (-46.272, -7.172, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.363, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)
# Spieweck & Bettin 1992, the water term of the sucrose density
_WATER = (999.83952, 16.952577, -0.0079905127, -4.6241757e-05, 1.0584601e-07, -2.8103006e-10)
_WATER_BELOW = 0.016887236
# OIML R 22 (1975), also Directive 76/766/EEC: kg/m3, p mass fraction, d = t - 20
_ALCOHOL = (
    998.20123,
    -192.9769495,
    389.1238958,
    -1668.103923,
    13522.15441,
    -88292.78388,
    306287.4042,
    -613838.1234,
    747017.2998,
    -547846.1354,
    223446.0334,
    -39032.85426,
)
_ALCOHOL_TEMPERATURE = (-0.20618513, -0.0052682542, 3.6130013e-05, -3.8957702e-07, 7.169354e-09, -9.9739231e-11)
_ALCOHOL_CROSS = (
    (
        0.1693443461530087,
        -10.46914743455169,
        71.96353469546523,
        -704.7478054272792,
        3924.090430035045,
        -12101.64659068747,
        22486.46550400788,
        -26055.62982188164,
        18523.73922069467,
        -7420.201433430137,
        1285.617841998974,
    ),
    (
        -0.0119301300505701,
        0.2517399633803461,
        -2.170575700536993,
        13.53034988843029,
        -50.29988758547014,
        109.635566657757,
        -142.2753946421155,
        108.043594285623,
        -44.14153236817392,
        7.442971530188783,
    ),
    (
        -0.0006802995733503803,
        0.01876837790289664,
        -0.2002561813734156,
        1.02299296671922,
        -2.895696483903638,
        4.810060584300675,
        -4.672147440794683,
        2.458043105903461,
        -0.5411227621436812,
    ),
    (4.075376675622027e-06, -8.76305857347111e-06, 6.515031360099368e-06, -1.51578483698721e-06),
    (-2.788074354782409e-08, 1.345612883493354e-08),
)


def sucrose_density(mass_fraction: float, temperature_c: float) -> float:
    """kg/m3 in vacuo, 0-0.6 by mass and 0-80 degC, standard uncertainty about 0.02. ICUMSA SPS-4 (1998)."""
    return _sucrose(
        check("mass_fraction", mass_fraction, 0.0, 0.6, ""), check("temperature_c", temperature_c, 0.0, 80.0, "degC")
    )


def sucrose_fraction(density: float, temperature_c: float) -> float:
    """Mass fraction of the sucrose solution of this density in kg/m3, 0-80 degC; inverts ICUMSA SPS-4.

    Down to -0.03, as a hydrometer may read below water.
    """
    t = check("temperature_c", temperature_c, 0.0, 80.0, "degC")
    check("density", density, _sucrose(-0.03, t), _sucrose(0.6, t), "kg/m3")
    fraction = (density - _sucrose(0.0, t)) / 400.0
    for _ in range(8):
        slope = (_sucrose(fraction + 1e-5, t) - _sucrose(fraction - 1e-5, t)) / 2e-5
        fraction -= (_sucrose(fraction, t) - density) / slope
    return fraction


def sugar_water_density(mass_fraction: float, temperature_c: float) -> float:
    """`sucrose_density` that goes on to -0.03, for what a hydrometer reads below water; 0-80 degC."""
    t = check("temperature_c", temperature_c, 0.0, 80.0, "degC")
    return _sucrose(check("mass_fraction", mass_fraction, -0.03, 0.6, ""), t)


def ethanol_density(mass_fraction: float, temperature_c: float = 20.0) -> float:
    """kg/m3 of ethanol in water, 0-1 by mass and -20 to 40 degC. OIML R 22 (1975), general formula."""
    p = check("mass_fraction", mass_fraction, 0.0, 1.0, "")
    d = check("temperature_c", temperature_c, -20.0, 40.0, "degC") - 20.0
    crossed = sum(d ** (i + 1) * p * _polynomial(row, p) for i, row in enumerate(_ALCOHOL_CROSS))
    return _polynomial(_ALCOHOL, p) + d * _polynomial(_ALCOHOL_TEMPERATURE, d) + crossed


def alcohol_by_volume(mass_fraction: float) -> float:
    """% by volume at 20 degC of ethanol in water, from the mass fraction. OIML R 22, Table IIIa."""
    return 100.0 * mass_fraction * ethanol_density(mass_fraction) / ethanol_density(1.0)


def alcohol_by_mass(percent_by_volume: float) -> float:
    """Mass fraction at 20 degC of ethanol in water, from % by volume; inverse of `alcohol_by_volume`."""
    target = check("percent_by_volume", percent_by_volume, 0.0, 100.0, "%")
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if alcohol_by_volume(middle) < target else (low, middle)
    return (low + high) / 2.0


def _sucrose(w: float, t: float) -> float:
    warmth = (t - 20.0) / 100.0
    water = _polynomial(_WATER, t) / (1.0 + _WATER_BELOW * t)
    return water + sum(warmth**i * w * _polynomial(row, w) for i, row in enumerate(_SUCROSE))


def _polynomial(coefficients: tuple[float, ...], x: float) -> float:
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total
