"""The languages there are: English, and one for each catalogue `xx.po` in this folder."""

from collections.abc import Callable
from functools import lru_cache
from importlib import resources

from babel import Locale
from babel.messages.pofile import read_po

from service.words.language import Language

ENGLISH = "en"
Say = Callable[[str], str]
"""English as it was written, to what is shown for it."""


@lru_cache
def languages() -> dict[str, str]:
    """The code of each language and what it calls itself."""
    found = sorted(file.name[:-3] for file in resources.files("service.words").iterdir() if file.name.endswith(".po"))
    return {code: Locale.parse(code, sep="-").get_display_name() or code for code in (ENGLISH, *found)}


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
