"""Server-sent events for open boards: that something changed, and never what."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import suppress

from service.api.streams import HEARTBEAT_S, event
from service.custody.facts import Fact, stamp
from service.ledger.store import LedgerError
from service.stations.desk import Desk

PAUSE_S = 1.0
"""The least time between two changes told: whatever comes meanwhile is told as one."""


class Changes:
    """The open boards. Each is told the newest version of the record, once; one that was slow misses only old ones.

    A version is the number of the last fact and the minute: some of what a board shows changes with time alone.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._version = ""
        self._told = asyncio.Event()
        self._noted = asyncio.Event()
        self._hinted = False
        self._closing = False
        self.count = 0

    def start(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._looking = asyncio.create_task(self._look())
        self._desk.watch(self._hint)

    def stop(self) -> None:
        self._desk.unwatch(self._hint)
        self._closing = True
        self._looking.cancel()
        self._tell()

    def _hint(self, _facts: list[Fact]) -> None:
        """On the writer's thread: have the event loop look, unless it was told to already or nobody is there."""
        if self.count and not self._hinted:
            self._hinted = True
            self._loop.call_soon_threadsafe(self._noted.set)

    async def _look(self) -> None:
        """Look for a new version when told of facts, and now and then: another service may have written some."""
        while True:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._noted.wait(), HEARTBEAT_S)
            self._noted.clear()
            self._hinted = False
            if self.count:
                with suppress(LedgerError):
                    version = await asyncio.to_thread(self._now)
                    if version != self._version:
                        self._version = version
                        self._tell()
            await asyncio.sleep(PAUSE_S)

    def _now(self) -> str:
        minute = stamp(self._desk.clock())[:16]
        with self._desk.ledger.reading() as reader:
            return f"{reader.head()[0]} {minute}"

    def _tell(self) -> None:
        told, self._told = self._told, asyncio.Event()
        told.set()

    async def follow(self) -> AsyncIterator[str]:
        """The events of one board: a version at once, each newer one, and a heartbeat."""
        self.count += 1
        sent = None
        try:
            while not self._closing:
                told = self._told
                if self._version != sent:
                    sent = self._version
                    yield event("changed", {"version": sent})
                    continue
                try:
                    await asyncio.wait_for(told.wait(), HEARTBEAT_S)
                except TimeoutError:
                    yield event("heartbeat", {})
        finally:
            self.count -= 1
