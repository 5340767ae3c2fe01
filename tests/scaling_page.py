"""The blocks of docs/scaling.md, for the tests that run them."""

import re
from pathlib import Path

import psycopg

PAGE = (Path(__file__).resolve().parents[1] / "docs" / "scaling.md").read_text("utf-8")


def block(name):
    found = re.search(rf"^```\w+ {name}\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)
    assert found, name
    return found[1]


def sql(url, name, *swaps):
    text = block(name)
    for old, new in swaps:
        assert old in text, old
        text = text.replace(old, new)
    with psycopg.connect(url, autocommit=True) as connection:
        for statement in filter(str.strip, text.split(";\n")):
            connection.execute(statement)
