"""Settings: one TOML file, then the environment, then options. A key nobody knows is an error."""

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from ipaddress import ip_network
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from service.custody.practice import Practice, ProgrammeLimits, ShelfLife
from service.custody.recall import POLICIES
from service.words.known import languages

DEFAULT_LEDGER = "practice.db"


class SettingsError(ValueError):
    """A setting that cannot be used: which, where, and what to do."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How this service runs, and what the site has chosen."""

    ledger: str = DEFAULT_LEDGER
    site: str | None = None
    key: str | None = None
    host: str = "127.0.0.1"
    port: int = 8080
    doors: str = "closed"
    """`closed`: nobody is answered who has not signed in or been enrolled. `open`: anyone who reaches the service."""
    labels_to: str | None = None
    printer: str | None = None
    """A printer's address or a CUPS queue's, for pack labels and load slips."""
    label_stock: str = "roll-62x40"
    print_queue: str = "print-queue.db"
    scans_a_second: int = 50
    """From one station of one device; 0 for any number."""
    requests_a_second: int = 50
    """From one device, one person or, of those who are neither, one address; 0 for any number."""
    trusted_proxies: tuple[str, ...] = ()
    """Addresses whose word is taken for where a request came from, and whether by https."""
    tls_cert: str | None = None
    tls_key: str | None = None
    practice: Practice = field(default_factory=Practice)


_SERVICE: dict[str, type] = {
    "ledger": str, "site": str, "key": str, "host": str, "port": int, "doors": str, "labels_to": str,
    "printer": str, "label_stock": str, "print_queue": str,
    "scans_a_second": int, "requests_a_second": int, "trusted_proxies": tuple, "tls_cert": str, "tls_key": str,
}  # fmt: skip
_PARTS = ("service", "practice", "shelf_life", "logs", "readings", "programmes")
_CHOICES = {
    f.name: f
    for f in fields(Practice)
    if f.name not in {"shelf_lives", "programmes", "own_programmes", "logs", "readings"}
}


def load(path: Path | None = None, environment: Mapping[str, str] | None = None) -> Settings:
    """The settings of the TOML file at `path`, with the environment's above them. Raises SettingsError."""
    environment = os.environ if environment is None else environment
    path = path or (Path(environment["FOLDMARK_SETTINGS"]) if "FOLDMARK_SETTINGS" in environment else None)
    found: dict[str, Any] = {}
    if path:
        try:
            found = tomllib.loads(path.read_text("utf-8"))
        except (OSError, UnicodeDecodeError) as error:
            raise SettingsError(f"the settings file {path} cannot be read ({error}): check the path") from error
        except tomllib.TOMLDecodeError as error:
            raise SettingsError(f"the settings file {path} is not TOML ({error}): mend that line") from error
    where = str(path) if path else "the settings"
    for name in set(found) - set(_PARTS):
        raise SettingsError(f"{where}: nobody knows [{name}]; the parts are {', '.join(_PARTS)}")
    settings = _service(found.get("service", {}), where)
    for name in _SERVICE:
        key = f"FOLDMARK_{name.upper()}"
        if key in environment:
            settings = _service_value(settings, name, environment[key], f"the environment variable {key}")
    practice = _practice(found.get("practice", {}), found.get("shelf_life", {}), where)
    logs, typed = (_mappings(part, found.get(part, {}), path, where) for part in ("logs", "readings"))
    own = _programmes(found.get("programmes", {}), where)
    _check_band(practice.band, where)
    if practice.recall_policy not in POLICIES:
        raise SettingsError(
            f"{where}: practice.recall_policy is {practice.recall_policy!r}: choose among {', '.join(POLICIES)}"
        )
    return replace(settings, practice=replace(practice, logs=logs, readings=typed, own_programmes=own))


def _programmes(table: dict[str, Any], where: str) -> dict[str, dict[str, Any]]:
    """The site's own programmes, each checked."""
    if not table:
        return {}
    from service.steam.programme import ProgrammeError, made  # noqa: PLC0415  (keeps `foldmark --help` quick)

    for name, one in table.items():
        here = f'{where}: programmes."{name}"'
        if not isinstance(one, dict):
            raise SettingsError(f"{here} is {one!r}, and a table is needed: see docs/settings.md")
        try:
            made({**one, "name": name}, here)
        except ProgrammeError as error:
            raise SettingsError(str(error)) from error
    return table


def _check_band(band: str, where: str) -> None:
    if not band:
        return
    from service.steam.programme import BANDS  # noqa: PLC0415

    if band not in BANDS:
        raise SettingsError(f"{where}: practice.band is {band!r}: choose among {', '.join(BANDS)}, or leave it out")


def _mappings(part: str, table: dict[str, Any], path: Path | None, where: str) -> dict[str, str]:
    """How each machine's logs or readings are written, from the table itself or from the file that it names."""
    if not table:
        return {}
    from service.steam.cycle import CycleError  # noqa: PLC0415  (keeps `foldmark --help` quick)
    from service.steam.logs.mapping import of_table, of_toml  # noqa: PLC0415

    found = {}
    for machine, mapping in table.items():
        here = f'{where}: {part}."{machine}"'
        if not isinstance(mapping, dict):
            raise SettingsError(
                f"{here} is {mapping!r}, and a table is needed: file = a mapping's path, or the mapping"
            )
        try:
            if set(mapping) == {"file"}:
                file = (path.parent if path else Path()) / str(mapping["file"])
                found[machine] = of_toml(file.read_text("utf-8")).to_json()
            else:
                found[machine] = of_table(mapping).to_json()
        except (CycleError, OSError, UnicodeDecodeError) as error:
            raise SettingsError(f"{here}: {error}") from error
    return found


def _service(table: dict[str, Any], where: str) -> Settings:
    settings = Settings()
    for name, value in table.items():
        if name not in _SERVICE:
            raise SettingsError(f"{where}: nobody knows service.{name}; the keys are {', '.join(_SERVICE)}")
        settings = _service_value(settings, name, value, f"{where}: service.{name}")
    return settings


def _service_value(settings: Settings, name: str, value: Any, where: str) -> Settings:
    wanted = _SERVICE[name]
    if wanted is tuple:
        return replace(settings, trusted_proxies=_addresses(value, where))
    try:
        made = wanted(value) if isinstance(value, str) else value
    except ValueError as error:
        raise SettingsError(f"{where} is {value!r}, and a whole number is needed") from error
    if not isinstance(made, wanted) or isinstance(made, bool):
        raise SettingsError(f"{where} is {value!r}, and a {wanted.__name__} is needed")
    if isinstance(made, int) and made < 0:
        raise SettingsError(f"{where} is {value!r}, and a number from 0 is needed")
    changed: dict[str, Any] = {name: made}
    return replace(settings, **changed)


def _addresses(value: Any, where: str) -> tuple[str, ...]:
    """A list of addresses or networks, or in the environment such a list with commas."""
    found = value.split(",") if isinstance(value, str) else value
    try:
        return tuple(str(ip_network(one.strip())) for one in found)
    except (ValueError, TypeError, AttributeError) as error:
        raise SettingsError(
            f'{where} is {value!r}, and a list of addresses is needed, such as ["127.0.0.1", "10.0.0.0/24"]'
        ) from error


def _practice(table: dict[str, Any], lives: dict[str, Any], where: str) -> Practice:
    practice = Practice()
    for name, value in table.items():
        if name not in _CHOICES:
            raise SettingsError(f"{where}: nobody knows practice.{name}; the keys are {', '.join(_CHOICES)}")
        default = getattr(practice, name)
        made = tuple(value) if isinstance(value, list) else value
        if default is not None and type(made) is not type(default):
            raise SettingsError(f"{where}: practice.{name} is {value!r}, and something like {default!r} is needed")
        changed: dict[str, Any] = {name: made}
        practice = replace(practice, **changed)
    try:
        ZoneInfo(practice.tz)
    except (ZoneInfoNotFoundError, ValueError) as error:
        raise SettingsError(f"{where}: practice.tz {practice.tz!r} is not a time zone such as Europe/London") from error
    if practice.language not in languages():
        raise SettingsError(
            f"{where}: practice.language {practice.language!r} has no catalogue: choose among {', '.join(languages())}"
        )
    known = dict(practice.shelf_lives)
    for wrap, life in lives.items():
        if wrap not in known or set(life) != {"days", "source"}:
            raise SettingsError(
                f"{where}: shelf_life.{wrap} needs days (0 for no date) and source, for {', '.join(known)}"
            )
        known[wrap] = ShelfLife(life["days"] or None, life["source"])
    return replace(practice, shelf_lives=known)


def with_programmes(practice: Practice, programmes: Mapping[str, ProgrammeLimits]) -> Practice:
    return replace(practice, programmes=programmes)
