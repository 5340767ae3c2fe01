"""The service: stations, pages and the ledger behind one address."""

import gc
import json
import logging
import ssl
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from label_templates import stocks
from label_templates.codes import badge_code
from label_templates.stocks import StockError
from service.cli.ledger import say
from service.cli.open import fail, key_path, open_ledger, settings_of
from service.ledger.keys import load_key
from service.ledger.store import LedgerError
from service.settings import Settings, SettingsError
from service.stations.desk import Desk, Printer
from service.stations.sealing import Sealer

if TYPE_CHECKING:
    from service.access.doors import Doors
    from service.api.watch import Watch


class _Lines(logging.Formatter):
    """One JSON object a line. Codes may stand in a log; names and secrets never reach it."""

    def format(self, record: logging.LogRecord) -> str:
        at = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
        line = {"at": at, "level": record.levelname.lower(), "event": record.getMessage()}
        line |= getattr(record, "told", {})
        if record.exc_info and record.exc_info[1]:
            line["error"] = f"{type(record.exc_info[1]).__name__}: {record.exc_info[1]}"
        return json.dumps(line, ensure_ascii=False)


def log_lines() -> None:
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Lines())
    for name in ("foldmark", "uvicorn", "uvicorn.error"):
        logger = logging.getLogger(name)
        logger.handlers, logger.propagate = [handler], False
        logger.setLevel(logging.INFO if name == "foldmark" else logging.WARNING)


def _calm_collector() -> None:
    """Let garbage be collected seldom: walking all that is kept halves the pace and doubles the slowest answers."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)


def _sealer(desk: Desk, path: Path) -> Sealer | None:
    """What signs checkpoints while the service runs; without the site's key it runs, and says so."""
    try:
        return Sealer(desk, load_key(path))
    except LedgerError as error:
        logging.getLogger("foldmark").warning("no checkpoints are signed", extra={"told": {"error": str(error)}})
        return None


def _doors(choice: str, desk: Desk) -> "Doors | None":
    """The doors, when the settings have them closed. Raises SettingsError for a word that is neither."""
    from service.access.doors import Doors  # noqa: PLC0415  (keeps `foldmark --help` quick)

    if choice not in {"open", "closed"}:
        raise SettingsError(f"service.doors is {choice!r}: it is open or closed")
    if choice == "closed":
        return Doors(desk)
    logging.getLogger("foldmark").warning("the doors are open: anyone who reaches this address may look and act")
    return None


def _tls(cert: str | None, key: str | None) -> dict[str, str]:
    """What the server is told of a certificate and its key; nothing without them. Raises ClickException, in a line."""
    if cert is None and key is None:
        return {}
    if cert is None or key is None:
        raise fail("a certificate goes with its key: give both tls_cert and tls_key, or neither")
    try:
        ssl.create_default_context(ssl.Purpose.CLIENT_AUTH).load_cert_chain(cert, key)
    except OSError as error:
        raise fail(f"the certificate {cert} with the key {key} cannot be used ({error}): check both files") from error
    return {"ssl_certfile": cert, "ssl_keyfile": key}


def _prints(settings: Settings, zone: ZoneInfo, labels_to: str | None, printer: str | None) -> "Printer | None":
    """Where labels come out: the folder or printer of the command line, else that of the settings."""
    from service.cli.printing import LabelFolder, LabelPrinter  # noqa: PLC0415

    folder = labels_to or (None if printer else settings.labels_to)
    if folder:
        return LabelFolder(Path(folder), zone)
    if named := printer or settings.printer:
        try:
            stock = stocks.stock(settings.label_stock)
        except StockError as error:
            raise fail(f"label_stock in the settings: {error}") from error
        return LabelPrinter(named, Path(settings.print_queue), stock, zone)
    return None


def _watch(desk: Desk, folder: Path) -> "Watch":
    from service.api.watch import Watch  # noqa: PLC0415  (keeps `foldmark --help` quick)

    try:
        return Watch(desk, folder)
    except OSError as error:
        raise fail(f"the folder {folder} cannot be watched ({error.strerror}): check the path") from error


def first_link(doors: "Doors", desk: Desk) -> str | None:
    """A one-time code for the first manager, who is made here when there is none; None once a manager has a PIN."""
    with desk.ledger.reading() as reader:
        managers = [p.code for p in reader.state.people() if "manager" in p.roles and not p.left_at]
    if any(doors.has_pin(badge) for badge in managers):
        return None
    if not managers:
        managers = [badge_code(desk.practice.site, 1).text]
        say(desk, "enrol staff", badge=managers[0], roles=["manager"], may_release=True)
    return doors.pin_link(managers[0])


@click.command(
    epilog="\b\nExamples:\n  foldmark serve\n  foldmark --ledger /srv/k7.db serve --port 8090 --labels-to /srv/labels\n"
    "  foldmark serve --watch /srv/steriliser-1"
)
@click.option("--host", help="The address to listen at; 127.0.0.1 unless set.")
@click.option("--port", type=click.IntRange(0, 65535), help="The port; 8080 unless set, 0 for any free one.")
@click.option(
    "--labels-to", type=click.Path(file_okay=False), help="Print pack labels and load slips as PNGs into this folder."
)
@click.option("--printer", help="Print them on this printer instead, such as ipp://192.0.2.7/ipp/print.")
@click.option("--tls-cert", type=click.Path(dir_okay=False), help="The certificate to serve https with, a PEM file.")
@click.option("--tls-key", type=click.Path(dir_okay=False), help="Its private key, a PEM file.")
@click.option("--watch", type=click.Path(file_okay=False, path_type=Path),
              help="Judge the cycle logs that a data logger drops into this folder.")  # fmt: skip
@click.pass_context
def serve(
    ctx: click.Context,
    host: str | None,
    port: int | None,
    labels_to: str | None,
    printer: str | None,
    tls_cert: str | None,
    tls_key: str | None,
    watch: Path | None,
) -> None:
    """Run the service until it is stopped."""
    import uvicorn  # noqa: PLC0415  (keeps `foldmark --help` quick)

    from service.api.app import Together, make_app  # noqa: PLC0415
    from service.api.gate import PromptClients  # noqa: PLC0415
    from service.api.listen import PortError, free_port  # noqa: PLC0415
    from service.api.pace import Paces  # noqa: PLC0415
    from service.pages.routes import add_pages  # noqa: PLC0415

    settings = settings_of(ctx)
    ledger, practice = open_ledger(settings)
    try:
        bound = free_port(host or settings.host, settings.port if port is None else port)
    except PortError as error:
        raise fail(str(error)) from error
    prints = _prints(settings, practice.zone, labels_to, printer)
    tls = _tls(tls_cert or settings.tls_cert, tls_key or settings.tls_key)
    log_lines()
    desk = Desk(ledger, practice, printer=prints).start()
    doors = _doors(settings.doors, desk)
    paces = Paces.of(settings.scans_a_second, settings.requests_a_second)
    beside = Together(_sealer(desk, key_path(settings, practice.site)), _watch(desk, watch) if watch else None)
    app = make_app(desk, add_pages, beside, doors, paces)
    address = "{}://{}:{}".format("https" if tls else "http", *bound.getsockname())
    click.echo(f"Foldmark serves {practice.name} at {address}  (stop with Ctrl-C)")
    if doors and (link := first_link(doors, desk)):
        click.echo(f"No manager has a PIN yet. For one use within a day: {address}/start#{link}")
    _calm_collector()
    config = uvicorn.Config(
        app,
        http=PromptClients,
        log_config=None,
        access_log=False,
        timeout_graceful_shutdown=3,
        proxy_headers=bool(settings.trusted_proxies),
        forwarded_allow_ips=[*settings.trusted_proxies],
        server_header=False,
        **tls,
    )
    uvicorn.Server(config).run(sockets=[bound])
