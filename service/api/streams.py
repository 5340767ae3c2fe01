"""Server-sent events: what a station's screen shows, the moment it changes."""

import asyncio
import json
from collections import defaultdict
from collections.abc import AsyncIterator
from typing import Any

from service.stations.desk import Desk
from service.stations.screen import screen
from service.words.answers import screen_in
from service.words.catalogue import say_in
from service.words.known import ENGLISH

HEARTBEAT_S = 10.0
_BACKLOG = 32


class Streams:
    """The open screens, by station and language. Answers come from the writer's thread, go out on the event loop."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._open: dict[str, dict[asyncio.Queue[str], str]] = defaultdict(dict)
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
        languages = {*self._open.get(station, {}).copy().values()}
        if self._loop and languages:
            self._loop.call_soon_threadsafe(self._pass_on, station, self._now(station, languages))

    def _now(self, station: str, languages: set[str]) -> dict[str, str]:
        """The event that tells how the station stands, in each of these languages."""
        with self._desk.ledger.reading() as reader:
            shown = screen(reader, station)
        return {language: event("verdict", screen_in(say_in(language), shown)) for language in languages}

    def _pass_on(self, station: str, texts: dict[str, str]) -> None:
        for waiting, language in self._open.get(station, {}).items():
            if waiting.qsize() < _BACKLOG and language in texts:
                waiting.put_nowait(texts[language])

    async def follow(self, station: str, language: str = ENGLISH) -> AsyncIterator[str]:
        """The events of one station, in this language: how it stands, then every change, and a heartbeat."""
        waiting: asyncio.Queue[str] = asyncio.Queue()
        self._open[station][waiting] = language
        try:
            yield (await asyncio.to_thread(self._now, station, {language}))[language]
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
