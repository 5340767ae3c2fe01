"""Stocks: what labels are printed on. Sizes in millimetres, in `stock/*.toml`."""

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources


class StockError(ValueError):
    """A stock nobody knows, or one that does not add up."""


@dataclass(frozen=True, slots=True)
class Stock:
    """A sheet or a roll. Everything is drawn in whole printer dots: `dots` turns millimetres into them."""

    name: str
    kind: str
    page_mm: tuple[float, float]
    label_mm: tuple[float, float]
    columns: int
    rows: int
    margin_mm: tuple[float, float]
    pitch_mm: tuple[float, float]
    dots_per_mm: int
    note: str

    def dots(self, mm: float) -> int:
        return round(mm * self.dots_per_mm)

    @property
    def width(self) -> int:
        """Dots across one label."""
        return self.dots(self.label_mm[0])

    @property
    def height(self) -> int:
        return self.dots(self.label_mm[1])

    @property
    def each_page(self) -> int:
        return self.columns * self.rows

    def place(self, index: int) -> tuple[int, int]:
        """The top left corner, in dots from the page's, of label `index` of a page; row by row."""
        row, column = divmod(index, self.columns)
        return (
            self.dots(self.margin_mm[0] + column * self.pitch_mm[0]),
            self.dots(self.margin_mm[1] + row * self.pitch_mm[1]),
        )


def names() -> list[str]:
    folder = resources.files("label_templates").joinpath("stock")
    return sorted(entry.name[:-5] for entry in folder.iterdir() if entry.name.endswith(".toml"))


@lru_cache
def stock(name: str) -> Stock:
    """The stock of that name. Raises StockError listing those there are."""
    if name not in names():
        raise StockError(f"no stock is named {name[:40]!r}: there are {', '.join(names())}")
    text = resources.files("label_templates").joinpath("stock", f"{name}.toml").read_text("utf-8")
    table = {key: tuple(value) if isinstance(value, list) else value for key, value in tomllib.loads(text).items()}
    found = Stock(name=name, **table)  # type: ignore[arg-type]
    right = found.margin_mm[0] + (found.columns - 1) * found.pitch_mm[0] + found.label_mm[0]
    bottom = found.margin_mm[1] + (found.rows - 1) * found.pitch_mm[1] + found.label_mm[1]
    if right > found.page_mm[0] or bottom > found.page_mm[1]:
        raise StockError(f"the labels of stock {name} reach beyond its page: mend stock/{name}.toml")
    return found
