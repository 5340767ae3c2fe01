"""A file of exported facts, one JSON object a line: checked whole before any of it is used."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service.custody.facts import Fact, FactError, check
from service.ledger.seal import FIRST_PREV, fault_in
from service.ledger.store import LedgerError


class ExportedFile:
    """What `foldmark export` wrote. Opening it walks every site's chain; LedgerError names the first bad line."""

    def __init__(self, file: Path) -> None:
        self.file = file
        heads: dict[str, tuple[int, str]] = {}
        for number, fact in self._lines():
            seq, prev = heads.get(fact.site, (0, FIRST_PREV))
            fault = fault_in(fact, seq + 1, prev)
            if fault:
                raise LedgerError(f"{file}: line {number}: {fault}; nothing was imported")
            heads[fact.site] = (fact.seq, fact.hash)
        if not heads:
            raise LedgerError(f"{file} holds no facts: export them with  foldmark export -o {file}")
        self.sites = tuple(heads)
        self.count = sum(seq for seq, _ in heads.values())

    def facts(self, site: str) -> Iterator[Fact]:
        return (fact for _, fact in self._lines() if fact.site == site)

    def _lines(self) -> Iterator[tuple[int, Fact]]:
        try:
            with self.file.open("rb") as lines:
                for number, line in enumerate(lines, 1):
                    yield number, self._fact(number, line)
        except OSError as error:
            raise LedgerError(f"{self.file} cannot be read ({error.strerror}): check the path") from error

    def _fact(self, number: int, line: bytes) -> Fact:
        try:
            fact = Fact.from_dict(json.loads(line))
            check(fact)
        except (ValueError, TypeError, KeyError, AttributeError, FactError, RecursionError) as error:
            raise LedgerError(
                f"{self.file}: line {number} is not a fact ({str(error)[:120]}); nothing was imported"
            ) from error
        return fact

    @contextmanager
    def blamed(self, facts: list[Fact]) -> Iterator[None]:
        """Let what goes wrong with `facts` name them: a fact may be well formed and yet not fit what went before."""
        try:
            yield
        except (KeyError, TypeError, AttributeError, ValueError) as error:
            raise LedgerError(
                f"{self.file}: facts {facts[0].seq} to {facts[-1].seq} of {facts[0].site} do not fit what went before "
                f"them ({type(error).__name__}: {error}); nothing was imported"
            ) from error
