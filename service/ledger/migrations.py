"""The schema's version, and the way forward from an older one. A newer ledger, or half a copy, is refused unread."""

import re
from collections.abc import Iterator
from importlib import resources

from service.ledger.store import LedgerError

VERSION = 6


def script(store: str) -> str:
    """The whole schema of a new ledger in `sqlite` or `postgres`, at VERSION."""
    return resources.files("service.ledger").joinpath("sql", store, "schema.sql").read_text("utf-8")


def steps(store: str, version: int) -> list[tuple[int, list[str]]]:
    """What leads a ledger of `version` forward: each later version with its statements, in order."""
    folder = resources.files("service.ledger").joinpath("sql", store)
    found = sorted(file.name for file in folder.iterdir() if re.fullmatch(r"\d{4}\.sql", file.name))
    later = [(int(name[:4]), name) for name in found if int(name[:4]) > version]
    return [(number, list(statements(folder.joinpath(name).read_text("utf-8")))) for number, name in later]


def statements(text: str) -> Iterator[str]:
    """The statements of a script. A trigger's or a function's body is one statement with what stands around it."""
    gathered: list[str] = []
    for line in text.splitlines():
        if not line.strip() or line.startswith("--"):
            continue
        gathered.append(line)
        whole = "\n".join(gathered)
        inside = whole.count("$$") % 2 or (re.search(r"\bTRIGGER\b[^;]*\bBEGIN\b", whole) and "END;" not in whole)
        if line.endswith(";") and not inside:
            yield whole
            gathered = []


def check_version(version: int, place: str) -> None:
    """Raise LedgerError unless this program keeps ledgers of `version`."""
    if version > VERSION:
        raise LedgerError(
            f"{place} was made by a newer Foldmark (ledger version {version}, this one knows {VERSION}): "
            "update Foldmark"
        )
    if version < VERSION:
        raise LedgerError(
            f"{place} was made by an older Foldmark (ledger version {version}, this one keeps {VERSION}): stop the "
            f"service, keep a copy, then run  foldmark --ledger {place} migrate"
        )


def check_finished(source: str | None, place: str, *, unfinished: bool) -> None:
    """Raise LedgerError for a copy that stopped half-way; `source` is where it was being copied from."""
    if source is not None and not unfinished:
        raise LedgerError(f"{place} is half a copy: run  foldmark copy {source} {place}  again to finish it")
