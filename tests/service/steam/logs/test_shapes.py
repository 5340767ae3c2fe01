"""Every sensible shape of a log says the same cycle."""

import hashlib
import json
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.steam import saturation
from service.steam.judge import judge
from service.steam.logs.log import read, read_csv
from service.steam.logs.mapping import of_json, of_table, of_toml
from service.steam.programme import programme
from tests.service.steam.logs.logger import CYCLE, LONDON, MORNING, PLAIN, clocked, readings, written

HEAD = "Steriliser 1;Cycle No 0331\nStart: 04.03.2026 09:10:00\n\n"


def mapping(text):
    return of_toml(text)


COLUMNS = """
[temperature]
column = {t}
unit = "{tu}"
[pressure]
column = {p}
unit = "{pu}"
gauge = {gauge}
"""


def columns(time, t="2", tu="°C", p="3", pu="kPa", gauge="false", more=""):
    return mapping(f"{more}\n[time]\n{time}\n" + COLUMNS.format(t=t, tu=tu, p=p, pu=pu, gauge=gauge))


SECONDS = 'column = 1\nform = "seconds"'
SHAPES = [
    ("semicolons and decimal commas", written(lambda s, c, p: f"{s:g};{c:.2f};{p:.1f}".replace(".", ","), "Zeit (s);Temperatur (°C);Druck (kPa abs)\n"), None),
    ("tabs", written(lambda s, c, p: f"{s:g}\t{c:.2f}\t{p:.1f}", "Time (s)\tT1 [°C]\tP [kPa abs]\n"), None),
    ("minutes", written(lambda s, c, p: f"{s / 60:.6f},{c:.2f},{p:.1f}", "Time (min),T (°C),P (kPa abs)\n"), None),
    ("Fahrenheit", written(lambda s, c, p: f"{s:g},{c * 1.8 + 32:.3f},{p:.1f}", "seconds,temp (°F),pressure_kpa\n"), None),
    ("bar absolute", written(lambda s, c, p: f"{s:g},{c:.2f},{p / 100:.3f}", "seconds,temperature_c,P (bara)\n"), None),
    ("bar gauge", written(lambda s, c, p: f"{s:g},{c:.2f},{(p - 101.325) / 100:.5f}", "seconds,temperature_c,P (bar gauge)\n"), None),
    ("a gauge that does not say so", written(lambda s, c, p: f"{s:g},{c:.2f},{(p - 101.325) / 100:.5f}", "seconds,temperature_c,P (bar)\n"), None),
    ("psi gauge", written(lambda s, c, p: f"{s:g},{c:.2f},{(p - 101.325) / 6.894757:.4f}", "seconds,temperature_c,P (psig)\n"), None),
    ("mbar", written(lambda s, c, p: f"{s:g},{c:.2f},{p * 10:.0f}", "seconds,temperature_c,P (mbar abs)\n"), None),
    ("mmHg", written(lambda s, c, p: f"{s:g},{c:.2f},{p / 0.1333224:.2f}", "seconds,temperature_c,P (mmHg abs)\n"), None),
    ("kgf/cm2", written(lambda s, c, p: f"{s:g},{c:.2f},{p / 98.0665:.4f}", "seconds,temperature_c,P (kgf/cm2 abs)\n"), None),
    ("lines before the names", HEAD.encode() + PLAIN, None),
    ("UTF-8 with its mark", b"\xef\xbb\xbf" + PLAIN, None),
    ("UTF-16", PLAIN.decode().encode("utf-16"), None),
    ("carriage returns", PLAIN.replace(b"\n", b"\r\n"), None),
    ("a closing separator", PLAIN.replace(b"\n", b",\n"), None),
    ("minutes:seconds", written(lambda s, c, p: f"{int(s) // 60}:{int(s) % 60:02d},{c:.2f},{p:.1f}", "elapsed,temperature_c,pressure_kpa\n"), None),
    ("hours:minutes:seconds elapsed", written(lambda s, c, p: f"0:{int(s) // 60:02d}:{int(s) % 60:02d},{c:.2f},{p:.1f}", "elapsed,temperature_c,pressure_kpa\n"), None),
    ("a clock", clocked(MORNING, "%H:%M:%S"), None),
    ("a clock over midnight", clocked(MORNING.replace(hour=23, minute=50), "%H:%M:%S"), None),
    ("dates", clocked(MORNING, "%Y-%m-%d %H:%M:%S"), None),
    ("dates and midnight", clocked(MORNING.replace(hour=23, minute=50), "%d.%m.%Y %H:%M:%S"), None),
    ("dates in a column of their own", clocked(MORNING, "%d.%m.%Y;%H:%M:%S", "date;time;temperature (°C);pressure (kPa abs)\n"), None),
    ("twelve hours", clocked(MORNING.replace(hour=11, minute=50), "%I:%M:%S %p"), None),
    ("into summer time", clocked(datetime(2026, 3, 29, 0, 50, tzinfo=LONDON), "%Y-%m-%d %H:%M:%S"), columns('column = 1\nform = "clock"', more='tz = "Europe/London"')),
    ("out of summer time", clocked(datetime(2026, 10, 25, 1, 50, tzinfo=LONDON), "%Y-%m-%d %H:%M:%S"), columns('column = 1\nform = "clock"', more='tz = "Europe/London"')),
    ("a printer", written(lambda s, c, p: f"{9 + int(s) // 3600:02d}:{int(s) // 60 % 60:02d}:{int(s) % 60:02d}  {c:.2f}C  {p / 100:.3f}bar", "STERILISER 1\nCYCLE 0331\n\n"), None),
    ("a printer's own lines", written(lambda s, c, p: f"> T={c:.2f} P={p:.1f} at {int(s)}s", "begin\n"),
     mapping('[lines]\npattern = "T=(?P<temperature>[0-9.]+) P=(?P<pressure>[0-9.]+) at (?P<time>[0-9]+)s"\n[time]\nform = "seconds"\n[temperature]\n[pressure]\nunit = "kPa"\ngauge = false\n')),
    ("columns by number, no names", PLAIN.split(b"\n", 1)[1], columns(SECONDS)),
    ("columns by number below other lines", HEAD.encode() + PLAIN, columns(SECONDS, more='separator = ","')),
    ("columns by name", PLAIN, columns('column = "seconds"\nform = "seconds"', '"temperature_c"', p='"pressure_kpa"')),
    ("Latin-1", written(lambda s, c, p: f"{s:g};{c:.2f};{p:.1f}", "Zeit;Fühler;Druck\n").decode().encode("latin-1"), columns(SECONDS, '"Fühler"', more='encoding = "latin-1"')),
    ("typed with spaces", written(lambda s, c, p: f"{s:g} s   {c:.2f}  {p:.1f}"), columns(SECONDS, more='separator = "space"')),
    ("newest first", b"\n".join([PLAIN.split(b"\n")[0], *PLAIN.split(b"\n")[:0:-1]]), columns(SECONDS, more="newest_first = true")),
    ("words after the readings", PLAIN + b"END OF CYCLE\nsigned,______\n", None),
]  # fmt: skip


@pytest.mark.parametrize(("data", "how"), [pytest.param(data, how, id=name) for name, data, how in SHAPES])
def test_a_cycle_is_the_same_in_every_shape(data, how):
    found = read(data, how)
    assert found.doubts == ()
    assert found.cycle.seconds == pytest.approx(CYCLE.seconds, abs=0.001)
    assert found.cycle.temperature_c == pytest.approx(CYCLE.temperature_c, abs=0.006)
    assert found.cycle.pressure_kpa == pytest.approx(CYCLE.pressure_kpa, abs=0.06)
    assert judge(found.cycle, programme("134/3")).verdict == "pass"
    assert found.sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize(("data", "how"), [pytest.param(data, how, id=name) for name, data, how in SHAPES])
def test_what_was_guessed_is_a_mapping_that_reads_the_same_again(data, how):
    found = read(data, how)
    again = read(data, of_json(found.mapping.to_json()))
    assert again.mapping == found.mapping
    assert again.cycle.seconds.tolist() == found.cycle.seconds.tolist()
    assert again.cycle.temperature_c.tolist() == found.cycle.temperature_c.tolist()
    assert again.cycle.pressure_kpa.tolist() == found.cycle.pressure_kpa.tolist()


def test_the_counter_and_the_start_are_read_where_the_mapping_says():
    how = columns(
        SECONDS,
        more='tz = "Europe/London"\nseparator = ","\n[counter]\npattern = "Cycle No ([0-9]+)"\n[start]\npattern = "Start: (?P<date>\\\\S+) (?P<time>\\\\S+)"',
    )
    found = read(HEAD.encode() + PLAIN, how)
    assert found.counter == 331
    assert found.started_at == datetime(2026, 3, 4, 9, 10, tzinfo=UTC)


@pytest.mark.parametrize(
    ("start", "form"),
    [(MORNING, "%Y-%m-%d %H:%M:%S"), (datetime(2026, 7, 4, 9, 10, tzinfo=LONDON), "%d.%m.%Y %H:%M:%S"), (datetime(2026, 3, 29, 0, 50, tzinfo=LONDON), "%Y-%m-%d %H:%M:%S")],
)  # fmt: skip
def test_a_dated_log_says_when_it_began_in_the_sites_zone(start, form):
    found = read(clocked(start, form), tz="Europe/London")
    assert found.started_at == start.astimezone(UTC)
    assert read(PLAIN, tz="Europe/London").started_at is None


def test_a_day_in_the_head_goes_with_a_clock_and_over_midnight():
    how = mapping(
        'tz = "Europe/London"\n[start]\npattern = "Start: (?P<date>\\\\S+) (?P<time>\\\\S+)"\n[time]\ncolumn = "time"\nform = "clock"\n[temperature]\ncolumn = 2\n'
    )
    head = "Start: 04.03.2026 23:59:50\ntime;temperature (°C);pressure (kPa abs)\n"
    found = read(clocked(datetime(2026, 3, 5, 0, 0, 5, tzinfo=LONDON), "%H:%M:%S", head), how)
    assert found.started_at == datetime(2026, 3, 5, 0, 0, 5, tzinfo=UTC)


def test_a_logger_that_writes_its_distance_from_utc_is_believed():
    found = read(b"time,temperature_c\n2026-03-04T09:10:00+01:00,20\n2026-03-04T08:10:05Z,21\n")
    assert found.started_at == datetime(2026, 3, 4, 8, 10, tzinfo=UTC)
    assert found.cycle.seconds.tolist() == [0, 5]


def test_readings_written_down_by_a_person_from_a_gauge_and_a_clock_are_read_by_the_same_code():
    how = mapping(
        'separator = "space"\naltitude_m = 0\n[time]\ncolumn = 1\nform = "clock"\n[pressure]\ncolumn = 2\nunit = "bar"\ngauge = true\n'
    )
    found = read(b"09:10 0\n09:20 2.1\n09:22 2.1 bar\n09:25 2,1\n".replace(b",", b"."), how)
    assert found.cycle.seconds.tolist() == [0, 600, 720, 900]
    assert found.cycle.temperature_c[1:] == pytest.approx(float(saturation.temperature_c(311.325)))
    assert found.cycle.pressure_kpa is None
    assert "as if the chamber held steam alone" in dict(found.understood)["temperature"]


def test_minutes_and_degrees_typed_by_a_person_are_read():
    how = mapping('separator = "space"\n[time]\ncolumn = 1\nform = "minutes"\n[temperature]\ncolumn = 2\n')
    found = read(b"0 min 20\n10 min 121\n25 min 121.5 C\n", how)
    assert found.cycle.seconds.tolist() == [0, 600, 1500]
    assert found.cycle.temperature_c.tolist() == [20, 121, 121.5]


def test_a_second_probe_is_kept_beside_the_first():
    data = written(lambda s, c, p: f"{s:g},{c:.2f},{c - 0.4:.2f}", "seconds,T1 (°C),T2 (°C)\n")
    found = read(data)
    assert found.cycle.second_c == pytest.approx(CYCLE.temperature_c - 0.4, abs=0.02)
    assert found.cycle.pressure_kpa is None
    assert dict(found.understood)["second probe"] == "column 'T2 (°C)', °C"


def test_a_second_probe_that_never_read_is_said_and_left_out():
    found = read(written(lambda s, c, p: f"{s:g},{c:.2f},---", "seconds,T1 (°C),T2 (°C)\n"))
    assert found.cycle.second_c is None
    assert found.cycle.seconds.size == CYCLE.seconds.size
    assert "no readings" in dict(found.understood)["second probe"]


@pytest.mark.parametrize("missing", ["", "---", "-", "n/a"])
def test_missing_samples_are_left_out_and_counted(missing):
    data = f"seconds,temperature_c\n0,20\n5,{missing}\n10,22\n15,{missing}\n20,24\n".encode()
    found = read(data)
    assert found.cycle.seconds.tolist() == [0, 10, 20]
    assert dict(found.understood)["left out"] == "2 lines: 3 (no sample), 5 (no sample)"


def test_a_gauge_is_read_against_the_air_at_the_sites_height_and_the_mapping_has_the_last_word():
    how = columns(SECONDS, pu="psi", gauge="true")
    data = b"0,20,0\n5,118.3,15\n"
    assert read(data, how, altitude_m=1500).cycle.pressure_kpa == pytest.approx(
        [84.5597, 84.5597 + 15 * 6.894757], abs=1e-3
    )
    here = columns(SECONDS, pu="psi", gauge="true", more="altitude_m = 0")
    assert read(data, here, altitude_m=1500).cycle.pressure_kpa[0] == 101.325


def test_what_was_understood_is_said_in_words():
    found = dict(read(clocked(MORNING, "%Y-%m-%d %H:%M:%S"), tz="Europe/London").understood)
    assert found["time"] == "time, the time of day"
    assert found["temperature"] == "column 'temperature (°C)', °C"
    assert found["pressure"] == "column 'pressure (kPa abs)', kPa absolute"
    assert found["began"] == "2026-03-04 09:10:00 Europe/London"
    assert found["readings"] == f"{CYCLE.seconds.size}, one each 5 s"
    assert found["first reading"] == f"0 s, {CYCLE.temperature_c[0]:.2f} °C, {CYCLE.pressure_kpa[0]:.1f} kPa"
    assert found["left out"] == "nothing"


def test_a_log_that_never_got_hot_says_so():
    assert (
        "no cycle that sterilised is in it"
        in dict(read(b"seconds,temperature_c\n0,20\n5,21\n").understood)["temperatures"]
    )


@pytest.mark.parametrize("step", [0.2, 1, 7, 60])
def test_any_sampling_from_a_fifth_of_a_second_to_a_minute_is_read(step):
    at = np.arange(0, 3000, step)
    data = "seconds,temperature_c\n" + "".join(
        f"{s:.1f},{c:.2f}\n" for s, c in zip(at, np.interp(at, CYCLE.seconds, CYCLE.temperature_c), strict=True)
    )
    assert read(data.encode()).cycle.seconds == pytest.approx(at)


@given(st.lists(st.tuples(st.integers(1, 600), st.integers(-1000, 15000)), min_size=2, max_size=40))
def test_numbers_come_back_as_they_were_written(steps):
    seconds, values = np.cumsum([s for s, _ in steps]), [c / 100 for _, c in steps]
    data = "seconds,temperature_c\n" + "".join(f"{s},{c}\n" for s, c in zip(seconds, values, strict=True))
    try:
        found = read_csv(data.encode())
    except ValueError as error:
        assert any(words in str(error) for words in ("probe", "second cycle"))
    else:
        assert found.temperature_c.tolist() == values
        assert found.seconds.tolist() == seconds.tolist()


def test_a_mapping_in_a_record_is_one_line_of_json():
    line = read(PLAIN).mapping.to_json()
    assert json.loads(line)["temperature"] == {"column": "temperature_c", "unit": "°C"}
    assert of_table(json.loads(line)).time.form == "seconds"
    assert len(list(readings())) == CYCLE.seconds.size
