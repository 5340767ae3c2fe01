"""A case: one operation on one patient, from the patient's scan to the last count."""

from label_templates import codes
from service.custody.chain import State
from service.custody.facts import Fact
from service.custody.records import Case
from service.custody.rules.act import Act
from service.custody.rules.anywhere import UnknownCode, ask, said
from service.custody.rules.refusal import Question, Refusal


class NoCase(Refusal):
    """Which patient?

    A pack is opened for one patient, and no case is open here.

    Scan the patient or the case card first.
    """


class CaseClosed(Refusal):
    """This case is closed.

    {case} was closed {when}.

    Scan the patient to open a new case.
    """


class CloseWithGaps(Question):
    """Close this case?

    {what}.

    Show 1 not opened after all, 2 strip thrown away unread, 3 counted on paper, or type the reason; NO to go on.
    """

    needs_reason = True
    reasons = ("not opened after all", "strip thrown away unread", "counted on paper")


class StillThisPatient(Question):
    """Still {patient}?

    Nothing was scanned here for {minutes} minutes.

    Show YES to go on with {patient}, or NO and scan the patient on the table.
    """


class AnotherCaseOpen(Refusal):
    """Another case is open here.

    {case} is still open for another patient at this station.

    Close it with DONE, then scan this patient.
    """


START, ADDED, END = "start", "added", "end"


def open_case(state: State, act: Act) -> list[Fact]:
    """The patient's scan: a case begins."""
    site = state.site(act.site)
    number = (site.case if site else 0) + 1
    case = codes.case_code(act.site, number).text
    return [act.fact("case_opened", {"case": case, "number": number}, set=None, pack=None, load=None)]


def resume_case(state: State, act: Act) -> list[Fact]:
    """A case card: go on with a case that is still open."""
    known_case(state, act)
    return []


def known_case(state: State, act: Act) -> Case:
    case = state.case(act.data.get("case"))
    if case is None:
        if act.data.get("case"):
            raise UnknownCode(code=act.data["case"], kind="case")
        raise NoCase
    if case.closed_at:
        when = said(state, case.closed_at)
        raise CaseClosed(case=case.code, when=when)
    return case


def gauze_expected(state: State, case: Case, when: str) -> int:
    """How much gauze should be there: at the start what the packs brought, at the end that and what was added."""
    packed = sum(pack.gauze for code in case.packs if (pack := state.pack(code)))
    starts = [found for item, moment_, _, found in case.counts if (item, moment_) == ("gauze", START)]
    if when == START:
        return packed
    added = sum(found for item, moment_, _, found in case.counts if (item, moment_) == ("gauze", ADDED))
    return (starts[-1] if starts else packed) + added


def count(state: State, act: Act) -> list[Fact]:
    """Gauze counted: `act.data` has `found` and `moment` (start, added, end)."""
    case = known_case(state, act)
    when, found = str(act.data["moment"]), int(act.data["found"])
    expected = found if when == ADDED else gauze_expected(state, case, when)
    data = {"item": "gauze", "moment": when, "expected": expected, "found": found, "case": case.code}
    return [act.fact("counted", data, set=None, pack=None, load=None, patient=case.patient)]


def close_case(state: State, act: Act) -> list[Fact]:
    """DONE in theatre. `act.data["left"]` names packs asked about and not opened. Gaps ask, and keep the reason."""
    case = known_case(state, act)
    open_ends = unfinished(state, case, act.data.get("left") or ())
    data: dict[str, object] = {"case": case.code}
    if open_ends:
        ask(act, CloseWithGaps(what="; ".join(open_ends)))
        data |= {"gaps": open_ends, "why": act.why}
    return [act.fact("case_closed", data, set=None, pack=None, load=None, patient=case.patient)]


def unfinished(state: State, case: Case, left: tuple[str, ...] | list[str]) -> list[str]:
    """What stands open in a case: strips unread, packs asked about and left, counts missing or unequal."""
    packs = [pack for code in case.packs if (pack := state.pack(code))]
    found = [f"The strip of {pack.code} was not read" for pack in packs if pack.strip is None]
    found += [f"{code} was asked about and not opened" for code in left]
    moments = {when: (expected, number) for _, when, expected, number in case.counts}
    if packs and any(pack.gauze for pack in packs):
        found += [f"Gauze was not counted at the {when}" for when in (START, END) if when not in moments]
    for when in (START, END):
        if when in moments and moments[when][0] != moments[when][1]:
            found.append(f"Gauze at the {when}: {moments[when][1]} found, {moments[when][0]} expected")
    return found
