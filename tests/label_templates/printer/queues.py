"""A print server of the tests' own: `cupsd` as an unprivileged user, with one queue to a printer."""

import itertools
import os
import pwd
import shutil
import signal
import subprocess
from pathlib import Path

from label_templates.printer.find import in_cups
from tests.cluster import free_port, let_others_through
from tests.label_templates.printer.everywhere import until

_NUMBERS = itertools.count(1)
_FILES = """ServerRoot {0}/root
RequestRoot {0}/spool
CacheDir {0}/cache
StateDir {0}/state
TempDir {0}/tmp
ErrorLog {0}/log
AccessLog {0}/log
PageLog {0}/log
User nobody
Group {1}
"""
_SERVER = """Listen 127.0.0.1:{0}
Browsing No
LogLevel debug
<Location />
Order allow,deny
Allow from 127.0.0.1
</Location>
<Policy default>
<Limit All>
Order deny,allow
</Limit>
</Policy>
"""
_QUEUE = """<Printer labels>
DeviceURI {0}
State Idle
Accepting Yes
</Printer>
"""
PROGRAM = shutil.which("cupsd", path=f"{os.environ['PATH']}:/usr/sbin")


class Cups:
    """A CUPS whose queue `labels`, at `uri`, hands on to the printer at `device`."""

    def __init__(self, folder, device):
        self.folder, self.port = Path(folder) / f"cups-{next(_NUMBERS)}", free_port()
        self.server, self.uri = f"ipp://127.0.0.1:{self.port}/", f"ipp://127.0.0.1:{self.port}/printers/labels"
        for name in ("root", "spool", "cache", "state", "tmp"):
            (self.folder / name).mkdir(parents=True)
        group = subprocess.run(["id", "-gn", "nobody"], capture_output=True, text=True, check=True).stdout.strip()
        (self.folder / "cups-files.conf").write_text(_FILES.format(self.folder, group))
        (self.folder / "cupsd.conf").write_text(_SERVER.format(self.port))
        (self.folder / "root" / "printers.conf").write_text(_QUEUE.format(device))
        who = {"user": "nobody", "group": pwd.getpwnam("nobody").pw_gid} if os.geteuid() == 0 else {}
        let_others_through(self.folder / "root")
        for path in (self.folder, *self.folder.rglob("*")):
            if who:
                shutil.chown(path, "nobody", who["group"])
        words = [PROGRAM, "-f", "-c", self.folder / "cupsd.conf", "-s", self.folder / "cups-files.conf"]
        self._process = subprocess.Popen(
            words, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **who
        )
        try:
            until(lambda: in_cups(self.server), "cupsd", self)
        except BaseException:
            self.end()
            raise

    @property
    def log(self):
        return (self.folder / "log").read_text(errors="replace") if (self.folder / "log").exists() else ""

    def end(self):
        os.killpg(self._process.pid, signal.SIGTERM)
        try:
            self._process.wait(10)
        finally:
            if self._process.poll() is None:
                os.killpg(self._process.pid, signal.SIGKILL)
                self._process.wait(10)
