"""The demo from end to end: film the day, play the three weeks, write down what came of it."""

import json
import multiprocessing
import tempfile
import time
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any, cast

from label_templates import codes, sheet, stocks
from label_templates.labels import BENCH_CARDS, Label
from label_templates.whole import write_whole
from service.custody.facts import stamp
from service.custody.practice import Practice
from service.custody.records import Pack
from service.demo import tarn_bridge as tb
from service.demo.diary import Diary, Step
from service.demo.filming import Cameras, Reel, film_day, in_two, label_of, packed_when, shown_csv
from service.demo.stage import DemoError, Say, Stage
from service.demo.weeks import filmed, write
from service.ledger.proof import custody_proof
from service.ledger.proof import written as proof_file
from service.pages.papers.recall_list import recall_pdf
from service.stations.sealing import Sealer
from service.steam.charts import cycle_svg
from service.steam.judge import judge
from service.steam.logs.log import read_csv
from service.steam.programme import programme

LEDGER = "practice.db"


@dataclass(slots=True)
class Played:
    """A demo that has been played and still serves."""

    stage: Stage
    summary: dict[str, Any]


def _film_in_process(steps: list[Step], packed: dict[str, tuple[str, str]], folder: Path) -> list[tuple[str, Reel]]:
    return list(film_day(steps, packed, folder).items())


def play(out: Path, practice: Practice, say: Say) -> Played:
    """Everything `foldmark demo` does but serving on. Files of an earlier demo in `out` are replaced.

    Raises DemoError when something went another way than the diary, OSError when `out` cannot be written.
    """
    began = time.monotonic()
    out.mkdir(parents=True, exist_ok=True)
    for old in [*out.glob(f"{LEDGER}*"), *out.glob("*.key"), *out.glob("day-*.avi")]:
        old.unlink()
    diary = write()
    day = filmed(diary)
    packed = packed_when(diary.steps)
    say(f"{len(diary.steps)} steps in three weeks at {tb.NAME}; {len(day)} of them go before a camera.")
    context = multiprocessing.get_context("spawn")
    with context.Pool(2) as pool:
        filming = pool.starmap_async(_film_in_process, [(half, packed, out) for half in in_two(day)])
        stage = Stage(out / LEDGER, practice, diary.steps[0].at)
        try:
            before = [step for step in diary.steps if step.at < day[0].at]
            _post_all(stage, before, say)
            say("Waiting for the film …")
            reels = _by_identity({name: reel for half in filming.get(300) for name, reel in half}, day)
            write_whole(out / "shown.csv", shown_csv(reels, day).encode())
            counts = _filmed_day(stage, diary, day, reels, say)
            _post_all(stage, [step for step in diary.steps if step.at > day[-1].at and not step.filmed], say)
            summary = _write_down(stage, diary, out, packed, counts)
        except BaseException:
            stage.close()
            raise
    summary["seconds"] = round(time.monotonic() - began, 1)
    write_whole(out / "summary.json", (json.dumps(summary, indent=2, ensure_ascii=False) + "\n").encode())
    return Played(stage, summary)


def _by_identity(reels: dict[str, Reel], day: list[Step]) -> dict[str, Reel]:
    """The reels that came back from the other process, with this process's steps in them."""
    steps = {(step.station, step.at): step for step in day}
    for reel in reels.values():
        reel.showings = [type(s)(s.first, s.end, steps[(s.step.station, s.step.at)]) for s in reel.showings]
    return reels


def _post_all(stage: Stage, steps: list[Step], say: Say) -> None:
    day = None
    for step in steps:
        if step.at.date() != day:
            day = step.at.date()
            say(f"  {day:%A %-d %B}")
        stage.play(step)


def _filmed_day(stage: Stage, diary: Diary, day: list[Step], reels: dict[str, Reel], say: Say) -> dict[str, int]:
    """The day before the camera: each showing is read from its video; the office works in between."""
    say(f"  {day[0].at:%A %-d %B}, before {len(reels)} cameras")
    with tempfile.TemporaryDirectory() as outboxes:
        cameras = Cameras(reels, stage.url, Path(outboxes), stage.clock, stage.scanner)
        try:
            for step in diary.steps:
                if step.filmed and step.code:
                    stage.clock.put(step.at + timedelta(seconds=3))
                    _check_showing(step, cameras.show(step))
                elif day[0].at <= step.at <= day[-1].at:
                    stage.play(step)
            return cameras.counts | {"shown": len(day)}
        finally:
            cameras.close()


def _check_showing(step: Step, heard: list[tuple[str, Any]]) -> None:
    where = f"{step.code} before the camera of {step.station}, {step.at:%H:%M:%S}"
    if [code for code, _ in heard] != [step.code]:
        raise DemoError(f"{where}: the scanner read {[code for code, _ in heard] or 'nothing'}")
    verdict = heard[0][1]
    if verdict.verdict != step.expect:
        raise DemoError(f"{where}: expected {step.expect}, got {verdict.verdict}: {verdict.headline} {verdict.detail}")


def _all_labels(diary: Diary, packed: dict[str, tuple[str, str]]) -> list[Label]:
    """Every label of the practice worth printing: tags, shelves, badges, cards, patients, the filmed day's packs."""
    shown = [one.code for one in tb.SETS.values()] + [tb.shelf(number) for number in tb.SHELVES]
    shown += [badge for badge, _, _, _ in tb.STAFF] + [code for code, _, _ in tb.PATIENTS]
    shown += [codes.load_code(machine, number).text for machine, first in ((tb.WASHER, 140), (tb.STERILISER, 360))
              for number in range(first, first + 6)]  # fmt: skip
    shown += [diary.pack(name) for name in diary.filmed_packs]
    return [label_of(code, packed) for code in shown] + list(BENCH_CARDS)


def _write_down(
    stage: Stage, diary: Diary, out: Path, packed: dict[str, tuple[str, str]], counts: dict[str, int]
) -> dict[str, Any]:
    """The files the demo leaves, from what the running service answers."""
    notable = diary.notable
    labels = _all_labels(diary, packed)
    sheet.write_pdf(labels, stocks.stock("a4-24"), out / "labels.pdf")
    recall = stage.get(f"/api/recalls/{notable['bad_load']}", reach="since")
    custody = stage.get(f"/api/packs/{notable['opened']}/custody")
    write_whole(out / "recall.json", (json.dumps(recall, ensure_ascii=False) + "\n").encode())
    write_whole(out / "custody.json", (json.dumps(custody, ensure_ascii=False) + "\n").encode())
    names = {one.code: one.name for one in tb.SETS.values()}
    patients = {code: f"{name}, {kind}" for code, name, kind in tb.PATIENTS}
    told = {"set_names": names, "patient_names": patients, "practice": tb.NAME, "zone": stage.practice.zone}
    write_whole(out / "recall.pdf", recall_pdf(recall, **told))
    Sealer(stage.desk, stage.key).sign_now()
    with stage.desk.ledger.reading() as reader:
        opened = cast("Pack", reader.get("pack", notable["opened"]))
        proof = custody_proof(reader, opened, stage.key, stamp(stage.clock()))
        log = reader.log(notable["bad_load"])
        facts = reader.head()[0]
        loads = [load for load in reader.loads(1000) if load.steam and load.started_at]
        packs = reader.everything("pack")
    write_whole(out / "pack.proof", proof_file(proof))
    if log:
        limits, cycle = programme(log[1]), read_csv(log[2])
        title = f"Load {notable['bad_load']}, programme {limits.name}"
        write_whole(out / "cycle.svg", cycle_svg(cycle, judge(cycle, limits), limits, title=title).encode())
    return {
        "practice": stage.practice.name,
        "sets": len(tb.SETS),
        "packs": len(packs),
        "steam_loads": len(loads),
        "goods_loads": sum(load.load_kind == "goods" for load in loads),
        "facts": facts,
        "labels": len(labels),
        "filmed": counts,
        "recall": {"load": recall["load"], "reach": recall["reach"], "counts": recall["counts"]},
        "opened": {"pack": notable["opened"], "patient": notable["patient"], "gaps": custody["gaps"]},
        "notable": notable,
    }
