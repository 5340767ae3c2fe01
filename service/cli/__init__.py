"""What people type: `foldmark …`. Each command lives in a module of its own and is imported when it is used."""

import sys
from typing import Any

import click

from service.cli.lazy import Lazy

COMMANDS = {
    "demo": "service.cli.demo:demo",
    "init": "service.cli.ledger:init",
    "serve": "service.cli.serve:serve",
    "doctor": "service.cli.doctor:doctor",
    "scan": "service.cli.scan:scan",
    "label": "service.cli.label:label",
    "custody": "service.cli.looks:custody",
    "recall": "service.cli.looks:recall",
    "board": "service.cli.looks:board",
    "cycle": "service.cli.cycle:cycle",
    "verify": "service.cli.verify:verify",
    "export": "service.cli.ledger:export",
    "checkpoint": "service.cli.sealing:checkpoint",
    "proof": "service.cli.sealing:proof",
    "key": "service.cli.sealing:key",
    "names": "service.cli.names:names",
    "forget": "service.cli.names:forget",
    "copy": "service.cli.moving:copy",
    "backup": "service.cli.moving:backup",
    "restore": "service.cli.moving:restore",
    "migrate": "service.cli.moving:migrate",
    "link": "service.cli.link:link",
}
EPILOG = """Foldmark advises; the practice's own procedures, local codes and the licensed practitioner decide.

\b
Examples:
  foldmark demo --once --out demo-out     the invented practice, start to recall
  foldmark init --site K7 --name "Tarn Bridge Small Animal Practice"
  foldmark serve                          stations at http://127.0.0.1:8080
  foldmark recall L-K7-1-0331-K --reach since

Exit status: 0 yes, 1 the honest answer is no, 2 bad usage or input."""


@click.group(cls=Lazy, places=COMMANDS, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="foldmark", prog_name="foldmark")
@click.option(
    "--ledger",
    metavar="PATH-or-URL",
    help="The ledger: a file, or postgresql://… . Also FOLDMARK_LEDGER; practice.db otherwise.",
)
@click.option("--site", metavar="SITE", help="Which site, where a ledger holds several. Also FOLDMARK_SITE.")
@click.option("--settings", "settings_file", type=click.Path(dir_okay=False), help="A TOML file of settings.")
@click.pass_context
def foldmark(ctx: click.Context, ledger: str | None, site: str | None, settings_file: str | None) -> None:
    """Codes, labels, scans and the chain of custody of a practice's sterile instrument packs."""
    ctx.obj = {"ledger": ledger, "site": site, "settings": settings_file}


def main() -> Any:
    """The command `foldmark`. Errors are one line and no traceback; a closed pipe ends quietly."""
    from service.ledger.store import LedgerError  # noqa: PLC0415  (keeps `foldmark --help` quick)
    from service.settings import SettingsError  # noqa: PLC0415

    try:
        return foldmark(prog_name="foldmark")
    except (LedgerError, SettingsError) as error:
        click.echo(f"foldmark: {error}", err=True)
        sys.exit(2)
    except ImportError as error:
        click.echo(f"foldmark: a part is missing ({error}): install Foldmark again", err=True)
        sys.exit(2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
