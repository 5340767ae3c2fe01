"""Steam: logs read or refused by line, F0, the longest hold, verdicts, charts."""

import csv
import itertools
import os
import re
from pathlib import Path
from xml.etree import ElementTree

import iapws
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.demo.cycles import made_cycle
from service.steam import cycle as cycles
from service.steam.charts import cycle_svg
from service.steam.cycle import Cycle, CycleError
from service.steam.judge import judge
from service.steam.lethality import f0, rate, running_f0
from service.steam.logs.log import read_csv
from service.steam.programme import ProgrammeError, all_programmes, made, programme

ROOT = Path(__file__).resolve().parents[3]
RNG = np.random.default_rng(7)


def cycle(*points):
    seconds, temperature = zip(*points, strict=True)
    return Cycle(np.array(seconds, float), np.array(temperature, float))


def data_file(name):
    """A file of published data beside the project; its test is skipped in one line where it is not, and fails in CI."""
    path = Path(os.environ.get("FOLDMARK_DATA") or ROOT.parent / "shared" / "data") / name
    if not path.exists():
        assert os.environ.get("CI") != "true", f"{name} is missing"
        pytest.skip(f"{name} is not beside the project")
    return path


# Lethal rate L = 10^((T − 121.1)/10): dairyscience.info lethal rate help; values computed from that formula (CHECKS 4a).
@pytest.mark.parametrize(
    ("celsius", "value"),
    [(100, 0.007762), (111, 0.097724), (115, 0.245471), (118, 0.489779), (121, 0.977237), (121.1, 1), (125, 2.454709),
     (126, 3.090295), (130, 7.762471), (132, 12.302688), (134, 19.498446), (135, 24.547089), (137, 38.904514)],
)  # fmt: skip
def test_the_lethal_rate_equals_the_formula(celsius, value):
    assert float(rate(celsius)) == pytest.approx(value, abs=1e-6)


@pytest.mark.parametrize(
    ("celsius", "minutes", "value"),
    [(134, 3, 58.4953), (132, 4, 49.2108), (126, 10, 30.9030), (121, 15, 14.6586), (115, 30, 7.3641), (135, 3, 73.6413),
     (121, 30, 29.3171), (132, 15, 184.5403)],
)  # fmt: skip
def test_f0_of_a_steady_hold_equals_the_formula(celsius, minutes, value):
    assert f0(cycle((0, celsius), (minutes * 60, celsius))) == pytest.approx(value, abs=1e-4)


def ramp(step, down_rate=1.0, top=121.1, hold=15 * 60):
    """Up from 100 °C at 1 K/min, hold, down at `down_rate` K/min, a reading each `step` seconds."""
    up, down = (top - 100) * 60, (top - 100) * 60 / down_rate
    seconds = np.arange(0, up + hold + down + step / 2, step)
    temperature = np.interp(seconds, [0, up, up + hold, up + hold + down], [100, top, top, 100])
    return Cycle(seconds, temperature)


# Exact integrals (L2 − L1)/(rate · ln10/10), CHECKS 4a: the trapezium lies just above them, for L is convex.
def test_a_ramp_hold_and_ramp_equals_the_exact_integral():
    assert f0(ramp(1)) == pytest.approx(23.61848, abs=1e-4)
    assert f0(ramp(6)) == pytest.approx(23.61885, abs=1e-4)
    assert f0(ramp(6)) > f0(ramp(1)) > 23.618466
    assert f0(ramp(1, 2.0, 121.0)) == pytest.approx(20.974121, abs=1e-4)


@pytest.mark.parametrize(("error", "factor"), [(0.5, 1.12202), (-0.5, 0.89125), (1, 1.25893), (-1, 0.79433)])
def test_a_sensor_error_multiplies_f0(error, factor):
    one = ramp(5)
    assert f0(Cycle(one.seconds, one.temperature_c + error)) / f0(one) == pytest.approx(factor, abs=1e-5)


# The open log: CARLOSOQUENDO/autoclave-pid-f0, ensayos/ciclo_completo_F0_20.csv, every tenth second; figures from CHECKS 4b.
def real_log():
    return read_csv(data_file("diy_autoclave_f0_20_10s.csv").read_bytes())


def test_the_open_log_gives_its_f0_at_four_times_and_at_the_end():
    log = real_log()
    running = running_f0(log)
    for seconds, value in ((1500, 1.3491), (2000, 5.0141), (2500, 10.9426), (3000, 18.6967), (3359, 24.0953)):
        assert running[np.searchsorted(log.seconds, seconds)] == pytest.approx(value, abs=1e-3)
    assert log.seconds[np.argmax(running >= 12)] == 2580
    assert log.seconds[np.argmax(running >= 20)] == 3080
    assert log.seconds.size == 337
    assert (log.temperature_c.min(), log.temperature_c.max()) == (89.41, 121.31)


def test_the_open_log_fails_121_for_15_minutes_on_hold_although_its_f0_is_24():
    found = judge(real_log(), programme("121/15"))
    assert (found.verdict, found.hold_s) == ("fail", 270)
    assert (found.plateau.start_s, found.plateau.end_s, found.plateau.lowest_c) == (2900, 3170, 121.02)
    assert found.f0_min == pytest.approx(24.0953, abs=1e-3)
    assert found.f0_hundredths == 2410


def test_the_lethality_table_agrees():
    with data_file("lethality.csv").open() as file:
        rows = [row for row in csv.reader(file) if row and not row[0].startswith("#")]
    for row in rows[1:]:
        assert float(rate(float(row[0]))) == pytest.approx(float(row[1]), abs=1e-6)


# Time and temperature pairs: Central Sterilising Club 2025, table 10.2; gravity, wrapped: CDC 2008 guideline, table 7 (CHECKS 4c).
@pytest.mark.parametrize(
    ("name", "celsius", "seconds"),
    [("134/3", 134, 180), ("132/4", 132, 240), ("126/10", 126, 600), ("121/15", 121, 900), ("115/30", 115, 1800),
     ("121/30", 121, 1800), ("132/15", 132, 900)],
)  # fmt: skip
def test_a_programme_holds_its_published_time(name, celsius, seconds):
    one = programme(name)
    assert (one.set_c, one.hold_s) == (celsius, seconds)
    assert one.source
    met = judge(cycle(*((t, celsius) for t in range(0, seconds + 1, 20))), one)
    assert (met.verdict, met.hold_s) == ("pass", seconds)
    short = judge(cycle(*((t, celsius) for t in range(0, seconds - 19, 20)), (seconds, celsius - 0.1)), one)
    assert (short.verdict, short.hold_s) == ("fail", seconds - 20)


def test_an_unknown_programme_lists_those_there_are():
    with pytest.raises(ProgrammeError, match="134/3"):
        programme("99/9")
    assert len({one.name for one in all_programmes()}) == len(all_programmes())


def test_a_dip_below_the_set_temperature_begins_the_hold_anew():
    found = judge(
        cycle((0, 134), (60, 134), (100, 133.9), (120, 134), (180, 134), (240, 134), (300, 134)), programme("134/3")
    )
    assert (found.hold_s, found.verdict) == (180, "pass")
    assert found.plateau.start_s == 120


def test_a_gap_in_the_plateau_cannot_be_judged_and_never_passes():
    found = judge(cycle((0, 134.5), (30, 134.5), (120, 134.5), (200, 134.5)), programme("134/3"))
    assert found.verdict == "cannot judge"
    assert {c.name: c.ok for c in found.criteria if c.ok is not None} == {
        "hold": True, "readings in the plateau": False, "band": True,
    }  # fmt: skip


PULSES = ((30.0, 101.0), (60.0, 20.0), (102.0, 110.0), (60.0, 20.0), (102.0, 110.0))
"""°C and kPa of a chamber whose air is pumped out twice."""


def steady(celsius, kpa, seconds=200, before=PULSES):
    held = np.arange(0, seconds + 1, 5.0)
    at = np.concatenate((np.arange(len(before)) * 30.0, len(before) * 30.0 + held))
    readings = np.array([*before, *[(float(celsius), float(kpa))] * held.size])
    return Cycle(at, readings[:, 0], readings[:, 1])


def criterion(found, name):
    return next(c for c in found.criteria if c.name == name)


@pytest.mark.parametrize(
    ("celsius", "kelvin", "verdict"),
    [(135, 0, "pass"), (135, 1.9, "pass"), (135, -1.9, "pass"), (135, 2.1, "fail"), (135, -2.1, "fail")],
)
def test_a_plateau_that_is_not_of_saturated_steam_fails_by_that_alone(celsius, kelvin, verdict):
    """Steam by the iapws library at `kelvin` beside the readings; the 2 K are EN 285's, from memory."""
    kpa = iapws.iapws97._PSat_T(celsius + kelvin + 273.15) * 1000
    found = judge(steady(celsius, kpa), programme("134/3"))
    assert found.verdict == verdict
    assert [c.name for c in found.criteria if c.ok is False] == ([] if verdict == "pass" else ["saturation"])


def test_air_left_in_the_chamber_shows_as_readings_colder_than_their_pressure():
    """101 kPa of air beside 134 °C steam: the gauge is right for far more than 134 °C."""
    found = judge(steady(134.5, 304.2 + 101.3), programme("134/3"))
    assert found.verdict == "fail"
    assert criterion(found, "saturation").value.startswith("-9.")


def test_a_plateau_above_its_band_fails_and_only_what_lay_within_counts_as_hold():
    found = judge(cycle(*((t, 134.5) for t in range(0, 201, 20)), (220, 137.2), (240, 134.5)), programme("134/3"))
    assert (found.verdict, found.hold_s) == ("fail", 200)
    assert [c.name for c in found.criteria if c.ok is False] == ["band"]


def test_without_a_pressure_saturation_is_said_not_to_be_known_and_does_not_fail():
    found = judge(cycle(*((t, 134.5) for t in range(0, 201, 20))), programme("134/3"))
    told = criterion(found, "saturation")
    assert (found.verdict, told.ok, told.value) == ("pass", None, "no pressure was logged")


def test_a_machine_that_cannot_pump_air_out_cannot_be_judged_by_a_programme_that_needs_it():
    log = steady(134.5, 304.2)
    assert judge(log, programme("134/3"), removal="active").verdict == "pass"
    found = judge(log, programme("134/3"), removal="gravity")
    assert (found.verdict, criterion(found, "air removal").value) == ("cannot judge", "the machine's is by gravity")


def test_a_logged_pressure_that_shows_no_pulse_cannot_be_judged_by_a_programme_that_pumps():
    found = judge(steady(134.5, 304.2, before=((30.0, 101.0), (102.0, 110.0))), programme("134/3"))
    assert (found.verdict, criterion(found, "air removal").value) == ("cannot judge", "pulses seen: 0")


@pytest.mark.parametrize(
    ("apart", "late", "fails"), [(1.9, 10, []), (2.1, 10, ["probes"]), (1.9, 20, ["equilibration"])]
)
def test_two_probes_agree_and_reach_the_set_temperature_together(apart, late, fails):
    """2 K and 15 s: EN 285, from memory."""
    at = np.arange(0, 301, 5.0)
    first = np.where(at < 60, 100.0, 134.2)
    second = np.where(at < 60 + late, 100.0, 134.2 + apart)
    found = judge(Cycle(at, first, second_c=second), programme("134/3"))
    assert [c.name for c in found.criteria if c.ok is False] == fails
    assert found.plateau.start_s == 60 + late
    assert found.plateau.highest_c == pytest.approx(134.2 + apart)


def test_the_phases_of_a_made_cycle_are_those_it_was_made_of():
    limits = programme("134/3")
    found = judge(read_csv(made_cycle(limits, RNG)), limits)
    assert [p.name for p in found.phases] == ["air removal", "heating", "plateau", "exhaust", "drying"]
    assert found.pulses == 3
    assert all(one.end_s == two.start_s for one, two in itertools.pairwise(found.phases))
    kept = found.measures()
    assert kept["plateau_c_hundredths"] == pytest.approx(13520, abs=5)
    assert kept["heating_s"] == pytest.approx(215, abs=10)
    assert kept["drying_s"] == pytest.approx(680, abs=30)


def test_a_cycle_that_dries_too_short_for_its_programme_fails_by_that_alone():
    """15 to 30 min: CDC 2008 guideline, table 7, gravity, wrapped instruments."""
    limits = programme("121/30")
    assert judge(read_csv(made_cycle(limits, RNG)), limits).verdict == "pass"
    found = judge(read_csv(made_cycle(limits, RNG, "wet")), limits)
    assert (found.verdict, [c.name for c in found.criteria if c.ok is False]) == ("fail", ["drying"])


@pytest.mark.parametrize(
    ("band", "lowest", "highest"), [("large", 134, 137), ("small", 134, 138), ("measured", 134.5, 136.5)]
)
def test_a_site_chooses_its_band(band, lowest, highest):
    """EN 285 and EN 13060 from memory; 134.5 to 136.5 °C measured: EN 285:2015, abstract (CHECKS 4c)."""
    chosen = programme("134/3").within(band)
    assert (chosen.lowest_c, chosen.highest_c) == (lowest, highest)
    for celsius, verdict in ((lowest, "pass"), (highest, "pass"), (lowest - 0.01, "fail"), (highest + 0.01, "fail")):
        assert judge(cycle((0, celsius), (60, celsius), (120, celsius), (180, celsius)), chosen).verdict == verdict
    with pytest.raises(ProgrammeError, match="large, small, measured"):
        programme("134/3").within("wide")


OWN = {
    "name": "133/5 ours",
    "set_c": 133,
    "hold_s": 300,
    "removal": "active",
    "holds": ["wrapped"],
    "source": "validated in May",
}


def test_a_site_adds_a_programme_of_its_own():
    own = made(OWN, "programmes")
    assert programme("133/5 ours", [own]).hold_s == 300
    assert "133/5 ours" not in [one.name for one in all_programmes()]


@pytest.mark.parametrize(
    ("change", "says"),
    [({"set_c": 13.3}, "set_c is 13.3, and a number from 100 to 140"), ({"hold_s": 0}, "hold_s is 0"), ({"holds": ["cats"]}, "wrapped, hollow"),
     ({"removal": "luck"}, "gravity, active"), ({"colour": "red"}, "nobody knows colour"), ({"holds": []}, "choose among")],
)  # fmt: skip
def test_a_programme_that_cannot_be_is_refused_by_its_key(change, says):
    with pytest.raises(ProgrammeError, match=says):
        made(OWN | change, "the settings")
    with pytest.raises(ProgrammeError, match="source is missing"):
        made({key: value for key, value in OWN.items() if key != "source"}, "the settings")


def smooth(step):
    """A rise, a hold and a fall without a corner, sampled each `step` seconds."""
    at = np.arange(0, 1800 + step / 2, step)
    return Cycle(at, 100 + 35.5 * np.exp(-(((at - 900) / 420) ** 6)))


@given(st.sampled_from([1.0, 2.0, 5.0, 10.0, 20.0]))
def test_doubling_the_sampling_rate_changes_no_verdict_and_f0_by_less_than_its_stated_error(step):
    once, twice = (judge(smooth(s), programme("134/3")) for s in (step, step / 2))
    assert once.verdict == twice.verdict
    assert abs(once.f0_min - twice.f0_min) <= once.f0_error_min


def test_every_band_has_its_source():
    assert all(one.band_k > 0 and one.band_source for one in all_programmes())


def test_a_log_that_never_gets_hot_fails_with_no_plateau():
    found = judge(cycle((0, 20), (60, 30)), programme("134/3"))
    assert (found.verdict, found.hold_s, found.plateau) == ("fail", 0, None)


def test_the_json_has_the_agreed_keys_and_the_notes_say_what_is_not_judged():
    found = judge(real_log(), programme("121/15"))
    assert list(found.to_json())[:6] == ["verdict", "programme", "hold_s", "f0_min", "plateau", "criteria"]
    assert list(found.to_json()["plateau"]) == ["start_s", "end_s", "lowest_c", "highest_c"]
    assert all(list(c) == ["name", "value", "limit", "ok", "source"] for c in found.to_json()["criteria"])
    assert any("No pressure was logged" in note for note in found.notes)
    assert any("not a validation" in note for note in found.notes)


LOGS = st.lists(st.tuples(st.floats(0.2, 60), st.floats(20, 140)), min_size=3, max_size=60)


def of(steps):
    return Cycle(np.cumsum([step for step, _ in steps]), np.array([t for _, t in steps]))


@given(LOGS)
def test_f0_never_falls_as_the_log_grows(steps):
    assert (np.diff(running_f0(of(steps))) >= 0).all()


@given(LOGS, st.integers(1, 58))
def test_f0_is_additive_over_cuts(steps, cut):
    whole, cut = of(steps), min(cut, len(steps) - 2)
    first = Cycle(whole.seconds[: cut + 1], whole.temperature_c[: cut + 1])
    second = Cycle(whole.seconds[cut:], whole.temperature_c[cut:])
    assert f0(first) + f0(second) == pytest.approx(f0(whole), rel=1e-9, abs=1e-12)


GOOD = b"seconds,temperature_c\n0,20.5\n5,21\n"


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"), (b"\n\n", "is empty"), (b"# only a comment\n", "is empty"), (b"seconds\xff", "not UTF-8"),
        (GOOD.replace(b"20.5", b"20\x00"), "NUL"), (b"temperature_c\n1\n2\n", "seconds is missing"),
        (b"seconds,temp\n0,1\n1,2\n", "temperature_c is missing"), (b"seconds,seconds,temperature_c\n0,0,1\n", "twice"),
        (b"seconds,temperature_c\n0,20\n", "1 readings"), (GOOD.replace(b"21", b"warm"), "line 3: temperature_c is 'warm'"),
        (GOOD.replace(b"21", b"nan"), "line 3: temperature_c is nan"), (GOOD.replace(b"21", b"inf"), "no reading"),
        (GOOD.replace(b"21", b""), "line 3"), (GOOD + b"4,22\n", "line 4: the seconds do not rise"), (GOOD + b"5,22\n", "do not rise"),
        (GOOD + b"6,273\n", "line 4: 273 °C cannot be"), (GOOD + b"6,-40\n", "cannot be"), (GOOD + b"6,1,2\n", "line 4 has 3 cells"),
        (b"seconds,temperature_c,pressure_kpa\n0,1,-5\n1,1,5\n", "-5 kPa"), (b"seconds,temperature_c,pressure_kpa\n0,1,x\n1,1,5\n", "'x'"),
    ],
)  # fmt: skip
def test_a_damaged_log_is_refused_with_its_line(data, words):
    with pytest.raises(CycleError, match=re.escape(words)) as caught:
        read_csv(data)
    assert "\n" not in str(caught.value)


def test_a_log_too_large_is_refused_by_its_size(monkeypatch):
    monkeypatch.setattr(cycles, "LARGEST", 10)
    with pytest.raises(CycleError, match="more than 10"):
        read_csv(GOOD)


@given(st.binary(max_size=300))
def test_whatever_bytes_come_only_a_cycle_error_is_raised(data):
    try:
        read_csv(data)
    except CycleError as error:
        assert str(error)


@pytest.mark.parametrize(
    "data",
    [
        GOOD.replace(b"\n", b"\r\n"), GOOD.replace(b"\n", b"\r"), b"\xef\xbb\xbf" + GOOD, b"# a comment\n" + GOOD, GOOD + b"\n\n", GOOD.replace(b",", b" , "),
        b"pressure_kpa,temperature_c,seconds,note\n100,20.5,0,a\n101,21,5,b\n",
    ],
)  # fmt: skip
def test_the_usual_shapes_of_csv_are_read_alike(data):
    found = read_csv(data)
    assert found.seconds.tolist() == [0, 5]
    assert found.temperature_c.tolist() == [20.5, 21]


@pytest.mark.parametrize(("name", "fault", "verdict"), [
    ("134/3", None, "pass"), ("121/15", None, "pass"), ("134/3", "short hold", "fail"), ("121/15", "aborted", "fail"),
])  # fmt: skip
def test_the_demos_made_logs_get_the_verdicts_they_are_made_for(name, fault, verdict):
    log = read_csv(made_cycle(programme(name), RNG, fault))
    assert judge(log, programme(name)).verdict == verdict
    assert log.pressure_kpa is not None


def test_a_chart_has_axes_with_units_the_plateau_and_its_values_and_escapes_its_title():
    log, limits = real_log(), programme("121/15")
    svg = cycle_svg(log, judge(log, limits), limits, title='<script>alert("x")</script> & more')
    root = ElementTree.fromstring(svg)
    words = " ".join(root.itertext())
    for part in (
        "°C",
        "minutes",
        "programme at 121 °C",
        "270 s",
        "121.0 to 121.3 °C",
        "F0 24.1 min",
        "not a validation",
        "<script>",
    ):
        assert part in words
    assert "<script" not in svg


def test_a_long_log_is_thinned_without_losing_its_extremes():
    seconds = np.arange(20_000.0)
    temperature = np.full(20_000, 100.0)
    temperature[12_345] = 137
    log = Cycle(seconds, temperature)
    svg = cycle_svg(log, judge(log, programme("134/3")), programme("134/3"), title="long")
    assert len(svg) < 60_000
    assert "137" in svg


def test_a_chart_shows_the_phases_the_pressure_and_the_second_probe():
    limits = programme("134/3")
    log = read_csv(made_cycle(limits, RNG))
    svg = cycle_svg(log, judge(log, limits), limits, title="load")
    shown = re.findall(">([a-z ]+)<", svg)
    assert [word for word in ("air removal", "heating", "plateau", "exhaust", "drying") if word in shown] == [
        "air removal", "heating", "plateau", "exhaust", "drying",
    ]  # fmt: skip
    assert "kPa, dotted" in svg
    both = Cycle(log.seconds, log.temperature_c, second_c=log.temperature_c - 0.5)
    drawn = cycle_svg(both, judge(both, limits), limits, title="load")
    assert "kPa" not in drawn
    assert drawn.count('stroke-dasharray="8 4"') == 1
