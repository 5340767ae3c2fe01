"""Live: a thread of its own keeps the newest frame, opens again what was lost, and says so."""

import threading
import time
from collections.abc import Iterator

from scanner.decode import Image
from scanner.sources.doubts import Doubts
from scanner.sources.source import Frame, Given, Source, SourceError, Words, now

PAUSES_S = (0.5, 1.0, 2.0, 5.0, 10.0)
"""Seconds between attempts to open a lost source again; the last for ever."""
_TICK_S = 0.5
_STILL_S = 10.0
"""Seconds without the first picture after which a source is given up."""


class Live(Source):
    """A live source. One that never gave a picture ends in an error; one that did is opened again until it is back."""

    live = True

    def __init__(self, name: str) -> None:
        self._name = name
        self._newest: Image | None = None
        self._words: list[str] = []
        self._fault: str | None = None
        self._any = False
        self._fresh = threading.Condition()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._keep, name=f"frames {name}", daemon=True)

    def _pictures(self) -> Iterator[Image]:
        """Open the source and give its pictures until it has no more. Raises SourceError when it cannot be opened."""
        raise NotImplementedError

    def _keep(self) -> None:
        lost_at, attempts = 0.0, 0
        while not self._stopping.is_set():
            fault = f"{self._name} gives no more pictures: check the cable"
            try:
                for image in self._pictures():
                    if self._stopping.is_set():
                        return
                    if attempts:
                        self._tell(f"{self._name} is back after {time.monotonic() - lost_at:.0f} s")
                        attempts = 0
                    self._show(image)
            except SourceError as error:
                fault = str(error)
            except Exception as error:  # noqa: BLE001  (whatever a driver throws, the source is opened again)
                fault = f"{self._name} fails ({type(error).__name__})"
            if not self._any:
                self._end(fault)
                return
            if not attempts:
                lost_at = time.monotonic()
                self._tell(f"{fault}. It is opened again as soon as it is there")
            self._stopping.wait(PAUSES_S[min(attempts, len(PAUSES_S) - 1)])
            attempts += 1

    def _show(self, image: Image) -> None:
        with self._fresh:
            self._newest, self._any = image, True
            self._fresh.notify()

    def _tell(self, words: str) -> None:
        with self._fresh:
            self._words.append(words)
            self._fresh.notify()

    def _end(self, fault: str) -> None:
        with self._fresh:
            self._fault = fault
            self._fresh.notify()

    def __iter__(self) -> Iterator[Given]:
        began, index, doubts = time.monotonic(), 0, Doubts()
        while not self._stopping.is_set():
            with self._fresh:
                self._fresh.wait_for(self._is_fresh, timeout=_TICK_S)
                image, self._newest = self._newest, None
                told, self._words = self._words, []
            yield from (Words(words) for words in told)
            at_s = time.monotonic() - began
            if image is not None:
                if doubt := doubts.look(at_s, image):
                    yield Words(f"{self._name}: {doubt}")
                yield Frame(image, index, at_s, now())
                index += 1
            elif self._fault:
                raise SourceError(self._fault)
            elif index == 0 and at_s > _STILL_S:
                raise SourceError(f"{self._name} has given no picture for {_STILL_S:.0f} s: check the cable")
            else:
                yield None

    def _is_fresh(self) -> bool:
        return self._newest is not None or bool(self._words) or bool(self._fault) or self._stopping.is_set()

    def close(self) -> None:
        self._stopping.set()
        with self._fresh:
            self._fresh.notify()
        if self._thread.is_alive():
            self._thread.join(3)
