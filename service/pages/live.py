"""The board kept ready: worked out once for everybody who has it open, again when a fact came or a minute went."""

import threading

from service.custody.facts import stamp
from service.pages.board import board_page
from service.pages.looks import Looks
from service.pages.views import BoardPage
from service.stations.desk import Desk


class LiveBoard:
    """The whole board as it stands. It is asked from any thread; one works it out while the others wait for it."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._turn = threading.Lock()
        self._kept: tuple[tuple[int, str, int], BoardPage] | None = None

    def page(self) -> BoardPage:
        now = stamp(self._desk.clock())
        with self._turn, self._desk.ledger.reading() as reader:
            asked = self._desk.logs_asked()
            key = (reader.head()[0], now[:16], asked)
            if self._kept is None or self._kept[0] != key:
                self._kept = (key, board_page(Looks(reader, now), asked))
            return self._kept[1]
