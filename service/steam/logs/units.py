"""Units of temperature and pressure: how they are spelled, and what they are in °C and kPa."""

import numpy as np

from service.steam.cycle import CycleError, Series

KPA = {"kPa": 1.0, "bar": 100.0, "mbar": 0.1, "psi": 6.894757, "mmHg": 0.1333224, "kgf/cm2": 98.0665, "MPa": 1000.0}
"""Kilopascals in one of each, by definition."""
CELSIUS, FAHRENHEIT = "°C", "°F"
_SPELLED = {
    "c": CELSIUS, "°c": CELSIUS, "degc": CELSIUS, "celsius": CELSIUS, "f": FAHRENHEIT, "°f": FAHRENHEIT,
    "degf": FAHRENHEIT, "fahrenheit": FAHRENHEIT, **{name.lower(): name for name in KPA}, "hpa": "mbar",
    "kgf/cm²": "kgf/cm2", "kg/cm2": "kgf/cm2", "kg/cm²": "kgf/cm2",
}  # fmt: skip
TIME_UNITS = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sekunden"), "seconds"),
    **dict.fromkeys(("min", "minute", "minutes", "minuten"), "minutes"),
}
_WORDS = {"gauge": True, "g": True, "rel": True, "ü": True, "abs": False, "absolute": False, "a": False}


def unit_of(word: str) -> tuple[str, bool | None] | None:
    """A unit as loggers spell it, such as `degC`, `bara`, `kPa abs` or `psig`: its name here, and whether gauge.

    `seconds` and `minutes` too; None for a word that is no unit.
    """
    plain = word.strip().lower().rstrip(".")
    if plain in TIME_UNITS:
        return TIME_UNITS[plain], None
    for ending, gauge in (("", None), *_WORDS.items()):
        if plain.endswith(ending):
            found = _SPELLED.get(plain.removesuffix(ending).rstrip(" _-("))
            if found and (gauge is None or found in KPA):
                return found, gauge
    return None


def celsius(values: Series, unit: str) -> Series:
    return (values - 32) / 1.8 if unit == FAHRENHEIT else values


def kpa_absolute(values: Series, unit: str, ambient_kpa: float, *, gauge: bool) -> Series:
    """Kilopascals absolute of readings in `unit`; a gauge reads from the air outside."""
    return np.asarray(values * KPA[unit] + (ambient_kpa if gauge else 0.0))


def checked(unit: str, *, pressure: bool) -> str:
    """The name of a unit that a mapping says. Raises CycleError for one nobody knows."""
    found = unit_of(unit)
    if found is None or found[1] is not None or found[0] not in (KPA if pressure else (CELSIUS, FAHRENHEIT)):
        names = ", ".join(KPA) if pressure else f"{CELSIUS}, {FAHRENHEIT}"
        raise CycleError(f"the mapping's unit {unit[:20]!r} is not known: choose among {names}")
    return found[0]
