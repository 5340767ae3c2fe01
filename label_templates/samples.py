"""One label of each kind, of the invented practice: what designs are checked and shown with."""

from datetime import date

from label_templates import codes
from label_templates.labels import (
    BadgeLabel,
    BenchCard,
    CheckpointSlip,
    InstrumentLabel,
    Label,
    LoadCard,
    LoadSlip,
    Mark,
    OutageForm,
    PackLabel,
    PatientCard,
    SetTag,
    ShelfLabel,
)

SITE = "K7"
_MARK = Mark("blue", "two bars")
_STEAM, _WASH = codes.load_code("L-K7-1", 331).text, codes.load_code("W-K7-1", 120).text
FORM_WORDS = tuple(
    (word, codes.card_code(word).text) for word in ("DONE", "PASS", "FAIL", "END", "TURNED", "PALE", "WET", "YES", "NO")
)
"""The bench cards that a form bears: what each says, and its code."""
_ON_THE_FORM = (
    ("Wash load", _WASH), ("Steam load", _STEAM), ("Steam load", codes.load_code("L-K7-1", 332).text),
    *(("Patient", codes.patient_code(SITE, number).text) for number in (901, 902, 903, 904)),
    *FORM_WORDS,
)  # fmt: skip

SAMPLES: dict[str, Label] = {
    one.kind: one
    for one in (
        SetTag(codes.set_code(SITE, 42).text, "Dental extraction A", _MARK),
        PackLabel(
            codes.pack_code(codes.set_code(SITE, 42).text, 17).text, "Dental extraction A", _MARK,
            codes.badge_code(SITE, 3).text, "2026-03-04T10:12", ("Root tip forceps: 0 of 1",),
        ),
        LoadCard(_STEAM, "Steriliser 1"),
        LoadSlip(_STEAM, "Steriliser 1", date(2026, 3, 4), date(2026, 9, 30)),
        BadgeLabel(codes.badge_code(SITE, 3).text, "Technician 3"),
        ShelfLabel(codes.shelf_code(SITE, 2).text, "Theatre cupboard, left"),
        PatientCard(codes.patient_code(SITE, 812).text),
        InstrumentLabel(codes.instrument_code(SITE, 417).text, "Eye scissors, curved"),
        BenchCard(codes.card_code("DROPPED").text, "DROPPED", "the last pack was dropped"),
        CheckpointSlip(
            f"CHECKPOINT {SITE} 4096 2026-03-04T10:12:09.120Z {'4F' * 32} {'9C' * 8} {'5B' * 64}",
            "Tarn Bridge Small Animal Practice", SITE, 4096, "2026-03-04T10:12", "9c" * 16,
        ),
        OutageForm("Tarn Bridge Small Animal Practice", _ON_THE_FORM),
    )
}  # fmt: skip
