"""Templates in another language, without a mark in any of them.

What stands between tags is translated when a template is read, a value when it is put there; values inside tags are for
the browser, and stay.
"""

from collections.abc import Iterator
from typing import Any, cast

from jinja2 import Environment
from jinja2.ext import Extension
from jinja2.lexer import Token, TokenStream

from service.words.catalogue import Say
from service.words.markup import Pieces


class Spoken(Extension):
    """Has the templates of an environment translated by its global `say`."""

    def filter_stream(self, stream: TokenStream) -> Iterator[Token]:
        markup = Pieces(cast("Say", self.environment.globals["say"]))
        shown = False
        for token in stream:
            if token.type == "data":
                yield Token(token.lineno, "data", markup.piece(token.value))
            elif token.type == "variable_begin":
                shown = markup.shows_next
                yield from (token, *_tokens(token.lineno, lparen="(")) if shown else (token,)
            elif token.type == "variable_end":
                yield from (*_tokens(token.lineno, rparen=")", pipe="|", name="said"), token) if shown else (token,)
            else:
                yield token


def _tokens(line: int, **kinds: str) -> list[Token]:
    return [Token(line, kind, value) for kind, value in kinds.items()]


def speak(environment: Environment, say: Say) -> None:
    """Have `environment` speak through `say`."""

    def said(value: Any) -> Any:
        return say(value) if type(value) is str else value  # markup is whole already, and a number has no words

    environment.globals["say"] = say
    environment.filters["said"] = said
    environment.add_extension(Spoken)
