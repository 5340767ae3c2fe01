"""Who may do what: every cell of the table, and the page in docs that is made from it.

`FOLDMARK_WRITE_DOCS=1 pytest tests/service/custody/test_roles.py` writes the page anew.
"""

import os
from pathlib import Path

import pytest

from label_templates import codes
from service.custody.rules import ACTS, Act, Refusal, decide
from service.custody.rules.roles import MAY, PIN, ROLES
from service.demo import tarn_bridge as tb
from tests.practice import SITE

PAGE = Path(__file__).parents[3] / "docs" / "roles.md"
BADGES = {role: codes.badge_code(SITE, number).text for number, role in enumerate(ROLES, 51)}
INTRO = """# Who may do what

Made from the table in `service/custody/rules/roles.py` by `tests/service/custody/test_roles.py`, which also tries every cell.
A badge stands for its person at a station; what is marked PIN is to take the PIN as well. Release asks besides that the person is
named for it, one by one. An auditor reads all and changes nothing. Somebody with two roles may do what either may.

"""


def written():
    """The page: one row an act, one column a role."""
    lines = [f"| act | {' | '.join(ROLES)} | besides |", f"|---|{'---|' * (len(ROLES) + 1)}"]
    for act in sorted(MAY):
        cells = " | ".join("yes" if role in MAY[act] else "" for role in ROLES)
        lines.append(f"| {act} | {cells} | {'PIN' if act in PIN else ''} |")
    return INTRO + "\n".join(lines) + "\n"


@pytest.fixture
def everybody(bridge):
    """Tarn Bridge with one more person of each role."""
    for role, badge in BADGES.items():
        bridge.act("enrol staff", badge=badge, roles=[role], may_release=True)
    return bridge


def test_every_act_has_its_roles():
    assert ACTS.keys() <= MAY.keys()
    assert MAY.keys() >= PIN
    assert all(roles <= set(ROLES) for roles in MAY.values())


@pytest.mark.parametrize("role", ROLES)
def test_a_role_does_what_its_column_says_and_nothing_else(everybody, role):
    """Each act is asked with nothing in hand: another rule may stop it, but only a role that may not is told so."""
    wrong = []
    with everybody.desk.ledger.reading() as reader:
        for does in ACTS:
            act = Act(does, "2026-03-04T09:00:00.000Z", SITE, "office-1", BADGES[role], data={})
            try:
                outcome = decide(reader.state, act)
            except (
                KeyError,
                TypeError,
                AssertionError,
            ):  # the act came without what it takes: its role was not the stop
                outcome = []
            refused = isinstance(outcome, Refusal) and outcome.rule == "not_your_role"
            if refused == (role in MAY[does]):
                wrong.append(does)
    assert wrong == []


def test_an_auditors_scan_is_a_near_miss_on_record_and_changes_nothing(everybody):
    before = len(everybody.facts())
    answer = everybody.scan("wash-1", BADGES["auditor"])
    assert (answer["verdict"], answer["rule"]) == ("stop", "not_your_role")
    assert answer["detail"].startswith("To sign on takes the role of technician or nurse or surgeon or manager;")
    assert [fact.kind for fact in everybody.facts()[before:]] == ["refused"]
    assert everybody.scan("wash-1", "W-K7-1-0001-A")["verdict"] != "go"


def test_somebody_with_two_roles_may_do_what_either_may(everybody):
    both = codes.badge_code(SITE, 60).text
    everybody.act("enrol staff", badge=both, roles=["auditor", "technician"], may_release=False)
    assert everybody.scan("wash-1", both)["verdict"] == "go"


def test_the_demos_people_have_roles_of_the_table():
    assert {role for _, _, roles, _ in tb.STAFF for role in roles} == set(ROLES)


def test_the_page_in_docs_is_made_from_the_table():
    if os.environ.get("FOLDMARK_WRITE_DOCS"):
        PAGE.write_text(written(), encoding="utf-8")
    assert PAGE.read_text("utf-8") == written()
