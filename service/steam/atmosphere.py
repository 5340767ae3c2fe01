"""The air outside: what a gauge reads as nothing, at the height a practice lies at (US Standard Atmosphere 1976)."""

SEA_LEVEL_KPA = 101.325
_SEA_LEVEL_K, _LAPSE_K_PER_M = 288.15, 0.0065
_EXPONENT = 9.80665 * 0.0289644 / (8.31432 * _LAPSE_K_PER_M)
_EARTH_M = 6_356_766.0
LOWEST_M, HIGHEST_M = -500.0, 6_000.0
"""Where people work; the equation itself holds to 11 km."""


def ambient_kpa(altitude_m: float) -> float:
    """The pressure of the air in kPa at a geometric height in metres. Raises ValueError where nobody has a practice."""
    if not LOWEST_M <= altitude_m <= HIGHEST_M:
        raise ValueError(f"{altitude_m:g} m is no altitude of a practice: give metres above the sea")
    return at_geopotential_kpa(altitude_m * _EARTH_M / (_EARTH_M + altitude_m))


def at_geopotential_kpa(metres: float) -> float:
    """The same at a geopotential height, for which the equation is written."""
    return float(SEA_LEVEL_KPA * (1 - _LAPSE_K_PER_M * metres / _SEA_LEVEL_K) ** _EXPONENT)
