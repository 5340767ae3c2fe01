"""The published schema of facts and the table in the code say the same."""

import json
from pathlib import Path

from service.custody.facts import KEYS, REQUIRED

SCHEMA = json.loads((Path(__file__).parents[3] / "docs" / "fact.schema.json").read_text("utf-8"))


def test_the_schema_knows_every_kind_of_fact_and_what_its_data_holds():
    needed = {
        rule["if"]["properties"]["kind"]["const"]: rule["then"]["properties"]["data"]["required"]
        for rule in SCHEMA["allOf"]
    }
    assert sorted(SCHEMA["properties"]["kind"]["enum"]) == sorted(REQUIRED)
    assert needed == {kind: sorted(keys) for kind, keys in REQUIRED.items() if keys}
    assert SCHEMA["required"] == list(KEYS)
