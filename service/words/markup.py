"""Markup with its words translated: what stands between tags, and the attributes that are read aloud or shown."""

import re
from html import escape, unescape

from service.words.catalogue import Say

_READ = r"(?<![\w-])(?:aria-label|placeholder|title|alt)"
_ATTRIBUTE = re.compile(rf'({_READ}=")([^"<>]+)(")')
_BEFORE_A_VALUE = re.compile(rf'({_READ}=")([^"<>]*)$')
_MARKS = re.compile(r"([\s.,;:·]*)(.*?)(\s*)", re.DOTALL)
_END_OF_TAG = re.compile("[\"'>]")


class Pieces:
    """Markup that comes piece by piece, as a template's does: a piece may end anywhere."""

    def __init__(self, say: Say) -> None:
        self._say = say
        self._in_tag = False
        self._quote = ""
        self._readable = False

    @property
    def shows_next(self) -> bool:
        """Whether a value put in after this piece is read by people, not by the browser."""
        return not self._in_tag or self._readable

    def piece(self, text: str) -> str:
        """The next piece, translated."""
        said, at = [], 0
        while at < len(text):
            start, was_tag = at, self._in_tag
            at = self._end_of_tag(text, at) if was_tag else self._end_of_text(text, at)
            said.append(self._attributes(text[start:at]) if was_tag else self._words(text[start:at]))
        self._readable = self._in_tag and _BEFORE_A_VALUE.search(text) is not None
        return "".join(said)

    def _end_of_text(self, text: str, at: int) -> int:
        end = text.find("<", at)
        self._in_tag = end >= 0
        return end if self._in_tag else len(text)

    def _end_of_tag(self, text: str, at: int) -> int:
        for found in _END_OF_TAG.finditer(text, at):
            mark = found.group()
            if self._quote:
                self._quote = "" if mark == self._quote else self._quote
            elif mark == ">":
                self._in_tag = False
                return found.end()
            else:
                self._quote = mark
        return len(text)

    def _attributes(self, tag: str) -> str:
        said = _ATTRIBUTE.sub(lambda found: found[1] + self._escaped(found[2]) + found[3], tag)
        return _BEFORE_A_VALUE.sub(lambda found: found[1] + self._words(found[2]), said)

    def _words(self, text: str) -> str:
        found = _MARKS.fullmatch(text)
        return found[1] + self._escaped(found[2]) + found[3] if found and found[2] else text

    def _escaped(self, text: str) -> str:
        words = " ".join(unescape(text).split())
        said = self._say(words)
        return text if said == words else escape(said, quote=False).replace('"', "&quot;")


def in_words(markup: str, say: Say) -> str:
    """A whole piece of markup, such as a drawing, translated."""
    return Pieces(say).piece(markup)
