"""A real IPP server: `ippeveprinter`, as an unprivileged user on a port of its own, with a message bus of its own."""

import itertools
import os
import pwd
import shutil
import signal
import subprocess
import time
from pathlib import Path

from label_templates.printer.ipp import OfflineError, Printer
from tests.cluster import free_port, let_others_through

_NUMBERS = itertools.count(1)
_BUS = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>system</type><listen>unix:path={path}</listen><auth>EXTERNAL</auth>
<policy context="default"><allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/><allow own="*"/></policy></busconfig>"""
_ATTRIBUTES = """
ATTR mimeMediaType document-format-supported {formats}
ATTR mimeMediaType document-format-default {first}
ATTR resolution printer-resolution-default {dpi}dpi
ATTR resolution printer-resolution-supported {dpi}dpi
ATTR resolution pwg-raster-document-resolution-supported {dpi}dpi
ATTR keyword pwg-raster-document-type-supported {kinds}
ATTR keyword media-supported {name}
ATTR keyword media-default {name}
ATTR keyword media-ready {name}
ATTR collection media-size-supported {size}
ATTR collection media-col-default {{ MEMBER collection media-size {size} }}
ATTR collection media-col-ready {{ MEMBER collection media-size {size} }}
ATTR keyword media-col-supported media-size
"""


def program():
    """Whether everything a real IPP server needs is here."""
    return bool(shutil.which("ippeveprinter", path=_path()) and shutil.which("dbus-daemon"))


def _path():
    return f"{os.environ['PATH']}:/usr/sbin:/usr/bin"


class Everywhere:
    """A printer at `uri` that keeps what arrives in `spool`. `command` is run for each document, a shell script's text."""

    def __init__(self, folder, *, formats="image/pwg-raster,application/pdf", dpi=203, mm=(62, 40), command="",
                 kinds="black_1,sgray_8", port=None, tls=False):  # fmt: skip
        self.folder, self.port = Path(folder) / f"printer-{next(_NUMBERS)}", port or free_port()
        self.spool = self.folder / "spool"
        self.spool.mkdir(parents=True)
        self.uri = f"ipp{'s' if tls else ''}://localhost:{self.port}/ipp/print"
        width, height = (round(side * 100) for side in mm)
        size = f"{{ MEMBER integer x-dimension {width} MEMBER integer y-dimension {height} }}"
        said = _ATTRIBUTES.format(formats=formats, first=formats.split(",")[0], dpi=dpi, kinds=kinds, size=size,
                                  name=f"custom_labels_{mm[0]}x{mm[1]}mm")  # fmt: skip
        (self.folder / "attributes").write_text(said)
        (self.folder / "bus.conf").write_text(_BUS.format(path=self.folder / "bus"))
        self._words = ["-r", "off", "-n", "localhost", "-p", str(self.port), "-d", str(self.spool), "-k",
                       "-a", str(self.folder / "attributes"), "-vvv"]  # fmt: skip
        if command:
            script = self.folder / "command"
            script.write_text(f"#!/bin/sh\n{command}\n")
            script.chmod(0o755)
            self._words += ["-c", str(script)]
        self._who = {"user": "nobody", "group": pwd.getpwnam("nobody").pw_gid} if os.geteuid() == 0 else {}
        let_others_through(self.folder / "spool")
        for path in (self.folder, *self.folder.rglob("*")):
            if self._who:
                shutil.chown(path, "nobody")
        self._bus = self._run(["dbus-daemon", f"--config-file={self.folder / 'bus.conf'}", "--nofork", "--nopidfile"])
        self._printer = None
        try:
            self.start()
        except BaseException:
            self.end()
            raise

    def _run(self, words):
        env = {"PATH": _path(), "HOME": str(self.folder), "DBUS_SYSTEM_BUS_ADDRESS": f"unix:path={self.folder / 'bus'}"}
        with (self.folder / "log").open("ab") as log:
            return subprocess.Popen(
                words, stdout=log, stderr=log, env=env, cwd=self.folder, start_new_session=True, **self._who
            )

    def start(self):
        until((self.folder / "bus").exists, "the message bus")
        self._printer = self._run(["ippeveprinter", *self._words, "Label printer"])
        until(self._answers, "ippeveprinter", self)

    def _answers(self):
        assert self._printer.poll() is None, self.log
        try:
            with Printer(self.uri) as printer:
                return printer.attributes()
        except OfflineError:
            return None

    def kill(self):
        """The printer goes away without a word."""
        os.killpg(self._printer.pid, signal.SIGKILL)
        self._printer.wait(10)

    def end(self):
        for process in (self._printer, self._bus):
            if process and process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait(10)

    @property
    def log(self):
        return (self.folder / "log").read_text(errors="replace")

    @property
    def arrived(self):
        """The documents that arrived whole, in order."""
        return sorted(
            (path for path in self.spool.rglob("*") if path.suffix in {".pdf", ".pwg"}),
            key=lambda path: path.stat().st_mtime_ns,
        )


def until(look, what, printer=None, seconds=30):
    """What `look` gives, once it gives anything."""
    deadline = time.monotonic() + seconds
    while not (found := look()):
        assert time.monotonic() < deadline, f"{what} did not come\n{printer.log if printer else ''}"
        time.sleep(0.02)
    return found
