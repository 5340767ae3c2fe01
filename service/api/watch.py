"""A watched folder: a data logger drops files; each is judged for its load and moved to `taken`, or asked about.

A file is moved only once its judgement is durable. One that was judged and not yet moved when the power went is known
by its hash, and only moved.
"""

import logging
import os
import stat
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from service.api import judging
from service.custody.facts import moment, stamp
from service.custody.records import Load
from service.custody.rules.loading import STERILISERS
from service.ledger.ids import uuid7
from service.ledger.store import LedgerError
from service.stations.desk import Desk
from service.steam.cycle import LARGEST, CycleError
from service.steam.logs.log import Log
from service.steam.logs.text import refuse_size
from service.steam.programme import ProgrammeError

log = logging.getLogger("foldmark")
EVERY_S = 2.0
SETTLED_S = 90.0
"""Seconds a file must stay as it is before it is taken for whole: loggers write once a minute. Common practice, no
source."""
ANSWERED_S = 30
TAKEN, ASKED = "taken", "asked"
HOW = "watched folder"


class Asked(Exception):  # noqa: N818  (somebody is asked, nothing went wrong)
    """A file that cannot be taken without a person: why, in one line."""


class Watch:
    """Looks into one folder, and into folders in it that are named by a machine. `look` may be called by hand."""

    def __init__(self, desk: Desk, folder: Path, settled_s: float = SETTLED_S) -> None:
        """Raises OSError when the folder cannot be used."""
        self._desk, self._folder, self._settled_s = desk, folder, settled_s
        self._seen: dict[Path, tuple[tuple[int, int], float]] = {}
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="watch", daemon=True)
        for name in (TAKEN, ASKED):
            (folder / name).mkdir(parents=True, exist_ok=True)
        desk.logs_asked = self.asked

    def start(self) -> "Watch":
        self._thread.start()
        return self

    def stop(self) -> None:
        self._stop.set()
        self._thread.join(timeout=ANSWERED_S)

    def asked(self) -> int:
        """How many files wait for a person."""
        try:
            return sum(1 for one in (self._folder / ASKED).iterdir() if not one.name.endswith(".why.txt"))
        except OSError:
            return 0

    def _run(self) -> None:
        while not self._stop.wait(EVERY_S):
            try:
                self.look()
            except Exception:
                log.exception("the watched folder was not looked at")

    def look(self) -> None:
        """Take every file that has settled. What the ledger cannot take now stays for the next look."""
        there = dict(self._files())
        self._seen = {file: seen for file, seen in self._seen.items() if file in there}
        for file, now in there.items():
            before, since = self._seen.get(file, (None, 0.0))
            if before != now:
                self._seen[file] = (now, time.monotonic())
                since = self._seen[file][1]
            if time.monotonic() - since < self._settled_s:
                continue
            try:
                self._take(file, now)
            except (LedgerError, TimeoutError, OSError) as error:
                log.warning("a log waits", extra={"told": {"error": f"{type(error).__name__}: {error}"}})

    def _files(self) -> Iterator[tuple[Path, tuple[int, int]]]:
        """Regular files here and in the machines' folders, with size and time. Hidden ones are somebody's half."""
        folders = [self._folder, *(path for path in self._folder.iterdir() if path.name[:2] == "L-" and path.is_dir())]
        for folder in folders:
            for path in sorted(folder.iterdir()):
                if (found := _regular(path)) and not path.name.startswith("."):
                    yield path, found

    def _take(self, file: Path, size_and_time: tuple[int, int]) -> None:
        try:
            refuse_size(size_and_time[0])
            with file.open("rb") as stream:
                body = stream.read(LARGEST + 1)
            if _regular(file) != size_and_time:
                return
            load = self._judge(file, body)
        except (Asked, CycleError, ProgrammeError, judging.Problem) as error:
            self._ask(file, " ".join(str(error).split()))
        else:
            self._move(file, TAKEN)
            log.info("log taken", extra={"told": {"load": load}})

    def _judge(self, file: Path, body: bytes) -> str:
        """The load that these bytes are the log of; judged by them, unless it was before the power went."""
        load, found = self._belongs(file, body)
        if load.log_sha256 == found.sha256:
            return load.code
        limits = judging.limits_here(self._desk, load.code, None)
        evidence = judging.of_log(found, load.code, body, limits)
        act_id = uuid7(int(self._desk.clock().timestamp() * 1000), os.urandom(10))
        told = evidence.values | {"how": HOW}
        future = self._desk.act(act_id, "judge cycle", by=None, body=told, load=load.code, beside=evidence.beside)
        answer = future.result(ANSWERED_S)
        if answer["verdict"] != "go":
            raise Asked(f"{answer['headline']} {answer['detail']}")
        return load.code

    def _belongs(self, file: Path, body: bytes) -> tuple[Load, Log]:
        """The one load that the log fits, of the machine whose folder it is in or of any. Raises Asked, CycleError."""
        with self._desk.ledger.reading() as reader:
            machines = [one for one in reader.state.machines() if one.kind in STERILISERS]
            if file.parent != self._folder:
                machines = [one for one in machines if one.code == file.parent.name]
            loads = {one.code: reader.loads_of(one.code) for one in machines}
        named = "" if file.parent == self._folder else f" {file.parent.name}"
        fits, why = [], f"no steriliser{named} is registered"
        errors: list[CycleError] = []
        for machine, started in loads.items():
            try:
                found = judging.read_log(self._desk, machine, body)
            except CycleError as error:
                errors.append(error)
                continue
            why = self._began(found)
            fits += [(load, found) for load in started if self._fits(load, found)]
        if len(fits) == 1:
            return fits[0]
        if errors and len(errors) == len(loads):
            raise errors[0]
        names = " and ".join(load.code for load, _ in fits)
        raise Asked(f"it fits loads {names}: post it for one of them" if fits else f"{why}: post it for its load")

    def _began(self, found: Log) -> str:
        if found.started_at is None and found.counter is None:
            return "the log says neither when it began nor its cycle's number"
        return "no load that waits for a log was started when it began or bears its number"

    def _fits(self, load: Load, found: Log) -> bool:
        if load.started_at is None or load.log_sha256 not in {None, found.sha256}:
            return False
        if found.counter is not None and int(load.code[7:11]) == found.counter:
            return True
        limit = timedelta(minutes=self._desk.practice.log_minutes)
        return found.started_at is not None and abs(found.started_at - moment(load.started_at)) <= limit

    def _ask(self, file: Path, why: str) -> None:
        """Put the file where a person finds it, and beside it, before it, a line that says why."""
        place = self._place(file, ASKED)
        note = place.with_name(place.name + ".why.txt")
        note.write_text(f"{why}\n", "utf-8")
        file.rename(place)
        log.warning("log asks", extra={"told": {"why": why}})

    def _move(self, file: Path, where: str) -> None:
        file.rename(self._place(file, where))

    def _place(self, file: Path, where: str) -> Path:
        """A name in that folder that nothing has: the file's own, or with the time before it."""
        place = self._folder / where / file.name
        if not place.exists():
            return place
        return place.with_name(f"{stamp(datetime.now(UTC)).replace(':', '')} {file.name}")


def _regular(path: Path) -> tuple[int, int] | None:
    """Size and time of a regular file; None for anything else, and for one that is gone."""
    try:
        found = path.lstat()
    except OSError:
        return None
    return (found.st_size, found.st_mtime_ns) if stat.S_ISREG(found.st_mode) else None
