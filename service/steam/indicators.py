"""Indicators: what each kind can say, and what it cannot. Their types are kinds, never ranks."""

from datetime import date

KINDS = ("tape", "strip", "biological", "air removal", "leak")
RESULTS = {
    "tape": ("turned", "pale"),
    "strip": ("turned", "pale"),
    "biological": ("negative", "positive", "void"),
    "air removal": ("pass", "fail"),
    "leak": ("pass", "fail"),
}
CONTROLS = ("grew", "no growth", "not read")
SAYS = {
    "tape": "Turned tape shows only that the pack went through a cycle.",
    "strip": "A turned strip says steam reached the inside of its pack.",
    "biological": "A biological indicator speaks for its load.",
    "air removal": "The air removal test says that steam can get inside a wrap today.",
    "leak": "The leak test says that the chamber holds its vacuum.",
}


def biological_result(result: str, control: str, lot: str, control_lot: str | None) -> str:
    """negative, positive or void. A control that did not grow, was not read, or is of another lot voids a negative.

    Same lot: MMWR 2003;52(RR-17) F.6 (READ); the void rule: common practice, no source. A positive stays positive.
    """
    if result == "positive":
        return "positive"
    return result if control == "grew" and control_lot == lot else "void"


def biological_words(result: str | None, lot: str | None, due: str | None) -> str:
    """What a screen says of a load's biological: never more than was seen."""
    if lot is None:
        return "no biological in this load"
    if result in {"negative", "positive"}:
        return f"biological {result}"
    when = f", due {date.fromisoformat(due):%-d %B}" if due else ""
    return f"biological {'void' if result == 'void' else 'not yet read'}{when}"
