"""The law of the practice: every step that may be taken, and every reason it may not.

`decide` is the one way in. What goes wrong in a practice is decided here; everything else is plumbing.
"""

from collections.abc import Callable

from label_templates.codes import CodeError
from service.custody.chain import State
from service.custody.facts import Fact
from service.custody.recall import ReachError
from service.custody.rules import (
    anywhere,
    cases,
    indicators,
    issuing,
    loading,
    office,
    overrides,
    packing,
    release,
    store,
    theatre,
    upkeep,
    wash,
)
from service.custody.rules.act import Act
from service.custody.rules.refusal import Question, Refusal
from service.custody.rules.roles import check_role

__all__ = ["ACTS", "Act", "Question", "Refusal", "decide", "refused"]

Rule = Callable[[State, Act], list[Fact]]

ACTS: dict[str, Rule] = {
    "sign on": anywhere.on_staff,
    "compromise": anywhere.compromise,
    "undo": anywhere.undo,
    "open wash load": wash.open_wash_load,
    "wash set": wash.wash_set,
    "end wash": wash.end_wash,
    "start packing": packing.start_packing,
    "inspect": packing.inspect,
    "close pack": packing.close_pack,
    "print label": issuing.print_label,
    "stick label": packing.label_stuck,
    "set label aside": packing.set_label_aside,
    "open steam load": loading.open_steam_load,
    "load pack": loading.load_pack,
    "take out": loading.take_out,
    "start cycle": loading.start_cycle,
    "open for unloading": loading.open_for_unloading,
    "end cycle": loading.end_cycle,
    "unload pack": loading.unload_pack,
    "pale tape": loading.pale_tape,
    "store pack": store.store_pack,
    "open case": cases.open_case,
    "resume case": cases.resume_case,
    "may open": theatre.may_open,
    "open pack": theatre.open_pack,
    "open unused": theatre.open_unused,
    "return pack": theatre.return_pack,
    "override": overrides.override,
    "confirm override": overrides.confirm_override,
    "check set inside": theatre.same_set_inside,
    "count": cases.count,
    "close case": cases.close_case,
    "place indicator": indicators.place_indicator,
    "read indicator": indicators.read_indicator,
    "keep photo": indicators.keep_photo,
    "judge cycle": release.judge_cycle,
    "release": release.release,
    "reject": release.reject,
    "hold": release.hold,
    "open site": office.open_site,
    "name key": office.name_key,
    "enrol staff": office.enrol_staff,
    "staff left": office.staff_left,
    "register machine": office.register_machine,
    "stop machine": office.stop_machine,
    "return machine": office.return_machine,
    "service machine": upkeep.service_machine,
    "register set": office.register_set,
    "register sets": office.register_sets,
    "change set": office.change_set,
    "retire set": office.retire_set,
    "identify patient": office.identify_patient,
    "name patient": issuing.name_patient,
    "issue codes": issuing.issue_codes,
    "void code": issuing.void_code,
    "open recall": office.open_recall,
    "account": office.account,
    "close recall": office.close_recall,
}


def decide(state: State, act: Act) -> list[Fact] | Refusal:
    """The facts that `act` makes, none when it was so already, or the refusal that stands against it."""
    try:
        issuing.stop_if_voided(state, act.by, act.set, act.pack, act.load, act.patient)
        check_role(state, act)
        return ACTS[act.does](state, act)
    except Refusal as refusal:
        return refusal
    except (CodeError, ReachError) as error:
        return anywhere.BadValue(what="This", why=f"{error}.", todo="Check it, then scan or type it again.")


def refused(act: Act, code: str | None, refusal: Refusal, pack_set: str | None = None) -> Fact:
    """The fact of a scan that was refused: a near miss is the most useful thing an auditor can read."""
    data = {"code": code, "rule": refusal.rule, "why": f"{refusal.headline} {refusal.why}"}
    return act.fact("refused", data, set=act.set or pack_set)
