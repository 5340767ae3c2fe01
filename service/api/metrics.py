"""Numbers for whoever watches the service: `docs/running.md` says at which value to worry."""

from typing import Any

from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Counter, Gauge, Histogram, generate_latest

from service.api.streams import Streams
from service.stations.desk import Desk
from service.stations.sealing import age_s, last_of

EXPOSITION = CONTENT_TYPE_LATEST
_SECONDS = (0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10)
_SCANS = (1, 2, 4, 8, 16, 32, 64, 128, 256)


class Metrics:
    """One service's numbers, in a registry of their own."""

    def __init__(self, desk: Desk, streams: Streams) -> None:
        self._desk, self._streams = desk, streams
        self._registry = CollectorRegistry()
        told: dict[str, Any] = {"registry": self._registry}
        self._scans = Counter("foldmark_scans", "Scans answered, once durable", ("station", "verdict"), **told)
        self._commit = Histogram("foldmark_commit_seconds", "Deciding and committing a batch", buckets=_SECONDS, **told)
        self._batch = Histogram("foldmark_batch_scans", "Scans in one commit", buckets=_SCANS, **told)
        self._queue = Gauge("foldmark_queue_length", "Scans waiting for the writer", **told)
        self._open = Gauge("foldmark_event_streams", "Station screens that listen", **told)
        self._facts = Gauge("foldmark_facts", "Facts of this site", **told)
        self._signed = Gauge(
            "foldmark_checkpoint_age_seconds", "Since the last signed checkpoint; -1 without one", **told
        )
        self._behind = Gauge("foldmark_checkpoint_behind_facts", "Facts that no checkpoint covers yet", **told)
        self._delay = Gauge(
            "foldmark_outbox_delay_seconds", "How long a station's last scan waited", ("station",), **told
        )
        desk.listen(self._heard)
        desk.measure(self._measured)

    def _heard(self, station: str, answer: dict[str, Any]) -> None:
        if not answer.get("late"):
            self._scans.labels(station.rsplit("-", 1)[0], answer["verdict"]).inc()

    def _measured(self, seconds: float, scans: int) -> None:
        self._commit.observe(seconds)
        self._batch.observe(scans)

    def text(self) -> bytes:
        """The numbers as they stand, in the exposition format."""
        with self._desk.ledger.reading() as reader:
            facts, signed = reader.head()[0], last_of(reader)
        self._queue.set(self._desk.waiting)
        self._open.set(self._streams.count)
        self._facts.set(facts)
        self._signed.set(age_s(signed, self._desk.clock()) if signed else -1)
        self._behind.set(facts - (signed.size if signed else 0))
        for station, (seconds, _) in list(self._desk.delays.items()):
            self._delay.labels(station).set(seconds)
        return generate_latest(self._registry)


def last_checkpoint(desk: Desk) -> dict[str, Any] | None:
    """The newest signed checkpoint: how many facts it covers, when it was signed, how long ago."""
    with desk.ledger.reading() as reader:
        signed = last_of(reader)
    return {"size": signed.size, "at": signed.at, "age_s": age_s(signed, desk.clock())} if signed else None


def outboxes(desk: Desk) -> dict[str, dict[str, float]]:
    """By station: how long its last scan had waited to be sent, and how long ago that came, in seconds."""
    now = desk.clock()
    return {
        station: {"delay_s": round(delay, 1), "heard_s_ago": round((now - heard).total_seconds(), 1)}
        for station, (delay, heard) in sorted(desk.delays.items())
    }
