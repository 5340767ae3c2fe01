"""Server-sent events: what a station's screen shows, the moment it changes."""

import asyncio
import json
from collections import defaultdict
from collections.abc import AsyncIterator
from typing import Any

from service.stations.desk import Desk
from service.stations.screen import screen

HEARTBEAT_S = 10.0
_BACKLOG = 32


class Streams:
    """The open screens, by station. Answers come from the writer's thread and go out on the event loop."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._open: dict[str, set[asyncio.Queue[str]]] = defaultdict(set)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._closing = asyncio.Event()

    def start(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._desk.listen(self._heard)

    def stop(self) -> None:
        self._desk.forget(self._heard)
        self._closing.set()
        for queues in self._open.values():
            for waiting in queues:
                waiting.put_nowait("")

    @property
    def count(self) -> int:
        return sum(len(queues) for queues in self._open.values())

    def _heard(self, station: str, _answer: dict[str, Any]) -> None:
        if self._loop and self._open.get(station):
            self._loop.call_soon_threadsafe(self._pass_on, station, self._now(station))

    def _now(self, station: str) -> str:
        with self._desk.ledger.reading() as reader:
            return event("verdict", screen(reader, station))

    def _pass_on(self, station: str, text: str) -> None:
        for waiting in self._open.get(station, ()):
            if waiting.qsize() < _BACKLOG:
                waiting.put_nowait(text)

    async def follow(self, station: str) -> AsyncIterator[str]:
        """The events of one station: how it stands, then every change, and a heartbeat."""
        waiting: asyncio.Queue[str] = asyncio.Queue()
        self._open[station].add(waiting)
        try:
            yield await asyncio.to_thread(self._now, station)
            while not self._closing.is_set():
                try:
                    text = await asyncio.wait_for(waiting.get(), HEARTBEAT_S)
                except TimeoutError:
                    text = event("heartbeat", {})
                if text:
                    yield text
        finally:
            self._open[station].discard(waiting)


def event(name: str, data: dict[str, Any]) -> str:
    return f"event: {name}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n"
