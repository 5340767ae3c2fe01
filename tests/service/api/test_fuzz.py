"""Whatever is sent, the service answers as its OpenAPI document says: thousands of requests made from that document."""

import collections
import io

import numpy as np
import pytest
import schemathesis
from hypothesis import strategies as st
from PIL import Image
from schemathesis.config import SchemathesisConfig
from schemathesis.engine import events, from_schema

from label_templates import codes
from service.api.acts import POSTS
from service.api.app import make_app
from service.api.problems import MEDIA
from service.demo.cycles import made_cycle
from service.pages.routes import add_pages
from service.stations.scan import KINDS
from service.steam.programme import programme
from tests.entry import PIN, Entry
from tests.practice import MANAGER, NURSE, SITE, patient, steam_load, wash_load
from tests.served import served

SEED = 1
OPEN_CASES, CLOSED_CASES = 2000, 300
_FEW = st.integers(1, 4)


@pytest.fixture(autouse=True, scope="module")
def _known_words():
    """Text of a form of its own, made as the practice has it: some of it known to the ledger, some not."""
    sets = _FEW.map(lambda number: codes.set_code(SITE, number).text)
    packs = st.tuples(sets, _FEW).map(lambda told: codes.pack_code(*told).text)
    steam, wash = _FEW.map(steam_load), _FEW.map(wash_load)
    log = made_cycle(programme("134/3"), np.random.default_rng(SEED))
    forms = {
        "cycle-log": st.just(log.decode()),
        "photo": st.just("a photo"),
        "code-S": sets,
        "code-P": packs,
        "code-L": steam,
        "code-LW": steam | wash,
        "code-A": _FEW.map(patient),
        "code-B": st.integers(1, 9).map(lambda number: codes.badge_code(SITE, number).text),
        "code-SPLWBHAI": sets | packs | steam | wash | _FEW.map(patient),
        "machine-code": st.sampled_from(["L-K7-1", "W-K7-1", "L-K7-2"]),
        "recall-name": steam.map(lambda load: f"{load}/1"),
        "station": st.tuples(st.sampled_from(KINDS), _FEW).map(lambda told: "-".join(map(str, told))),
        "new-pin": st.integers(123, 999).map(lambda number: f"27{number}490"),
        "device": st.just("D0123456789ab"),
    }
    for name, strategy in forms.items():
        schemathesis.openapi.format(name, strategy)
    file = io.BytesIO()
    Image.new("RGB", (40, 30), "tan").save(file, "PNG")
    photos = {"a photo", "the bytes of the photo"}
    schemathesis.serializer("image/jpeg", "image/png")(
        lambda _context, told: file.getvalue() if str(told) in photos else str(told).encode("utf-8", "replace")
    )
    schemathesis.serializer("text/csv")(lambda _context, told: str(told).encode("utf-8", "replace"))


def history(bridge):
    """Days of work: a pack opened, a load released, one on hold, a recall open."""
    pack, load = bridge.ready()
    bridge.ready("Eye set 1", 2)
    bridge.scans("theatre-1", NURSE, patient(1), pack, "TURNED")
    bridge.act("hold", load=steam_load(2), why="leak found at the door")
    assert bridge.act("open recall", load=load, reach="load", why="biological positive")["verdict"] == "go"


def fuzzed(address, phases, examples, token=None):
    """What schemathesis tried and found: the operations, how many cases, their statuses, and every failed check."""
    told = {
        "seed": SEED,
        "max-stream-events": 1,
        "continue-on-failure": True,
        "request-timeout": 20,
        "generation": {"max-examples": examples},
        "phases": {name: {"enabled": name in phases} for name in ("examples", "coverage", "fuzzing", "stateful")},
    }
    headers = {"Authorization": f"Bearer {token()}"} if token else {}
    url = "http://{}:{}/openapi.json".format(*address)
    schema = schemathesis.openapi.from_url(url, config=SchemathesisConfig.from_dict(told), headers=headers)
    if token:

        @schema.auth(refresh_interval=None)
        class Token:
            def get(self, case, context):
                return token()

            def set(self, case, data, context):
                case.headers["Authorization"] = f"Bearer {data}"

    cases, statuses, operations, failures = 0, collections.Counter(), set(), collections.defaultdict(list)
    for event in from_schema(schema).execute():
        if isinstance(event, events.NonFatalError | events.FatalError):
            failures["error"].append(str(getattr(event, "value", None) or event.exception))
        if not isinstance(event, events.ScenarioFinished):
            continue
        recorder = event.recorder
        cases += len(recorder.cases)
        operations.add(recorder.label)
        for case_id, interaction in recorder.interactions.items():
            answer = interaction.response
            statuses[answer.status_code if answer else None] += 1
            if answer and answer.status_code >= 400 and answer.headers["content-type"] != [MEDIA]:
                failures["no problem document"].append((recorder.label, answer.status_code, answer.content[:200]))
            for check in recorder.checks.get(case_id, []):
                if check.status.value == "failure":
                    sent = interaction.request
                    words = check.failure_info.failure.message
                    failures[check.name].append(
                        (sent.method, sent.uri, (sent.body or b"")[:300], words, answer and answer.content[:300])
                    )
    return operations, cases, statuses, dict(failures)


def test_two_thousand_requests_made_from_the_document_are_answered_as_it_says(bridge):
    history(bridge)
    with served(make_app(bridge.desk, add_pages)) as address:
        operations, cases, statuses, failures = fuzzed(address, {"examples", "coverage", "fuzzing"}, 3)
    assert failures == {}
    assert cases >= OPEN_CASES
    assert len(operations) >= len(POSTS) + 20
    assert statuses[None] == 0
    assert {200, 404, 405, 415, 422} <= statuses.keys()
    assert max(statuses) < 500
    assert statuses[200] > 100


def test_behind_closed_doors_too_as_a_manager_and_none_is_answered_without_a_token(bridge):
    """The check `ignored_auth` sends each request once more without its token, and expects a 401."""
    history(bridge)
    entry = Entry(bridge.desk)
    entry.person(MANAGER)
    tokens = [""]

    def token():
        """The manager's, anew whenever one of the requests has signed the manager out or locked the badge."""
        if entry.doors.who(tokens[-1]) is None:
            entry.doors.pin_link(MANAGER)
            tokens.append(entry.doors.sign_in(MANAGER, PIN, "another address"))
        return tokens[-1]

    with served(make_app(bridge.desk, add_pages, None, entry.doors)) as address:
        operations, cases, statuses, failures = fuzzed(address, {"examples", "fuzzing"}, 6, token)
    assert failures == {}
    assert cases >= CLOSED_CASES
    assert len(operations) >= len(POSTS) + 28
    assert statuses[None] == 0
    assert max(statuses) < 500
    assert statuses[200] > 100
