"""Judging by a printout: no readings, but the values a person read off it."""

from service.steam.judge import NOTES, Criterion, Judgement, Plateau
from service.steam.lethality import rate
from service.steam.programme import Programme

UNSEEN = "Judged by values a person read off a printout: what happened between them was not seen."


def judge_printout(hold_s: int, lowest_c: float, highest_c: float, programme: Programme) -> Judgement:
    """Whether a hold of so many seconds between these temperatures (°C) meets `programme`.

    F0 is the least it can have been: the hold at its lowest temperature.
    """
    least, most = programme.lowest_c, programme.highest_c
    f0_min = float(rate(lowest_c)) * hold_s / 60
    criteria = (
        Criterion(
            "hold", f"{hold_s} s", f"at least {programme.hold_s} s", hold_s >= programme.hold_s, programme.source
        ),
        Criterion("lowest", f"{lowest_c:.2f} °C", f"at least {least:g} °C", lowest_c >= least, programme.source),
        Criterion(
            "band", f"highest {highest_c:.2f} °C", f"at most {most:g} °C", highest_c <= most, programme.band_source
        ),
    )
    verdict = "pass" if all(one.ok for one in criteria) else "fail"
    plateau = Plateau(0.0, float(hold_s), lowest_c, highest_c)
    return Judgement(verdict, programme.name, hold_s, f0_min, 0.0, plateau, None, criteria, (), 0, (UNSEEN, *NOTES))
