"""A sentence with holes, as it stands in the catalogue, and how a finished sentence is recognised as one of it."""

import re
from dataclasses import dataclass

HOLE = re.compile(r"\{([A-Za-z_]\w*)\}")


@dataclass(frozen=True, slots=True)
class Template:
    """`literals` is the text before, between and after the `holes`."""

    literals: tuple[str, ...]
    holes: tuple[str, ...]

    @classmethod
    def of(cls, text: str) -> "Template":
        parts = HOLE.split(text)
        return cls(tuple(parts[::2]), tuple(parts[1::2]))

    @property
    def weight(self) -> int:
        """How much of the sentence is the template's own: the heavier of two that fit is the right one."""
        return sum(map(len, self.literals))

    @property
    def words(self) -> set[str]:
        """The words that stand in every sentence of this template, whatever fills its holes."""
        return {word for word in words_of("_".join(self.literals)) if "_" not in word}

    def match(self, sentence: str) -> dict[str, str] | None:
        """What fills the holes of `sentence`; None when it is no sentence of this template.

        Each literal is looked for at its first place after the one before: linear in the sentence, whatever it holds.
        """
        first, *between, last = self.literals
        end = len(sentence) - len(last)
        at = len(first)
        if end < at or not sentence.startswith(first) or not sentence.endswith(last):
            return None
        filled = []
        for literal in between:
            found = sentence.find(literal, at, end)
            if found < 0:
                return None
            filled.append(sentence[at:found])
            at = found + len(literal)
        filled.append(sentence[at:end])
        return dict(zip(self.holes, filled, strict=True))

    def fill(self, filled: dict[str, str]) -> str:
        """The sentence with these holes filled."""
        said = [literal + filled[hole] for literal, hole in zip(self.literals, self.holes, strict=False)]
        return "".join(said) + self.literals[-1]


def words_of(text: str) -> list[str]:
    return re.findall(r"[A-Za-z_]+", text)
