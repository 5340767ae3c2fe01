"""The catalogues: what is said for each English text in a language, and what a language calls itself."""

from collections.abc import Callable
from functools import lru_cache
from importlib import resources

from babel import Locale
from babel.messages.pofile import read_po

from service.words.known import ENGLISH, languages
from service.words.language import Language

Say = Callable[[str], str]
"""English as it was written, to what is shown for it."""


@lru_cache
def own_names() -> dict[str, str]:
    """Each language and what it calls itself."""
    return {code: Locale.parse(code, sep="-").get_display_name() or code for code in languages()}


@lru_cache
def entries(code: str) -> dict[str, str]:
    """The catalogue of a language: English and what is said for it."""
    with resources.files("service.words").joinpath(f"{code}.po").open("rb") as file:
        catalogue = read_po(file, locale=code.replace("-", "_"))
    return {str(entry.id): str(entry.string) for entry in catalogue if entry.id and entry.string and not entry.fuzzy}


@lru_cache
def say_in(code: str) -> Say:
    """The way from English to the language `code`; English for one that has no catalogue."""
    return Language(code, entries(code)).say if code in languages() and code != ENGLISH else str
