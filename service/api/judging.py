"""From a cycle's log, typed readings or printout to the act that judges its load."""

from dataclasses import dataclass
from typing import Any

from service.api.problems import Problem
from service.custody.chain import State
from service.custody.facts import stamp
from service.stations.desk import Beside, Desk
from service.stations.limits import Limits, limits_for
from service.steam.cycle import CycleError
from service.steam.judge import Judgement, judge
from service.steam.logs.guess import typed
from service.steam.logs.log import Log, read
from service.steam.logs.mapping import of_json
from service.steam.logs.text import text_of
from service.steam.printout import judge_printout
from service.steam.programme import ProgrammeError

CANNOT = "The cycle cannot be judged"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a load is about to be judged by: the judgement, the values of its fact, and what is kept beside it."""

    judgement: Judgement
    values: dict[str, Any]
    beside: Beside | None = None


def read_log(desk: Desk, machine: str, body: bytes, basis: str = "log") -> Log:
    """A machine's log, or readings of it that somebody typed. Raises CycleError."""
    practice = desk.practice
    said = (practice.logs if basis == "log" else practice.readings).get(machine)
    mapping = of_json(said) if said else typed(text_of(body)) if basis == "readings" else None
    return read(body, mapping, altitude_m=practice.altitude_m, tz=practice.tz)


def judged_log(desk: Desk, load: str, body: bytes, name: str | None, basis: str = "log") -> Evidence:
    """A load judged by readings over time. Raises Problem in one line."""
    try:
        limits = limits_here(desk, load, name)
        log = read_log(desk, machine_of(load), body, basis)
    except (CycleError, ProgrammeError) as error:
        raise Problem(422, CANNOT, str(error)) from error
    return of_log(log, load, body, limits, basis)


def of_log(log: Log, load: str, body: bytes, limits: Limits, basis: str = "log") -> Evidence:
    """A load judged by a log that was read."""
    judgement = judge(log.cycle, limits.programme, removal=limits.removal)
    values = _values(judgement, basis, log.sha256) | {
        "log_began": stamp(log.started_at) if log.started_at else None,
        "log_counter": log.counter,
        "mapping": log.mapping.to_json(),
        "band": limits.band,
    }
    return Evidence(judgement, values, lambda batch, _: batch.keep_log(log.sha256, load, limits.programme.name, body))


def judged_printout(desk: Desk, load: str, told: dict[str, Any]) -> Evidence:
    """A load judged by what a person read off its printout: hold, lowest and highest. Raises Problem."""
    try:
        limits = limits_here(desk, load, told["programme"]).programme
    except ProgrammeError as error:
        raise Problem(422, CANNOT, str(error)) from error
    if told["lowest_c"] > told["highest_c"]:
        raise Problem(409, CANNOT, "lowest_c is above highest_c: read the printout again", field="lowest_c")
    judgement = judge_printout(told["hold_s"], told["lowest_c"], told["highest_c"], limits)
    read_off = {f"{key}_hundredths": round(told[key] * 100) for key in ("lowest_c", "highest_c")}
    return Evidence(judgement, _values(judgement, "printout", None) | read_off)


def _values(judgement: Judgement, basis: str, sha256: str | None) -> dict[str, Any]:
    return {
        "verdict": judgement.verdict,
        "basis": basis,
        "hold_s": judgement.hold_s,
        "f0_hundredths": judgement.f0_hundredths,
        "log_sha256": sha256,
        **judgement.measures(),
    }


def limits_here(desk: Desk, load: str, name: str | None) -> Limits:
    """What this load is judged by: the programme of that name, or the one it ran. Raises ProgrammeError, Problem."""
    with desk.ledger.reading() as reader:
        return limits_for(reader.state, machine_of(load), name or _programme_run(reader.state, load))


def machine_of(load: str) -> str:
    """The machine of a load, whose code begins with it."""
    return "-".join(load.split("-")[:3])


def _programme_run(state: State, load: str) -> str:
    record = state.load(load)
    if record is None or record.programme is None:
        raise Problem(409, CANNOT, f"load {load} was never started: start it at loading first")
    return record.programme
