"""A language in capitals: what is left in small letters after it was not translated."""

import re

from babel.dates import get_day_names, get_month_names

from service.words.catalogue import entries
from service.words.language import Language
from service.words.template import HOLE

MONTHS = {*get_month_names("wide", locale="de").values(), *get_day_names("wide", locale="de").values()}


def capitals(text):
    parts = HOLE.split(text)
    return "".join(f"{{{part}}}" if index % 2 else part.upper() for index, part in enumerate(parts))


CAPITALS = Language("de", {text: capitals(text) for text in entries("de")})


def small_words(text):
    """The words of `text` for which the catalogue has nothing."""
    return words_in(CAPITALS.say(text))


def words_in(text):
    """The words of `text` with a small letter in them; a station's name such as `wash-1` is none."""
    return set(re.findall(r"[^\W\d_]*[a-z][^\W\d_]*", re.sub(r"\b[a-z]+-\d+\b", "", text)))


class Written:
    """What people wrote themselves: names, reasons, what they typed. It is the same in every language."""

    def __init__(self, *texts):
        self.words = set()
        self.take(*texts)

    def take(self, *texts):
        for text in texts:
            self.words |= words_in(str(text))

    def take_body(self, body):
        """What is written by people in the body of an act."""
        self.take(*(body.get(field) or "" for field in ("name", "why", "programmes")))
        for line in body.get("sheet") or ():
            self.take(line["group"], line["line"])

    def take_ledger(self, reader):
        for owner in reader.state.sets():
            self.take(owner.name, owner.sheet)
        for machine in reader.everything("machine"):
            self.take(machine.name)

    def check(self, answer):
        """Assert that every other word of an answer is in the catalogue."""
        for field in ("headline", "detail", "next"):
            left = small_words(re.sub("'[^']*'", "", answer.get(field, ""))) - self.words - MONTHS
            assert not left, f"no translation: {answer[field]!r}: {sorted(left)}"
