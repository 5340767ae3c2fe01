"""Which languages there are: English, and one for each catalogue `xx.po` in this folder."""

from functools import lru_cache
from importlib import resources

ENGLISH = "en"


@lru_cache
def languages() -> tuple[str, ...]:
    """The codes of all languages (BCP 47), English first."""
    files = resources.files("service.words").iterdir()
    return (ENGLISH, *sorted(file.name[:-3] for file in files if file.name.endswith(".po")))
