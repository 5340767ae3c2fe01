"""Server-sent events: what a station's screen shows, the moment it changes."""

import asyncio
import json
import logging
from collections import defaultdict
from collections.abc import AsyncIterator
from typing import Any

from service.stations.desk import Desk
from service.stations.screen import screen
from service.words.answers import screen_in
from service.words.catalogue import say_in
from service.words.known import ENGLISH

HEARTBEAT_S = 10.0
RETRY_S = 0.5
_BACKLOG = 32
log = logging.getLogger("foldmark")


class Streams:
    """The open screens, by station and language.

    The writer's thread only says which station has something new: what its screens then show is read by another
    thread, for all stations that wait together, and goes out on the event loop. What changes faster than it is read is
    shown as it stands last.
    """

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._open: dict[str, dict[asyncio.Queue[str], str]] = defaultdict(dict)
        self._due: set[str] = set()
        self._wake = asyncio.Event()
        self._closing = asyncio.Event()

    def start(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._showing = asyncio.create_task(self._show())
        self._desk.listen(self._heard)

    def stop(self) -> None:
        self._desk.forget(self._heard)
        self._showing.cancel()
        self._closing.set()
        for queues in self._open.values():
            for waiting in queues:
                waiting.put_nowait("")

    @property
    def count(self) -> int:
        return sum(len(queues) for queues in self._open.values())

    def _heard(self, station: str, _answer: dict[str, Any]) -> None:
        if self._open.get(station):
            self._loop.call_soon_threadsafe(self._note, station)

    def _note(self, station: str) -> None:
        self._due.add(station)
        self._wake.set()

    async def _show(self) -> None:
        """Show every station that has something new, as long as the service runs."""
        while True:
            await self._wake.wait()
            self._wake.clear()
            due, self._due = self._due, set()
            wanted = {station: {*self._open[station].values()} for station in due}
            try:
                shown = await asyncio.to_thread(self._now, wanted)
            except Exception:
                log.exception("screens not shown what is new: tried again")
                await asyncio.sleep(RETRY_S)
                self._due |= due
                self._wake.set()
                continue
            for station, texts in shown.items():
                self._pass_on(station, texts)

    def _now(self, wanted: dict[str, set[str]]) -> dict[str, dict[str, str]]:
        """The events that tell how these stations stand, each in the languages its screens are in."""
        with self._desk.ledger.reading() as reader:
            shown = {station: screen(reader, station) for station in wanted}
        return {
            station: {one: event("verdict", screen_in(say_in(one), shown[station])) for one in languages}
            for station, languages in wanted.items()
        }

    def _pass_on(self, station: str, texts: dict[str, str]) -> None:
        for waiting, language in self._open[station].items():
            if waiting.qsize() < _BACKLOG and language in texts:
                waiting.put_nowait(texts[language])

    async def follow(self, station: str, language: str = ENGLISH) -> AsyncIterator[str]:
        """The events of one station, in this language: how it stands, then every change, and a heartbeat."""
        waiting: asyncio.Queue[str] = asyncio.Queue()
        self._open[station][waiting] = language
        try:
            yield (await asyncio.to_thread(self._now, {station: {language}}))[station][language]
            while not self._closing.is_set():
                try:
                    text = await asyncio.wait_for(waiting.get(), HEARTBEAT_S)
                except TimeoutError:
                    text = event("heartbeat", {})
                if text:
                    yield text
        finally:
            self._open[station].pop(waiting, None)


def event(name: str, data: dict[str, Any]) -> str:
    return f"event: {name}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n"
