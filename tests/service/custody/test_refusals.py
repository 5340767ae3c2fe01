"""Every refusal is a text a nurse can read: what is so, why, and what to do next."""

import importlib
import pkgutil
import re
from collections import defaultdict

import pytest

import service.custody.rules
import service.stations.conversation
from service.custody.rules import Question, Refusal

for module in pkgutil.iter_modules(service.custody.rules.__path__):
    importlib.import_module(f"service.custody.rules.{module.name}")


def every(kind):
    return [cls for sub in kind.__subclasses__() for cls in (sub, *every(sub)) if cls.__module__.startswith("service.")]


RULES = [cls for cls in every(Refusal) if cls is not Question]


@pytest.mark.parametrize("rule", RULES, ids=lambda cls: cls.__name__)
def test_a_refusal_has_a_headline_a_reason_and_a_next_step(rule):
    refusal = rule(**defaultdict(lambda: "something", dict.fromkeys(re.findall(r"{(\w+)", rule.__doc__), "something")))
    assert refusal.headline and refusal.why and refusal.step
    assert refusal.headline[-1] in ".?"
    assert "{" not in refusal.headline + refusal.why + refusal.step
    assert refusal.rule == refusal.rule.lower()


@pytest.mark.parametrize("rule", RULES, ids=lambda cls: cls.__name__)
def test_no_refusal_blames_or_promises_sterility(rule):
    words = re.sub(r"{\w+}", "", rule.__doc__).lower()
    assert not re.search(r"\b(sterile|you forgot|your fault|you should have|guarantee|safe)\b", words)


def test_rule_names_are_unique():
    assert len({cls.__name__ for cls in RULES}) == len(RULES)


def test_no_rule_that_stands_for_damage_can_be_overridden():
    overridable = {cls.__name__ for cls in RULES if cls.overridable}
    assert overridable == {"NotReleased", "Expired", "TapePale", "StepMissing"}
