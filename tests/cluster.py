"""A PostgreSQL cluster of the tests' own: from the system's programs, as an unprivileged user, on a free port."""

import itertools
import os
import pwd
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from pathlib import Path

import psycopg

USER, PASSWORD = "foldmark", "a password with ünï & code"
_NUMBERS = itertools.count(1)


def programs():
    """The folder of the newest PostgreSQL server programs here; None without."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    there = found[-1].parent if found else shutil.which("initdb") and Path(shutil.which("initdb")).parent
    return there or None


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def let_others_through(path):
    """Open the folders above a test's own, which are closed to other users."""
    for parent in path.parents:
        if Path(tempfile.gettempdir()) in parent.parents and parent.stat().st_uid == os.geteuid():
            parent.chmod(parent.stat().st_mode | 0o011)


class Cluster:
    """One server and its folder. `url(database)` is how to reach it."""

    def __init__(self, folder, copy_of=None, name="one", settings=()):
        self.folder, self.port, self.settings = Path(folder), free_port(), list(settings)
        self._bin = programs()
        self._who = {"user": "nobody", "group": pwd.getpwnam("nobody").pw_gid} if os.geteuid() == 0 else {}
        self.folder.mkdir(parents=True)
        self._own(self.folder)
        self.data = self.folder / "data"
        if copy_of is None:
            secret = self.folder / "password"
            secret.write_text(PASSWORD, "utf-8")
            self._own(secret)
            self.run(
                "initdb",
                "-D",
                self.data,
                "-U",
                USER,
                "--auth=scram-sha-256",
                f"--pwfile={secret}",
                "-E",
                "UTF8",
                "--locale=C.UTF-8",
            )
            with (self.data / "pg_hba.conf").open("a") as file:
                file.write("host replication all 127.0.0.1/32 scram-sha-256\n")
        else:
            self.run(
                "pg_basebackup", "-D", self.data, "-R", "-X", "stream", "-c", "fast", "-d", copy_of.url("postgres")
            )
            with (self.data / "postgresql.conf").open("a") as file:
                file.write(f"cluster_name = '{name}'\n")
        self.start()

    def _own(self, path):
        if self._who:
            shutil.chown(path, "nobody", self._who["group"])
            let_others_through(path)

    def run(self, program, *words):
        done = subprocess.run([self._bin / program, *map(str, words)], capture_output=True, text=True, cwd="/",
                              env=os.environ | {"PGPASSWORD": PASSWORD}, check=False, **self._who)  # fmt: skip
        assert done.returncode == 0, (program, done.stderr[-2000:])
        return done.stdout

    def start(self):
        told = ["listen_addresses=127.0.0.1", f"port={self.port}", "unix_socket_directories=", "max_connections=60", "shared_buffers=64MB",
                "log_min_messages=warning", "max_wal_senders=8", "wal_level=logical", *self.settings]  # fmt: skip
        options = " ".join(f"-c {setting!r}" for setting in told)
        self.run("pg_ctl", "-D", self.data, "-w", "-t", "60", "-l", self.folder / "log", "-o", options, "start")

    def stop(self, mode="fast"):
        if (self.data / "postmaster.pid").exists():
            self.run("pg_ctl", "-D", self.data, "-w", "-m", mode, "stop")

    def kill(self):
        """SIGKILL to the postmaster and every process of it, as when the machine goes."""
        postmaster = int((self.data / "postmaster.pid").read_text().split()[0])
        children = [int(path.parent.name) for path in Path("/proc").glob("[0-9]*/stat") if _parent(path) == postmaster]
        for pid in (postmaster, *children):
            try:
                os.kill(pid, signal.SIGKILL)
            except ProcessLookupError:
                continue
        deadline = time.monotonic() + 10
        while any(Path(f"/proc/{pid}").exists() and "Z" not in _state(pid) for pid in (postmaster, *children)):
            assert time.monotonic() < deadline
            time.sleep(0.02)

    def promote(self):
        self.run("pg_ctl", "-D", self.data, "-w", "promote")

    def url(self, database):
        return f"postgresql://{USER}:{re.sub('[^a-zA-Z]', lambda m: ''.join(f'%{b:02X}' for b in m[0].encode()), PASSWORD)}@127.0.0.1:{self.port}/{database}"

    def admin(self, statement, database="postgres"):
        with psycopg.connect(self.url(database), autocommit=True) as connection:
            cursor = connection.execute(statement)
            return cursor.fetchall() if cursor.description else None

    def database(self):
        """A new, empty database: its address."""
        name = f"practice_{next(_NUMBERS)}"
        self.admin(f"CREATE DATABASE {name}")
        return self.url(name)


def _parent(stat):
    try:
        return int(stat.read_text().rsplit(")", 1)[1].split()[1])
    except (OSError, IndexError):
        return 0


def _state(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0]
    except OSError:
        return "Z"
