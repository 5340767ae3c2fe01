"""The label that is printed in most of these tests."""

from label_templates import stocks
from label_templates.labels import Mark, PackLabel

ROLL = stocks.stock("roll-62x40")
CODE = "P-K7-0042-0017-R"
PACK = PackLabel(CODE, "Dental extraction A", Mark("blue", "two bars"), "B-K7-003-J", "2026-03-04T10:12")
