"""From a scan posted to the screen that changed, with 64 screens open; and 500 event streams held by one service."""

import asyncio
import json
import multiprocessing
import tempfile
import time
from pathlib import Path

import numpy as np

from tests.bench.http import furnished, request
from tests.bench.ledger import resident
from tests.bench.rows import row
from tests.faults.load import Service
from tests.practice import MANAGER, TECHNICIAN, wash_load

STATIONS, EACH = 64, 20
PACE_S = 1.0
"""Every station scans once in this time: faster than hands do."""
STREAMS = 500
PATIENCE_S = 30


class Screen:
    """One station's open event stream: it remembers when it first showed each code as the last scan."""

    def __init__(self, port, token, station):
        self.station = station
        self._where = (port, token)
        self.shown, self._changed = {}, asyncio.Event()

    async def open(self):
        port, token = self._where
        self._reader, self._writer = await asyncio.open_connection("127.0.0.1", port)
        head = f"GET /api/stations/{self.station}/events HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {token}\r\n\r\n"
        self._writer.write(head.encode())
        status = await self._reader.readline()
        assert b" 200 " in status, status
        self._task = asyncio.create_task(self._follow())

    async def _follow(self):
        while line := await self._reader.readline():
            if line.startswith(b"data: ") and len(line) > 10:
                now, last = time.perf_counter(), json.loads(line[6:])["last"]
                self.shown.setdefault(last[0]["code"] if last else None, now)
                self._changed.set()

    async def first(self):
        """Until it shows anything."""
        async with asyncio.timeout(PATIENCE_S):
            await self._changed.wait()

    async def shows(self, code):
        """When this screen first showed that code."""
        async with asyncio.timeout(PATIENCE_S):
            while code not in self.shown:
                self._changed.clear()
                await self._changed.wait()
        return self.shown[code]

    def close(self):
        self._task.cancel()
        self._writer.close()


async def post(connection, body):
    """Post a scan: when it was sent, and when it was answered."""
    reader, writer = connection
    sent = time.perf_counter()
    writer.write(body)
    head = await reader.readuntil(b"\r\n\r\n")
    answer = await reader.readexactly(int(head.lower().split(b"content-length: ")[1].split(b"\r\n")[0]))
    answered = time.perf_counter()
    assert b'"verdict":"stop"' not in answer, answer
    return sent, answered


async def station_at_work(port, token, screen, number, codes, pace_s):
    """Scan at one station, its screen open: the waits for the answers, and for the screen."""
    connection = await asyncio.open_connection("127.0.0.1", port)
    name, answers, screens = screen.station, [], []
    for code in (TECHNICIAN, wash_load(number)):
        await post(connection, request(name, code, token))
    await asyncio.sleep(pace_s * number / STATIONS)
    for code in codes:
        sent, answered = await post(connection, request(name, code, token))
        answers.append(answered - sent)
        screens.append(await screen.shows(code) - sent)
        await asyncio.sleep(max(0.0, sent + pace_s - time.perf_counter()) if pace_s else 0)
    connection[1].close()
    return answers, screens


async def measured(port, token, sets, first, pace_s):
    screens = [Screen(port, token, f"wash-{number + 1}") for number in range(STATIONS)]
    await asyncio.gather(*(screen.open() for screen in screens))
    each = len(sets) // STATIONS
    found = await asyncio.gather(*(station_at_work(port, token, screen, first + number, sets[number * each : (number + 1) * each], pace_s)
                                   for number, screen in enumerate(screens)))  # fmt: skip
    for screen in screens:
        screen.close()
    return [[wait for waits in found for wait in waits[which]] for which in (0, 1)]


async def held(port, pid, token):
    """Resident memory in MB before and with `STREAMS` streams open, and how many of them heard of a scan."""
    before = resident(pid)
    screens = [Screen(port, token, f"wash-{number % STATIONS + 1}") for number in range(STREAMS)]
    for screen in screens:
        await screen.open()
        await screen.first()
    connection = await asyncio.open_connection("127.0.0.1", port)
    for number in range(STATIONS):
        await post(connection, request(f"wash-{number + 1}", MANAGER, token))
    heard = await asyncio.gather(*(screen.shows(MANAGER) for screen in screens), return_exceptions=True)
    after = resident(pid)
    for screen in screens:
        screen.close()
    return before, after, sum(isinstance(one, float) for one in heard)


def client(port, pid, token, sets, out):
    """The clients' process: as many scans at their pace as without one, then the streams."""
    half = len(sets) // 2
    paced = asyncio.run(measured(port, token, sets[:half], 1, PACE_S))
    hurried = asyncio.run(measured(port, token, sets[half:], 1 + STATIONS, 0.0))
    out.put((paced, hurried, asyncio.run(held(port, pid, token))))


def run():
    with tempfile.TemporaryDirectory() as place:
        where = str(Path(place) / "screens.db")
        sets, _, token = furnished(where, sets=2 * STATIONS * EACH)
        service = Service(where)
        context = multiprocessing.get_context("spawn")
        out = context.Queue()
        clients = context.Process(target=client, args=(service.port, service.process.pid, token, sets, out))
        clients.start()
        paced, hurried, (before, after, heard) = out.get(timeout=300)
        clients.join()
        service.stop()
    late = [[float(np.percentile(waits, 95)) * 1000 for waits in pair] for pair in (paced, hurried)]
    (answer, screen), (answer_hurried, screen_hurried) = late
    return [
        row(f"scan posted to screen changed, {STATIONS} screens open, 95th percentile, beside the bare answer", screen, answer, "ms", "<= 60 ms",
            screen <= 60),
        row("the same, every station scanning without a pause", screen_hurried, answer_hurried, "ms", "no target", met=True),
        row(f"memory of the service with {STREAMS} event streams open, beside before", after, before, "MB", "no target", met=True),
        row(f"of {STREAMS} open event streams, those that heard of a scan", heard, STREAMS, "streams", "all", heard == STREAMS, 0),
    ]  # fmt: skip
