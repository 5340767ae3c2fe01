"""Verify: walk the chain, replay every fact, and arrive at the same tables, byte for byte."""

from collections.abc import Iterator
from dataclasses import dataclass, field

from service.custody.chain import Nothing, State, evolve
from service.custody.facts import Fact
from service.custody.records import KINDS
from service.ledger.checkpoint import Checkpoint, Keys, fault_of, kept
from service.ledger.seal import FIRST_PREV, fault_in
from service.ledger.store import Reader
from service.ledger.tables import row_of
from service.ledger.tree import Frontier


@dataclass(frozen=True, slots=True)
class Verdict:
    """`fault` is None when the record holds; otherwise one line that names the first thing wrong."""

    facts: int
    heads: dict[str, str]
    fault: str | None
    checkpoints: int = 0
    covered: dict[str, int] = field(default_factory=dict)
    """How many facts of each site the last checkpoint kept covers."""
    warnings: tuple[str, ...] = ()


class _Replayed(State):
    """State in replay. Looks back go to the ledger, cut off at the fact being replayed, and not to memory."""

    def __init__(self, reader: Reader) -> None:
        super().__init__(Nothing(), reader.state.practice)
        self._reader = reader
        self._now = 0

    def remember(self, fact: Fact) -> None:
        self._now = fact.seq

    def fact(self, fact_id: str) -> Fact | None:
        return self._reader.fact(fact_id)

    def history(self, kind: str, code: str) -> list[Fact]:
        return [fact for fact in self._reader.history(kind, code) if fact.seq <= self._now]


class _Fault(Exception):  # noqa: N818  (what is wrong with the record is what is looked for)
    """The first thing wrong."""


def verify(reader: Reader) -> Verdict:
    """Check every site: its chain, then its tables, then the store's own checks. The walk stops at the first fault."""
    heads: dict[str, str] = {}
    unreadable: tuple[type[Exception], ...] = (*reader.ERRORS, UnicodeDecodeError)
    try:
        sites = reader.sites()
    except unreadable as error:
        return Verdict(0, {}, f"the file is damaged ({error})")
    walks = [_Walk(reader.of(site)) for site in sites]
    try:
        for walk in walks:
            walk.go()
            walk.check_end()
            heads[walk.reader.site] = walk.prev
        fault = reader.damage()
        for walk in walks if fault is None else ():
            walk.check_tables()
    except _Fault as found:
        fault = str(found)
    count = sum(walk.count for walk in walks)
    if fault:
        return Verdict(count, heads, fault)
    signed = {walk.reader.site: walk.checkpoints for walk in walks if walk.checkpoints}
    warnings = tuple(warning for walk in walks for warning in walk.warnings())
    return Verdict(
        count,
        heads,
        None,
        sum(map(len, signed.values())),
        {site: max(sizes) for site, sizes in signed.items()},
        warnings,
    )


class _Walk:
    """The walk along one site's chain: how far it came, and what its facts amount to."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        self.state = _Replayed(reader)
        self.count, self.prev = 0, FIRST_PREV
        self.checkpoints: dict[int, Checkpoint] = {}
        self._keys: list[Fact] = []

    def go(self) -> None:
        site = self.reader.site
        unreadable: tuple[type[Exception], ...] = (
            *self.reader.ERRORS, ValueError, KeyError, TypeError, AttributeError,
        )  # fmt: skip
        frontier = Frontier()
        try:
            self.checkpoints = {one.size: one for one in kept(self.reader)}
            for fact in self.reader.facts():
                fault = fault_in(fact, self.count + 1, self.prev)
                if fault:
                    raise _Fault(f"site {site}: {fault}")
                evolve(self.state, fact)
                self.prev, self.count = fact.hash, fact.seq
                if fact.kind == "key_named":
                    self._keys.append(fact)
                if self.checkpoints:
                    frontier.add(bytes.fromhex(fact.hash))
                    self._check(self.checkpoints.get(fact.seq), frontier)
        except unreadable as error:
            # A byte changed by hand may leave text that is not UTF-8, data that is not JSON, or a page that is torn.
            raise _Fault(f"site {site}: fact {self.count + 1} was changed and cannot be read ({error})") from error

    def _check(self, checkpoint: Checkpoint | None, frontier: Frontier) -> None:
        fault = checkpoint and fault_of(checkpoint, Keys(self._keys), frontier.root())
        if fault:
            raise _Fault(fault)

    def check_end(self) -> None:
        """No checkpoint speaks of more facts than there are."""
        if self.checkpoints and max(self.checkpoints) > self.count:
            site, size = self.reader.site, max(self.checkpoints)
            raise _Fault(
                f"site {site}: checkpoint {size} speaks of {size} facts, and there are {self.count}: facts were removed"
            )

    def warnings(self) -> Iterator[str]:
        """What does not break the chain, and an auditor should ask about."""
        for seq in Keys(self._keys).unvouched():
            yield f"site {self.reader.site}: fact {seq} names a new key without the old key's signature"

    def check_tables(self) -> None:
        """Arrive at the same rows, byte for byte."""
        for kind in KINDS:
            made = {
                c: row_of(kind, record) for (sort, c), record in self.state.changed.items() if sort == kind and record
            }
            try:
                for row in self.reader.rows(kind):
                    if made.pop(row[0], None) != row:
                        raise _Fault(f"the table of {kind}s differs from the facts at {row[0]}")
            except self.reader.ERRORS as error:
                raise _Fault(f"the table of {kind}s is damaged ({error})") from error
            if made:
                raise _Fault(f"the table of {kind}s lacks {min(made)}, which the facts have")
