"""Who may do what: one table from act to roles, and the acts that take a PIN besides the badge."""

from service.custody.chain import State
from service.custody.rules.act import Act
from service.custody.rules.anywhere import NotOnStaff
from service.custody.rules.refusal import Refusal

ROLES = ("technician", "nurse", "surgeon", "manager", "auditor")
_HANDS = frozenset({"technician", "nurse", "surgeon", "manager"})
_OFFICE = frozenset({"technician", "nurse", "manager"})
_MANAGER = frozenset({"manager"})

MAY: dict[str, frozenset[str]] = dict.fromkeys(
    (
        "sign on", "compromise", "undo", "open wash load", "wash set", "end wash", "start packing", "inspect",
        "close pack", "print label", "stick label", "set label aside", "open steam load", "load pack", "take out",
        "start cycle", "open for unloading", "end cycle", "unload pack", "pale tape", "store pack", "open case",
        "resume case", "may open", "open pack", "open unused", "return pack", "check set inside", "count", "close case",
        "hold", "release", "identify patient", "name patient",
    ),
    _HANDS,
) | dict.fromkeys(
    (
        "place indicator", "read indicator", "keep photo", "judge cycle", "reject", "stop machine", "service machine",
        "account", "issue codes", "void code",
    ),
    _OFFICE,
) | dict.fromkeys(
    (
        "open site", "name key", "enrol staff", "staff left", "register machine", "return machine", "register set",
        "register sets", "change set", "retire set", "open recall", "close recall", "enrol device", "see people",
    ),
    _MANAGER,
) | {
    "override": frozenset({"surgeon"}),
    "confirm override": frozenset({"surgeon"}),
    "look": frozenset(ROLES),
}  # fmt: skip
"""Every act, and the roles that may do it. Release asks besides that the person is named for it, one by one."""

PIN = frozenset(
    (
        "release", "reject", "enrol staff", "staff left", "open recall", "close recall", "change set", "retire set",
        "enrol device", "confirm override",
    )
)  # fmt: skip
"""Acts that the badge alone does not allow. An override takes the surgeon's PIN as well, at once or within a day."""


class NotYourRole(Refusal):
    """This badge may not do that.

    To {does} takes the role of {roles}; {code} is {mine}.

    Ask somebody with that role.
    """


def roles_of(state: State, badge: str | None) -> frozenset[str]:
    """The roles of somebody who works here; none for a badge that is not in use."""
    person, label = state.person(badge), state.label(badge) if badge else None
    return frozenset(person.roles) if person and not person.left_at and not (label and label.voided) else frozenset()


def check_role(state: State, act: Act) -> None:
    """Raise the Refusal against an act that its person's roles do not allow. The service itself is nobody."""
    if act.by is None or act.does not in MAY:
        return
    mine = roles_of(state, act.by)
    if not mine:
        raise NotOnStaff(code=act.by)
    if not mine & MAY[act.does]:
        named = " or ".join(role for role in ROLES if role in MAY[act.does])
        raise NotYourRole(does=act.does, roles=named, code=act.by, mine=" and ".join(sorted(mine)))
