"""The service signs checkpoints while it runs: whenever facts came in since the last one, at a quiet pace."""

import logging
import os
import threading
from datetime import datetime

from service.custody.facts import moment, stamp
from service.ledger.checkpoint import Checkpoint, kept, sign
from service.ledger.ids import uuid7
from service.ledger.keys import SigningKey
from service.ledger.proof import is_the_sites
from service.ledger.store import LedgerError, Reader
from service.ledger.tree import Frontier
from service.stations.desk import Desk

log = logging.getLogger("foldmark")
EVERY_S = 3600
"""Seconds between two checkpoints, common practice, no source: a day's paper log book needs one."""


class Sealer:
    """Signs for one site. `sign_now` may be called from any thread; `start` has a thread call it."""

    def __init__(self, desk: Desk, key: SigningKey, every_s: float = EVERY_S) -> None:
        with desk.ledger.reading() as reader:
            is_the_sites(key, reader)
        self._desk, self._key, self._every_s = desk, key, every_s
        self._frontier = Frontier()
        self._turn = threading.Lock()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="sealer", daemon=True)

    def start(self) -> "Sealer":
        self._thread.start()
        return self

    def stop(self) -> None:
        """Sign what is not signed yet, then end."""
        self._stop.set()
        self._thread.join(timeout=30)

    def sign_now(self) -> Checkpoint | None:
        """Sign the record as it stands and keep the checkpoint; the one that is there already when nothing is new."""
        with self._turn:
            with self._desk.ledger.reading() as reader:
                last = last_of(reader)
                for leaf in reader.hashes(self._frontier.size):
                    self._frontier.add(leaf)
            size = self._frontier.size
            if not size or (last and last.size >= size):
                return last
            at = stamp(self._desk.clock())
            made = sign(self._key, site=self._desk.practice.site, size=size, root=self._frontier.root(), at=at)
            row = (made.size, made.root, made.at, made.key, made.signature)
            act = uuid7(int(self._desk.clock().timestamp() * 1000), os.urandom(10))
            self._desk.beside(act, lambda batch: batch.keep("checkpoint", *row), {"signed": size}).result(30)
            log.info("checkpoint signed", extra={"told": {"site": made.site, "size": size, "root": made.root[:16]}})
            return made

    def _run(self) -> None:
        while not self._stop.wait(self._every_s):
            self._try()
        self._try()

    def _try(self) -> None:
        try:
            self.sign_now()
        except (LedgerError, TimeoutError) as error:
            log.warning("checkpoint not signed", extra={"told": {"error": str(error)}})


def last_of(reader: Reader) -> Checkpoint | None:
    """The newest checkpoint that the ledger keeps."""
    found = kept(reader)
    return found[-1] if found else None


def age_s(checkpoint: Checkpoint, now: datetime) -> int:
    """Whole seconds since it was signed."""
    return max(0, int((now - moment(checkpoint.at)).total_seconds()))
