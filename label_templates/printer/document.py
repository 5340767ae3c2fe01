"""What is printed: pages ready to send, and the paper they are for."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Document:
    """Labels ready to print. `pages` are PNGs of one bit a dot, at the stock's resolution."""

    pdf: bytes
    pages: tuple[bytes, ...]
    copy: "Document | None" = None
    """The same labels marked as a copy, for when nobody knows whether the first were printed."""


@dataclass(frozen=True, slots=True)
class Paper:
    """A stock as a printer is told of it: the page in hundredths of a millimetre, dots per inch."""

    name: str
    width: int
    height: int
    dpi: float

    @property
    def size(self) -> str:
        return f"{self.width / 100:g} × {self.height / 100:g} mm"
