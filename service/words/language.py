"""One language: finished English sentences in, the same in that language out."""

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from datetime import date
from functools import lru_cache

from babel import Locale
from babel.dates import format_date, format_skeleton
from babel.numbers import get_decimal_symbol

from service.words.template import HOLE, Template, words_of

NAMES = frozenset({"name", "pack_name", "set_name", "patient", "who", "known", "line", "group"})
"""Holes that hold what somebody called something: never translated, whatever they say."""
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_WEEKDAY = "(?:Mon|Tues|Wednes|Thurs|Fri|Satur|Sun)day"
_DATE = re.compile(rf"({_WEEKDAY} )?(\d{{1,2}}) ({'|'.join(_MONTHS)})(?: (\d{{4}}))?( \d\d:\d\d)?")
_WORDS = re.compile("[A-Za-z]{2}")
_DECIMAL = re.compile(r"-?\d+\.\d+")
_NUMBERED = re.compile(r"(\S*\d\S*) (.+)|(.+?) (\d.*)", re.DOTALL)
_DATED = re.compile(rf"(.+), (\d{{1,2}} (?:{'|'.join(_MONTHS)})(?: \d{{4}})?)", re.DOTALL)
_BRACKETED = re.compile(r"(.+) \((.+)\)", re.DOTALL)
_SENTENCE_END = re.compile(r"(?<=[.?!]) ")
_LISTS = ("; ", ": ", " · ", ", ", " and ", " or ")
_TIGHT = (", ", " and ", " or ")
"""Marks that stand inside sentences as well: between them all must be ours."""
_CLAUSE_END = re.compile(r"[;:.?!] ")
_SHORT, _LEAST = 12, 6
"""Letters of its own below which a template is short, `on hold: {held}`, or has few words, `{name} is {state}.`"""
_LONGEST_SENTENCES = 4
_DEEPEST = 12
"""How deep a part may stand inside a part of a sentence; ours stand at most half as deep."""
_ONE_SENTENCE, _LONG, _FEW = "one sentence", "long", "few words"
_LONGEST_LIST = 2000
"""Characters: a longer text is no list of ours but somebody's own words."""


class Language:
    """A language and its catalogue: entries of English and translated text, with `{holes}` in both."""

    def __init__(self, code: str, entries: Mapping[str, str]) -> None:
        """`code` as in BCP 47."""
        self.code = code
        self._locale = Locale.parse(code, sep="-")
        self._point = get_decimal_symbol(self._locale)
        phrases = {text: said for text, said in entries.items() if not HOLE.search(text)}
        self._phrases = {_capital(text): _capital(said) for text, said in phrases.items()} | phrases
        pairs = ((Template.of(text), Template.of(said)) for text, said in entries.items() if HOLE.search(text))
        self._templates = sorted(pairs, key=lambda pair: -pair[0].weight)
        self._by_word = _index([template for template, _ in self._templates])
        self._find: Callable[[str, int], str | None] = lru_cache(4096)(self._look_up)

    def say(self, text: str) -> str:
        """`text` in this language; what the catalogue does not know stays as it is."""
        return self._find(text, 0) or text

    def knows(self, text: str) -> bool:
        """Whether the catalogue has words for `text`, or for a part of it."""
        return self._find(text, 0) is not None

    def _look_up(self, text: str, depth: int) -> str | None:
        if depth > _DEEPEST:
            return None
        if not _WORDS.search(text):
            return text.replace(".", self._point) if _DECIMAL.fullmatch(text) else None
        return (
            self._at_once(text, depth + 1)
            or self._date(text)
            or self._sentences(text, depth + 1)
            or self._from_template(text, depth + 1, _LONG)
            or (self._listed(text, depth + 1) if len(text) <= _LONGEST_LIST else None)
            or self._without_stop(text, depth + 1)
            or self._without_capital(text, depth + 1)
            or self._from_template(text, depth + 1, _FEW)
            or self._numbered(text, depth + 1)
        )

    def _at_once(self, text: str, depth: int) -> str | None:
        """As a phrase, with or without its stop, or by a template none of whose holes goes over a sentence's end."""
        found = self._phrases.get(text) or self._from_template(text, depth, _ONE_SENTENCE)
        if found is None and text.endswith("."):
            found = self._phrases.get(text[:-1]) or self._from_template(text[:-1], depth, _ONE_SENTENCE)
            return f"{found}." if found else None
        return found

    def _from_template(self, text: str, depth: int, how: str) -> str | None:
        """By the heaviest template that fits, among those of few words or among the others."""
        candidates = {index for word in words_of(text) for index in self._by_word.get(word, ())}
        for index in sorted(candidates):
            template, said = self._templates[index]
            if (template.weight < _LEAST) != (how == _FEW):
                continue
            filled = template.match(text)
            if filled is None or (how == _ONE_SENTENCE and any(map(_SENTENCE_END.search, filled.values()))):
                continue
            if self._fits(template, filled, depth):
                found = said.fill({hole: self._hole(hole, value, depth) for hole, value in filled.items()})
                return _capital(found) if template.literals[0][:1].isupper() else found
        return None

    def _fits(self, template: Template, filled: dict[str, str], depth: int) -> bool:
        """A name, and a short template's hole, goes over no clause's end; and few words need ours in their holes."""
        short = template.weight < _SHORT
        if any((short or _is_name(hole)) and _CLAUSE_END.search(value) for hole, value in filled.items()):
            return False
        others = [value.strip() for hole, value in filled.items() if not _is_name(hole)]
        return template.weight >= _LEAST or not others or any(self._is_ours(value, depth) for value in others)

    def _is_ours(self, value: str, depth: int) -> bool:
        return self._find(value, depth) is not None or value[:1].isdigit() or not _WORDS.search(value)

    def _hole(self, hole: str, value: str, depth: int) -> str:
        inner = value.strip()
        if _is_name(hole) or not inner:
            return value
        return value.replace(inner, self._find(inner, depth) or inner, 1)

    def _date(self, text: str) -> str | None:
        found = _DATE.fullmatch(text)
        if found is None:
            return None
        weekday, day, month, year, time = found.groups()
        when = date(int(year or 2000), _MONTHS.index(month) + 1, int(day))  # 2000 has a 29 February
        long = "full" if weekday else "long"
        said = format_date(when, long, self._locale) if year else format_skeleton("MMMMd", when, locale=self._locale)
        return said + (time or "")

    def _sentences(self, text: str, depth: int) -> str | None:
        """Several sentences, one after another: as many of them at once as a template takes."""
        if ".; " in text:
            return self._joined(depth, text.split("; "), "; ")
        parts = _SENTENCE_END.split(text)
        said: list[str] = []
        known = False
        while len(parts) > 1 or (said and parts):
            for count in range(min(len(parts), _LONGEST_SENTENCES), 0, -1):
                head = " ".join(parts[:count])
                found = self._find(head, depth) if count == 1 else self._at_once(head, depth)
                if found or count == 1:
                    said.append(found or head)
                    known = known or found is not None
                    parts = parts[count:]
                    break
        return " ".join(said) if known else None

    def _without_stop(self, text: str, depth: int) -> str | None:
        found = self._find(text[:-1], depth) if text.endswith(".") else None
        return f"{found}." if found else None

    def _without_capital(self, text: str, depth: int) -> str | None:
        small = text[0].lower() + text[1:]
        found = self._find(small, depth) if small != text else None
        return _capital(found) if found else None

    def _listed(self, text: str, depth: int) -> str | None:
        """Words before brackets, before a date, or in a list, each by itself."""
        if found := _DATED.fullmatch(text):
            return self._joined(depth, found.groups(), ", ")
        if found := _BRACKETED.fullmatch(text):
            return self._joined(depth, found.groups(), "{} ({})")
        for mark in _LISTS:
            parts = text.split(mark, 1 if mark == ": " else -1)
            if len(parts) == 1 or (mark in _TIGHT and not all(self._is_ours(part, depth) for part in parts)):
                continue
            if said := self._joined(depth, parts, self.say(mark.strip()).join(mark.split(mark.strip()))):
                return said
        return None

    def _numbered(self, text: str, depth: int) -> str | None:
        found = _NUMBERED.fullmatch(text)
        return self._joined(depth, [part for part in found.groups() if part], " ") if found else None

    def _joined(self, depth: int, parts: tuple[str, ...] | list[str], mark: str) -> str | None:
        found = [self._find(part, depth) for part in parts]
        if not any(found):
            return None
        said = [new or old for new, old in zip(found, parts, strict=True)]
        return mark.format(*said) if "{}" in mark else mark.join(said)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _is_name(hole: str) -> bool:
    return hole.rstrip("23456789") in NAMES


def _index(templates: list[Template]) -> dict[str, list[int]]:
    """The templates by the rarest word of each, so that few are tried on a sentence."""
    common = Counter(word for template in templates for word in template.words)
    found: dict[str, list[int]] = defaultdict(list)
    for index, template in enumerate(templates):
        if template.words:
            found[min(template.words, key=lambda word: (common[word], word))].append(index)
    return dict(found)
