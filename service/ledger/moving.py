"""Moving house: a ledger copied from one store to another, backed up while it is in use, restored, brought forward.

Nothing is called done before the new place has been verified, and ends in the same hash.
"""

import sqlite3
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from functools import partial
from itertools import islice
from pathlib import Path

from service.custody.practice import Practice
from service.ledger import sqlite
from service.ledger.exported import ExportedFile
from service.ledger.making import put, scratch_beside
from service.ledger.opening import create_at, is_database, open_at, place_of
from service.ledger.store import Ledger, LedgerError, Reader
from service.ledger.tables import BESIDE
from service.ledger.verify import Verdict, verify

CHUNK = 1000
"""Facts a commit while copying: a copy that was stopped loses at most so many, and finds them again."""
Progress = Callable[[int, int], None]
"""Told how many facts are done, and of how many."""


def nobody(_done: int, _of: int) -> None:
    """Progress that nobody watches."""


def _now_ms() -> int:
    return time.time_ns() // 1_000_000


def copy(source: str, target: str, practice: Practice, progress: Progress = nobody) -> Verdict:
    """Copy every site's facts, and what stands beside them, from one place to another.

    `source` may be a ledger or a file of exported facts. A copy that was stopped goes on where it stopped; one made
    before takes what is new. Raises LedgerError when the two do not begin alike, or the copy does not verify.
    """
    if source.endswith(".jsonl"):
        return _import(Path(source), target, practice, progress)
    if _same(source, target):
        raise LedgerError(f"{place_of(source)} cannot be copied onto itself: name another place")
    with closing(open_at(source, practice)) as old, old.reading() as reader:
        return _copy(reader, old.place, target, practice, progress)


def _copy(reader: Reader, source: str, target: str, practice: Practice, progress: Progress) -> Verdict:
    if is_database(target) or not Path(target).exists():
        create_at(target)
    sites = reader.sites()
    total = sum(reader.of(site).head()[0] for site in sites)
    done = 0
    for site in sites:
        with closing(open_at(target, replace(practice, site=site), unfinished=True)) as new:
            copied = _Copied(reader.of(site), new, source, partial(_onward, progress, done, total))
            done += copied.all()
    with closing(open_at(target, practice, unfinished=True)) as new:
        with new.reading() as made:
            found = verify(made)
            _compare(reader, made, found, new.place)
        with new.batch(_now_ms()) as batch:
            batch.about["copying"] = None
    return found


def _onward(progress: Progress, before: int, total: int, done: int) -> None:
    progress(before + done, total)


class _Copied:
    """One site on its way from `reader` into `ledger`."""

    def __init__(self, reader: Reader, ledger: Ledger, source: str, told: Callable[[int], None]) -> None:
        self.reader, self.ledger, self.source, self.told = reader, ledger, source, told

    def all(self) -> int:
        """Copy what is not there yet; how many facts the site has."""
        with self.ledger.reading() as made:
            there, head = made.head()
        if there:
            here = next(self.reader.facts(there - 1, there), None)
            if here is None or here.hash != head:
                raise LedgerError(
                    f"{self.ledger.place} holds other facts of site {self.reader.site} than {self.source}: copy to an "
                    "empty place"
                )
        facts = self.reader.facts(there)
        while chunk := list(islice(facts, CHUNK)):
            with self.ledger.batch(_now_ms()) as batch:
                batch.about["copying"] = self.source
                with batch.part() as part:
                    part.adopt(chunk)
            self.told(chunk[-1].seq)
        self._beside()
        return self.reader.head()[0]

    def _beside(self) -> None:
        for table in BESIDE:
            rows = self.reader.kept(table)
            while chunk := list(islice(rows, CHUNK)):
                with self.ledger.batch(_now_ms()) as batch:
                    for row in chunk:
                        batch.keep(table, *row)
        kept = {row[0] for row in self.reader.names()}
        with self.ledger.batch(_now_ms()) as batch, self.ledger.reading() as made:
            for row in made.names():
                if row[0] not in kept:
                    batch.forget_name(row[0])


def _compare(reader: Reader, made: Reader, found: Verdict, place: str) -> None:
    """Raise LedgerError unless the copy verifies and every site ends in the same hash."""
    if found.fault:
        raise LedgerError(f"{place} does not verify after copying ({found.fault}): do not use it, and copy again")
    for site in reader.sites():
        if reader.of(site).head() != made.of(site).head():
            raise LedgerError(f"{place} ends site {site} in another fact than its source: copy again")


def _import(file: Path, target: str, practice: Practice, progress: Progress) -> Verdict:
    """All of a file of exported facts or nothing: a ledger is made beside the target, verified, and then put there."""
    exported = ExportedFile(file)
    if not is_database(target) and Path(target).exists():
        raise LedgerError(f"{target} is there already: import into a new place")
    folder = Path(tempfile.gettempdir()) if is_database(target) else Path(target).parent
    with scratch_beside(folder, file.name) as scratch:
        sqlite.create(scratch)
        done = 0
        for site in exported.sites:
            with closing(open_at(str(scratch), replace(practice, site=site))) as new:
                facts = exported.facts(site)
                while chunk := list(islice(facts, CHUNK)):
                    with exported.blamed(chunk), new.batch(_now_ms()) as batch, batch.part() as part:
                        part.adopt(chunk)
                    done += len(chunk)
                    progress(done, exported.count)
        with closing(open_at(str(scratch), practice)) as new, new.reading() as made:
            found = verify(made)
            if found.fault:
                raise LedgerError(f"{file} does not verify ({found.fault}): nothing was imported")
            if is_database(target):
                return _copy(made, str(file), target, practice, progress)
        put(scratch, Path(target))
    return found


def _same(one: str, other: str) -> bool:
    if is_database(one) or is_database(other):
        return is_database(one) and is_database(other) and place_of(one) == place_of(other)
    return Path(one).resolve() == Path(other).resolve()


# Backup and restore


def backup(source: str, file: Path, practice: Practice, progress: Progress = nobody) -> Verdict:
    """One file with everything at one moment, from a ledger in use; verified before it takes its name."""
    if file.exists():
        what = "the ledger itself" if not is_database(source) and _same(source, str(file)) else "there already"
        raise LedgerError(f"{file} is {what}: name a new file")
    with scratch_beside(file.parent, file.name) as scratch:
        with closing(open_at(source, practice)) as old:
            if is_database(source):
                with old.reading() as reader:
                    found = _copy(reader, old.place, str(scratch), practice, progress)
            else:
                found = _pages(Path(source), scratch, practice, progress)
        put(scratch, file)
    return found


def restore(file: Path, target: str, practice: Practice, progress: Progress = nobody) -> Verdict:
    """Put a backup where a ledger is to be; verified before it takes its name. Never over one that is there."""
    if is_database(target):
        return copy(str(file), target, practice, progress)
    if Path(target).exists():
        raise LedgerError(f"{target} is there already: move it away, then restore")
    sqlite.version_of(file)
    with scratch_beside(Path(target).parent, Path(target).name) as scratch:
        found = _pages(file, scratch, practice, progress)
        put(scratch, Path(target))
    return found


def _pages(source: Path, target: Path, practice: Practice, progress: Progress) -> Verdict:
    """Copy a ledger file page by page while it may be in use, and verify the copy."""
    try:
        with closing(sqlite.connect(source, read_only=True)) as old, closing(sqlite3.connect(target)) as new:
            old.backup(new, pages=4096, progress=lambda _status, left, total: progress(total - left, total))
    except sqlite3.Error as error:
        raise LedgerError(f"{target.parent} cannot take a copy of {source} ({error}): check both disks") from error
    with closing(sqlite.SqliteLedger(target, practice)) as copied, copied.reading() as reader:
        found = verify(reader)
    if found.fault:
        raise LedgerError(f"the copy of {source} does not verify ({found.fault}): nothing was written; verify {source}")
    return found
