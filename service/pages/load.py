"""A load's page, and the list of loads."""

from collections.abc import Iterator

from service.custody.facts import Fact
from service.custody.records import Load
from service.custody.rules.loading import not_unloaded
from service.custody.rules.release import against_release, standing
from service.pages.looks import Looks
from service.pages.views import (
    LoadLine,
    LoadPage,
    LoadsPage,
)
from service.stations.limits import limits_of
from service.steam.charts import cycle_svg
from service.steam.judge import Judged, Judgement, judge
from service.steam.logs.log import again
from service.steam.programme import ProgrammeError
from service.words.name import Name


def load_page(looks: Looks, load: Load) -> LoadPage:
    packs = [pack for code in load.packs if (pack := looks.state.pack(code))]
    may: set[str] = set()
    if load.steam and not load.rejected and load.load_kind in {None, "goods"}:
        may = {"hold", "reject"}
        if not against_release(looks.state, load) and (load.held or not load.released_at):
            may.add("release")
    kept = log_of(looks, load)
    chart, notes = _chart(load, kept)
    kind = "Steam load" if load.steam else "Wash load"
    history = looks.reader.history("load", load.code)
    return LoadPage(
        f"{kind} {load.code[7:11]}", load.code, load.steam, tuple(_load_rows(looks, load)), _load_tags(load),
        tuple(standing(looks.state, load)) if load.steam else (),
        tuple(looks.pack_line(pack) for pack in packs), chart, notes,
        looks.facts(history), frozenset(may), load.held is not None, tuple(_photos(looks, history)),
        criteria(kept.found) if kept else (), load.load_kind or "",
        (load.biological_lot or "", load.control_lot or ""),
    )  # fmt: skip


def _photos(looks: Looks, history: list[Fact]) -> Iterator[tuple[str, str]]:
    """The address and the words of each photo kept with a load."""
    for fact in history:
        if fact.kind == "photo_kept":
            pack = looks.state.pack(fact.pack)
            where = f", in {looks.set_name(pack.set)}" if pack else ""
            yield f"/loads/{fact.load}/photos/{fact.data['sha256']}", f"{fact.data['of']}{where}, {looks.said(fact.at)}"


def _load_rows(looks: Looks, load: Load) -> list[tuple[str, str]]:
    machine = looks.state.machine(load.machine)
    rows = [("Machine", Name(machine.name if machine else load.machine)), ("Began", looks.said(load.began_at))]
    if load.programme:
        rows.append(("Programme", f"{load.programme}, {load.load_kind}{f': {load.why}' if load.why else ''}"))
    if load.started_at:
        rows.append(("Started", looks.said(load.started_at)))
    if load.ended_at:
        rows.append(("Ended", f"{looks.said(load.ended_at)}, {load.display or load.result}"))
    elif load.started_at:
        rows.append(("Ended", "no end recorded: such a load can only be rejected"))
    if load.verdict:
        f0 = f"{load.f0_hundredths / 100:.2f}" if load.f0_hundredths is not None else "?"
        rows.append(("Judged", f"{load.verdict} from the {load.basis}: {load.hold_s} s held, F0 {f0} min"))
    if load.biological_lot:
        read = load.biological or f"not yet read{looks.due(load)}"
        rows.append(("Biological", f"lot {load.biological_lot}: {read}"))
    if load.released_at:
        words = f"{looks.said(load.released_at)} by {looks.who(load.released_by)}"
        rows.append(("Released", f"{words}, alone: for a second look" if load.alone else words))
    if load.held:
        rows.append(("On hold", load.held))
    if load.rejected:
        rows.append(("Rejected", load.rejected))
    if load.ended_at and load.steam and (left := not_unloaded(looks.state, load)):
        rows.append(("Not scanned out", ", ".join(pack.code for pack in left)))
    return rows


def log_of(looks: Looks, load: Load) -> Judged | None:
    """The log kept with a load, judged again as it was judged; None where there is none or it can no longer be read."""
    log = looks.reader.log(load.code)
    if log is None:
        return None
    judged = (fact.data for fact in looks.reader.history("load", load.code) if fact.kind == "cycle_judged")
    told = next((data for data in judged if data["log_sha256"] == log[0]), {})
    try:
        limits = limits_of(looks.state.practice, log[1], told.get("band") or "")
    except ProgrammeError:
        return None
    cycle = again(log[2], told.get("mapping"))
    machine = looks.state.machine(load.machine)
    return Judged(cycle, judge(cycle, limits, removal=machine.removal if machine else None), limits)


HELD = {True: "met", False: "NOT MET", None: "not judged"}
NAMES = {"hold": "time held", "band": "temperature band", "saturation": "saturated steam"}
"""Criteria whose one word says too little to people."""


def criteria(found: Judgement) -> tuple[tuple[str, str, str, str, str], ...]:
    """Each criterion as people read it: name, value, limit, whether it was met, source."""
    return tuple(
        (NAMES.get(one.name, one.name), one.value, one.limit, HELD[one.ok], one.source) for one in found.criteria
    )


def _chart(load: Load, kept: Judged | None) -> tuple[str, tuple[str, ...]]:
    if kept is None:
        return "", ()
    title = f"Load {load.code[7:11]}, programme {kept.programme.name}"
    return cycle_svg(kept.cycle, kept.found, kept.programme, title=title), kept.found.notes


def loads_page(looks: Looks) -> LoadsPage:
    return LoadsPage("Loads", tuple(load_line(looks, load) for load in looks.reader.loads(200)))


def load_line(looks: Looks, load: Load) -> LoadLine:
    """A load as lists show it."""
    machine = looks.state.machine(load.machine)
    what = f"{len(load.packs)} {'packs' if load.steam else 'sets'}"
    if load.load_kind not in {None, "goods"}:
        what = f"{load.load_kind} test: {load.air_removal or 'not read'}"
    kind = "Steam" if load.steam else "Wash"
    name = Name(machine.name if machine else load.machine)
    said = looks.said(load.began_at)
    return LoadLine(load.code, f"{kind} {load.code[7:11]}", name, said, what, _load_tags(load))


def _load_tags(load: Load) -> tuple[str, ...]:
    tags = []
    if load.recalls:
        tags.append("recalled")
    if load.rejected:
        tags.append("rejected")
    if load.held:
        tags.append("held")
    if load.verdict and load.verdict != "pass":
        tags.append(load.verdict)
    if load.released_at and not load.rejected:
        tags.append("released")
    if load.result:
        tags.append(load.result)
    if load.alone:
        tags.append("released alone: second look")
    if load.why:
        tags.append("immediate use: second look")
    return tuple(tags)
