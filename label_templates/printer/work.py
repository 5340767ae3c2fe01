"""Working the queue: each job goes to its printer once, and is followed until the printer says how it ended."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from label_templates.printer import formats, ipp, words
from label_templates.printer.formats import FormatError
from label_templates.printer.ipp import OfflineError, Printer, PrinterError
from label_templates.printer.messages import Tagged
from label_templates.printer.queue import (
    CANCELLED,
    FAILED,
    PRINTED,
    PRINTING,
    SENDING,
    STOPPED,
    UNSURE,
    WAITING,
    Job,
    Queue,
    QueueError,
)

_SOONEST, _LATEST, _GROWTH = 0.05, 5.0, 1.5
"""Seconds between two questions while nothing changes: the first, the longest, and by how much they grow."""
_KEPT: Final = "the label is kept"
_GO: Final = "foldmark label queue go"
_AGAIN: Final = "look at the printer; foldmark label queue again {} prints it marked as a copy"
_GRADE: Final = (
    "this printer has not printed on {} before: grade one printed label, and one after it has been through the "
    "autoclave: foldmark label grade PHOTO"
)


@dataclass(frozen=True, slots=True)
class How:
    """How to work: whom to tell each change, whether other stock than asked for will do, how long to wait for one."""

    tell: Callable[[str], None]
    any_stock: bool = False
    patience_s: float = 300.0


def work(queue: Queue, uri: str, how: How) -> list[str]:
    """Work all open jobs of the printer at `uri`, in order, until it has none or cannot go on.

    What is to be said at the end is returned. Where another process works this printer, it takes the jobs.
    """
    last: list[str] = []
    tried: set[int] = set()
    while jobs := [job for job in queue.jobs() if job.printer == uri and job.open and job.id not in tried]:
        with queue.claim(uri) as mine:
            if not mine:
                how.tell(f"another foldmark works the printer {uri}: it takes what waits, {_KEPT}")
                break
            with Printer(uri, queue.certificate(uri)) as printer:
                worker = _Worker(queue, printer, how, last)
                went_on = all(worker.take(job) for job in jobs)
            tried.update(job.id for job in jobs)
            if not went_on:
                break
    return list(dict.fromkeys(last))


def cancel(queue: Queue, job: Job) -> str:
    """Cancel an open job, at the printer too where it is there; what came of it. Raises what `Printer` raises."""
    if not job.open:
        raise QueueError(f"job {job.id} has ended ({job.state}): there is nothing to cancel")
    if queue.withdraw(job):
        return "cancelled before it was sent: nothing was printed"
    with Printer(job.printer, queue.certificate(job.printer)) as printer:
        there = printer.find(job.name)
        if there and not there.ended:
            printer.cancel(there.number)
            return "the printer was told: what it had printed by then is to be thrown away"
    return "the printer no longer has it: foldmark label queue go finds out how it ended"


@dataclass(slots=True)
class _Patience:
    """Waits that grow while nothing changes, for so many seconds."""

    seconds: float
    _wait: float = _SOONEST
    _since: float = field(default_factory=time.monotonic)

    def renewed(self) -> None:
        self._wait, self._since = _SOONEST, time.monotonic()

    def waited(self) -> bool:
        """Wait a moment; False when there was no change for too long."""
        if time.monotonic() - self._since >= self.seconds:
            return False
        time.sleep(self._wait)
        self._wait = min(self._wait * _GROWTH, _LATEST)
        return True


class _Worker:
    """One printer's jobs, one after another."""

    def __init__(self, queue: Queue, printer: Printer, how: How, last: list[str]) -> None:
        self._queue, self._printer, self._how, self._last = queue, printer, how, last

    def take(self, job: Job) -> bool:
        """Bring a job to its end, or as far as it goes; False when the printer cannot go on with the next."""
        job = self._queue.job(job.id)
        try:
            if not job.open:
                return True
            number = self._asked_after(job)
            if number is not None:
                return self._followed(job, number)
            now = self._queue.job(job.id)
            return now.sent or not now.open or self._sent(now)
        except OfflineError as error:
            self._say(job, self._queue.job(job.id).state, f"{error}. {_KEPT.capitalize()}: {_GO}")
            return False
        except (PrinterError, FormatError) as error:
            self._say(job, STOPPED, f"{error}. {_KEPT.capitalize()}: then {_GO}")
            return True

    def _say(self, job: Job, state: str, said: str) -> None:
        self._queue.tell(job, state, said)
        self._how.tell(f"job {job.id}, {job.title}: {state}, {said}" if said else f"job {job.id}, {job.title}: {state}")

    def _asked_after(self, job: Job) -> int | None:
        """The number a job has at the printer; None where it has none, and then that is noted: unsent, or unsure."""
        there = self._printer.find(job.name)
        self._queue.note_certificate(job.printer, self._printer.certificate)
        if there is None:
            if job.sent:
                self._say(job, UNSURE, f"may have been printed: {_AGAIN.format(job.id)}")
            return None
        if there.empty:
            self._printer.cancel(there.number)
        if there.empty or (not job.sent and there.state in {ipp.CANCELLED, ipp.ABORTED}):
            self._queue.unsent(job)
            return None
        return there.number

    def _sent(self, job: Job) -> bool:
        """Send a job that is nowhere yet, and follow it."""
        ready = self._ready(job)
        number = self._when_free(job, lambda: self._printer.create(job.name, ready.asked)) if ready.in_two else None
        if not self._queue.begin(job):
            if number is not None:
                self._printer.cancel(number)
            return True
        self._say(job, SENDING, f"{job.paper.size} as {ready.form}")
        try:
            if number is None:
                number = self._printer.print_at_once(job.name, ready.asked, ready.data, ready.form.mime)
            else:
                self._printer.send(number, ready.data, ready.form.mime)
        except OfflineError as error:
            if error.reached:
                return self._lost(job)
            self._queue.unsent(job)
            raise
        except PrinterError as error:
            if number is None:
                self._queue.unsent(job)
                raise
            self._say(job, FAILED, f"{error}. {_KEPT.capitalize()}. It may be half printed: {_AGAIN.format(job.id)}")
            return True
        return self._followed(job, number)

    def _ready(self, job: Job) -> "_Ready":
        """What is sent and how it is asked for. Raises FormatError when this printer is not to be sent it."""
        printer, any_stock = self._printer.attributes(), self._how.any_stock
        form = formats.choose(printer, job.paper)
        if not any_stock:
            formats.check_loaded(printer, job.paper)
        asked = formats.template(printer, job.paper, job.copies, any_stock=any_stock)
        formats.check_refused(self._printer.validate(job.name, asked, form.mime), job.paper, job.copies)
        data = form.of(self._queue.document(job), job.paper)
        in_two = {ipp.CREATE_JOB, ipp.SEND_DOCUMENT} <= set(printer.get("operations-supported", []))
        return _Ready(form, asked, data, in_two)

    def _when_free(self, job: Job, act: Callable[[], int]) -> int:
        """What `act` gives, once the printer has done with the jobs of others."""
        patience = _Patience(self._how.patience_s)
        while True:
            try:
                return act()
            except PrinterError as error:
                if error.code != ipp.BUSY:
                    raise
                if self._queue.job(job.id).words != str(error):
                    self._say(job, WAITING, str(error))
                if not patience.waited():
                    raise

    def _lost(self, job: Job) -> bool:
        """The connection broke while a job was sent: ask the printer, once it answers, whether it has it."""
        self._say(job, SENDING, "the connection broke: the printer is asked whether it has it")
        patience = _Patience(self._how.patience_s)
        while True:
            try:
                number = self._asked_after(self._queue.job(job.id))
                break
            except OfflineError:
                if not patience.waited():
                    raise
        if number is not None:
            return self._followed(job, number)
        if sent := self._queue.job(job.id).sent:
            return sent
        self._say(job, WAITING, f"the printer never had all of it, nothing was printed. {_KEPT.capitalize()}: {_GO}")
        return False

    def _followed(self, job: Job, number: int) -> bool:
        """Follow a job until it ends; False when it is left at a printer that does not go on."""
        patience, state, told = _Patience(self._how.patience_s), "", set[str]()
        while True:
            try:
                there = self._printer.job(number)
                if there.name != job.name:
                    raise PrinterError("another job has its number", ipp.NOT_FOUND)  # noqa: TRY301
                if there.ended:
                    self._ended(job, there)
                    return True
                now = self._moving(there)
            except OfflineError as error:
                now = (self._queue.job(job.id).state, f"{error}. {_KEPT.capitalize()}")
            except PrinterError as error:
                if error.code != ipp.NOT_FOUND:
                    raise
                self._say(job, UNSURE, f"may have been printed, the printer no longer knows: {_AGAIN.format(job.id)}")
                return True
            if now[0] != state:
                state, told = now[0], set()
            if now[1] not in told:
                told.add(now[1])
                self._say(job, *now)
                patience.renewed()
            if not patience.waited():
                self._say(job, state, ". ".join(filter(None, (now[1], f"It is left there: {_GO} follows it"))))
                return False

    def _moving(self, there: ipp.Job) -> tuple[str, str]:
        """State and words of a job that has not ended."""
        reasons = [str(reason) for reason in self._printer.attributes().get("printer-state-reasons", [])]
        held = words.stops([*reasons, *there.reasons])
        if held or there.state == ipp.STOPPED:
            said = "; ".join(held) or "the printer stopped and gives no reason: look at it"
            return STOPPED, f"{said}. {_KEPT.capitalize()}"
        if there.state == ipp.HELD and not there.empty:
            return STOPPED, f"somebody holds it back at the printer: release it there. {_KEPT.capitalize()}"
        queue = [f"its queue says, {there.queue_message}"] if there.queue_message else []
        return PRINTING, "; ".join([*words.warns(reasons), *queue])

    def _ended(self, job: Job, there: ipp.Job) -> None:
        """Note how the printer says a job ended, and which stock it printed."""
        why = words.ended(there.reasons)
        if there.state == ipp.COMPLETED and "job-completed-with-errors" not in there.reasons:
            self._say(job, PRINTED, "")
            if self._queue.last_stock(job.printer) != job.paper.name:
                self._queue.note_stock(job.printer, job.paper.name)
                self._last.append(_GRADE.format(job.paper.name))
        elif there.state == ipp.COMPLETED:
            self._say(job, UNSURE, f"{why}: {_AGAIN.format(job.id)}")
        elif there.state == ipp.CANCELLED:
            self._say(job, CANCELLED, why or "cancelled at the printer")
        else:
            message = f" ({there.message})" if there.message else ""
            said = f"{why or 'given up by the printer'}{message}. {_KEPT.capitalize()}. It may be half printed"
            self._say(job, FAILED, f"{said}: {_AGAIN.format(job.id)}")


@dataclass(frozen=True, slots=True)
class _Ready:
    form: formats.Form
    asked: dict[str, Tagged]
    data: bytes
    in_two: bool
    """Whether the printer makes a job first and takes its document after."""
