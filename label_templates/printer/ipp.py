"""A printer that speaks IPP: the operations Foldmark asks of it (RFC 8011), over HTTP.

Addresses are `ipp://host[:port]/path` and `ipps://…`. A printer's own certificate is believed when it is first seen, as
nobody signs printers', and must be the same ever after.
"""

import itertools
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Self
from urllib.parse import urlsplit

import httpx

from label_templates.printer import messages
from label_templates.printer.messages import (
    CHARSET,
    INTEGER,
    KEYWORD,
    LANGUAGE,
    MIME,
    NAME,
    OPERATION,
    URI,
    Answer,
    Tagged,
    lone,
)

PRINT_JOB, VALIDATE_JOB, CREATE_JOB, SEND_DOCUMENT, CANCEL_JOB, JOB_ATTRIBUTES, JOBS, PRINTER_ATTRIBUTES = (
    0x02, 0x04, 0x05, 0x06, 0x08, 0x09, 0x0A, 0x0B,
)  # fmt: skip
"""RFC 8011 5.4.15."""
HELD, STOPPED, CANCELLED, ABORTED, COMPLETED = 4, 6, 7, 8, 9
"""States of a job; those from CANCELLED on are its end: RFC 8011 5.3.7."""
BUSY, NOT_ACCEPTING, NOT_FOUND = 0x0507, 0x0506, 0x0406
_USER: Final = "foldmark"
_LONGEST: Final = 160
"""Characters of a printer's own words that are told."""
_DOCUMENT_S: Final = 600.0
"""Seconds without a word while a document is sent: a small printer takes no more of it while it is out of paper."""
_REFUSALS: Final = {
    0x0401: "forbids it: let this computer print in its settings",
    0x0402: "asks for a password, which Foldmark does not send: print through a CUPS queue that knows it",
    0x0403: "does not let this user print: change its settings",
    0x0404: "cannot do that to this job any more",
    NOT_FOUND: "does not know this job or address: check the address",
    0x0408: "says the document is too large: print fewer labels at once",
    0x040A: "does not take this kind of document",
    0x040B: "cannot print it as asked (paper size, resolution or copies)",
    0x0501: "cannot do this at all: it lacks the operation",
    0x0502: "is not ready: wait, or turn it off and on",
    0x0504: "reports a fault of its own: look at it",
    0x0505: "ran into trouble for a moment",
    NOT_ACCEPTING: "takes no jobs now: let it take jobs again at its panel or in CUPS",
    BUSY: "is busy with another job",
}
_WANTED: Final = (
    "printer-name", "printer-info", "printer-make-and-model", "printer-state", "printer-state-reasons",
    "printer-state-message", "printer-is-accepting-jobs", "printer-uri-supported", "operations-supported",
    "document-format-supported", "pwg-raster-document-type-supported", "pwg-raster-document-resolution-supported",
    "printer-resolution-supported", "media-ready", "media-col-ready", "media-col-supported", "copies-supported",
    "print-scaling-supported",
)  # fmt: skip
_OF_A_JOB: Final = (
    "job-id", "job-name", "job-state", "job-state-reasons", "job-state-message", "job-printer-state-message",
)  # fmt: skip


class PrinterError(Exception):
    """What a printer refused, and why. `code` is its IPP status."""

    def __init__(self, message: str, code: int = 0) -> None:
        super().__init__(message)
        self.code = code


class OfflineError(PrinterError):
    """A printer that does not answer. `reached` says that it may have heard the question."""

    def __init__(self, message: str, *, reached: bool = False) -> None:
        super().__init__(message)
        self.reached = reached


class AddressError(ValueError):
    """A text that is not a printer's address."""


@dataclass(frozen=True, slots=True)
class Job:
    """A job as the printer tells it."""

    number: int
    name: str
    state: int
    reasons: tuple[str, ...]
    message: str
    queue_message: str
    """What a CUPS queue says of getting it to its printer."""

    @property
    def ended(self) -> bool:
        return self.state >= CANCELLED

    @property
    def empty(self) -> bool:
        """Whether it still waits for its document."""
        return self.state <= HELD and bool({"job-incoming", "job-data-insufficient"} & set(self.reasons))


def address(name: str) -> str:
    """The address of a printer by its address, or by the name of a CUPS queue here. Raises AddressError."""
    if "/" not in name and ":" not in name and name.strip():
        return f"ipp://localhost:631/printers/{name.strip()}"
    try:
        parts = urlsplit(name)
        whole = parts.scheme in {"ipp", "ipps"} and parts.hostname and (parts.port or 631) and not parts.username
    except ValueError:
        whole = False
    if not whole:
        raise AddressError(
            f"{name[:80]!r} is no printer's address: name one such as ipp://labels.local/ipp/print, or a CUPS queue"
        )
    return name


class Printer:
    """The printer at an address. A call raises OfflineError when it does not answer, PrinterError when it refuses."""

    def __init__(self, uri: str, certificate: str | None = None, timeout_s: float = 30.0) -> None:
        self.uri = address(uri)
        parts = urlsplit(self.uri)
        self._host, self._port, self._tls = str(parts.hostname), parts.port or 631, parts.scheme == "ipps"
        self.certificate = certificate
        host = f"[{self._host}]" if ":" in self._host else self._host
        self._url = f"http{'s' if self._tls else ''}://{host}:{self._port}{parts.path or '/'}"
        self._timeout = httpx.Timeout(timeout_s, connect=5.0)
        self._numbers = itertools.count(1)
        self._http: httpx.Client | None = None

    def close(self) -> None:
        if self._http:
            self._http.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def attributes(self) -> dict[str, list[Any]]:
        """What it can, what is loaded and how it is."""
        answer = self._ask(PRINTER_ATTRIBUTES, {"requested-attributes": Tagged(KEYWORD, list(_WANTED))})
        return (answer.group(messages.PRINTER) or [{}])[0]

    def validate(self, name: str, template: Mapping[str, Tagged], kind: str) -> set[str]:
        """Ask whether it would take a document of this kind; the attributes it would leave out."""
        answer = self._ask(VALIDATE_JOB, {**_named(name), "document-format": Tagged(MIME, kind)}, template)
        return {name for group in answer.group(messages.UNSUPPORTED) for name in group}

    def create(self, name: str, template: Mapping[str, Tagged]) -> int:
        """Make a job without a document; its number there."""
        return self._number(self._ask(CREATE_JOB, _named(name), template))

    def send(self, number: int, document: bytes, kind: str) -> None:
        """Give a job made before its document."""
        last = {"document-format": Tagged(MIME, kind), "last-document": Tagged(messages.BOOLEAN, True)}
        self._ask(SEND_DOCUMENT, {"job-id": Tagged(INTEGER, number), **_named(None), **last}, document=document)

    def print_at_once(self, name: str, template: Mapping[str, Tagged], document: bytes, kind: str) -> int:
        """Make a job and give it its document in one, where `create` is not to be had; its number there."""
        told = {**_named(name), "document-format": Tagged(MIME, kind)}
        return self._number(self._ask(PRINT_JOB, told, template, document))

    def job(self, number: int) -> Job:
        told = {"job-id": Tagged(INTEGER, number), **_named(None), **_wanted()}
        return _job((self._ask(JOB_ATTRIBUTES, told).group(messages.JOB) or [{}])[0])

    def find(self, name: str) -> Job | None:
        """The newest job of that name, whether it has ended or not; None when the printer knows of none."""
        found = []
        for which in ("not-completed", "completed"):
            told = {**_named(None), "which-jobs": Tagged(KEYWORD, which), **_wanted()}
            found += [_job(group) for group in self._ask(JOBS, told).group(messages.JOB)]
        return max((job for job in found if job.name == name), key=lambda job: job.number, default=None)

    def cancel(self, number: int) -> None:
        self._ask(CANCEL_JOB, {"job-id": Tagged(INTEGER, number), **_named(None)})

    def ask_anything(self, operation: int, told: Mapping[str, Tagged]) -> Answer:
        """The answer to another operation, such as one of CUPS' own."""
        return self._ask(operation, told)

    def _number(self, answer: Answer) -> int:
        for group in answer.group(messages.JOB):
            if isinstance(number := lone(group, "job-id"), int):
                return number
        raise PrinterError(f"the printer {self.uri} took a job and gave it no number: look at the printer")

    def _ask(
        self, operation: int, told: Mapping[str, Tagged], template: Mapping[str, Tagged] | None = None,
        document: bytes = b"",
    ) -> Answer:  # fmt: skip
        first = {
            "attributes-charset": Tagged(CHARSET, "utf-8"),
            "attributes-natural-language": Tagged(LANGUAGE, "en"),
            "printer-uri": Tagged(URI, self.uri),
        }
        groups: list[tuple[int, Mapping[str, Tagged]]] = [(OPERATION, {**first, **told})]
        if template:
            groups.append((messages.JOB, template))
        timeout = self._timeout if not document else httpx.Timeout(_DOCUMENT_S, connect=self._timeout.connect)
        answer = self._post(messages.encode(operation, next(self._numbers), groups) + document, timeout)
        if answer.code >= 0x0100:
            why = _REFUSALS.get(answer.code, f"refuses with status {answer.code:#06x}")
            raise PrinterError(f"the printer {self.uri} {why}", answer.code)
        return answer

    def _post(self, message: bytes, timeout: httpx.Timeout) -> Answer:
        try:
            if self._http is None:
                self._http = httpx.Client(verify=self._trusted(), trust_env=False)
            headers = {"Content-Type": "application/ipp"}
            response = self._http.post(self._url, content=message, headers=headers, timeout=timeout)
        except ssl.SSLCertVerificationError as error:
            raise self._stranger() from error
        except (httpx.TransportError, OSError) as error:
            if "CERTIFICATE_VERIFY_FAILED" in str(error):
                raise self._stranger() from error
            raise OfflineError(
                f"the printer {self.uri} does not answer: see that it is on, connected, and at this address",
                reached=not isinstance(error, httpx.ConnectError | httpx.ConnectTimeout),
            ) from error
        if response.status_code != httpx.codes.OK:
            raise PrinterError(f"the printer {self.uri} {_http_words(response.status_code)}")
        try:
            return messages.decode(response.content)[0]
        except messages.MessageError as error:
            raise PrinterError(f"what answers at {self.uri} does not speak IPP: check the address") from error

    def _trusted(self) -> ssl.SSLContext | bool:
        if not self._tls:
            return False  # nothing to verify, and the list of authorities takes long to read
        self.certificate = self.certificate or ssl.get_server_certificate((self._host, self._port), timeout=5)
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        context.check_hostname = False
        context.verify_flags = ssl.VerifyFlags.VERIFY_X509_PARTIAL_CHAIN
        context.load_verify_locations(cadata=self.certificate)
        return context

    def _stranger(self) -> PrinterError:
        return PrinterError(
            f"the printer {self.uri} shows another certificate than when it was first used, and may be somebody else: "
            f"if it was replaced or reset, foldmark label printers --trust {self.uri}"
        )


def _named(name: str | None) -> dict[str, Tagged]:
    """Who asks, and what the job is called."""
    return {"requesting-user-name": Tagged(NAME, _USER)} | ({"job-name": Tagged(NAME, name)} if name else {})


def _wanted() -> dict[str, Tagged]:
    return {"requested-attributes": Tagged(KEYWORD, list(_OF_A_JOB))}


def _job(group: Mapping[str, list[Any]]) -> Job:
    number, state = lone(group, "job-id"), lone(group, "job-state")
    reasons = tuple(str(reason) for reason in group.get("job-state-reasons", []) if reason != "none")
    name, message, queue_message = (
        str(lone(group, key) or "")[:_LONGEST] for key in ("job-name", "job-state-message", "job-printer-state-message")
    )
    return Job(int(number or 0), name, int(state or 0), reasons, message, queue_message)


def _http_words(status: int) -> str:
    match status:
        case 401 | 403:
            return _REFUSALS[0x0402]
        case 404:
            return "has nothing at that address: check what follows the port, often /ipp/print"
        case 426:
            return "wants a secure connection: name it with ipps://"
        case _:
            return f"answers with HTTP status {status}: look at the printer"
