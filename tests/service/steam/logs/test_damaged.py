"""Every damaged form of a log is answered in one line that says where, what and what to do; never with a traceback."""

import re
from datetime import datetime

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from service.steam import cycle as cycles
from service.steam.cycle import CycleDoubt, CycleError
from service.steam.judge import judge
from service.steam.logs.log import read, understand
from service.steam.logs.mapping import of_toml
from service.steam.programme import programme
from tests.service.steam.logs.logger import CYCLE, LONDON, PLAIN, clocked, written

LINES = PLAIN.split(b"\n")
HEAD, ROWS = LINES[0], LINES[1:-1]
HOT = next(i for i, c in enumerate(CYCLE.temperature_c) if c > 134.5) + 5
"""The index of a reading well inside the plateau; its line in the file is this and 2."""


def plain(*rows):
    return b"\n".join([HEAD, *rows]) + b"\n"


def changed(at, line):
    return plain(*ROWS[:at], line, *ROWS[at + 1 :])


def refused(data, *words, how=None):
    with pytest.raises(CycleError) as caught:
        read(data, how)
    told = str(caught.value)
    assert "\n" not in told and len(told) < 400
    for word in words:
        assert word in told
    return caught.value


def test_a_log_cut_off_in_a_line_names_the_line():
    refused(PLAIN[: PLAIN.index(ROWS[HOT]) + 3], f"line {HOT + 2} has 1 cells", "export it again")


def test_a_log_cut_off_in_a_number_is_a_probe_that_falls():
    at = PLAIN.index(ROWS[HOT]) + ROWS[HOT].index(b",") + 3
    refused(PLAIN[:at] + b",300", f"line {HOT + 2}", "a probe's fault")


def test_a_log_cut_off_between_two_lines_is_judged_by_what_is_there():
    assert judge(read(plain(*ROWS[:HOT])).cycle, programme("134/3")).verdict == "fail"


def test_a_doubled_file_names_the_line_where_it_begins_again():
    refused(PLAIN + PLAIN, f"line {len(ROWS) + 2}", "the column names stand there again", "send it once")
    refused(plain(*ROWS, *ROWS), f"line {len(ROWS) + 2}", "begin again", "send it once")


def test_a_doubled_clock_is_said_too():
    data = clocked(datetime(2026, 3, 4, 9, 10, tzinfo=LONDON), "%H:%M:%S")
    refused(data + data.split(b"\n", 1)[1], f"line {len(ROWS) + 2}", "begin again")


def test_lines_out_of_order_name_the_first():
    refused(plain(*ROWS[:10], *ROWS[20:30], *ROWS[10:20], *ROWS[30:]), "line 22", "do not rise", "in order")


def test_lines_that_run_backwards_say_how_to_read_them():
    refused(plain(*ROWS[::-1]), "line 3", "newest_first = true")


def test_a_stamp_that_stands_twice_names_the_second():
    refused(plain(*ROWS[:10], ROWS[9], *ROWS[10:]), "line 12", "one stands twice")


def test_a_clock_that_goes_back_an_hour_without_a_date_is_said_to_be_the_end_of_summer_time():
    data = clocked(datetime(2026, 10, 25, 1, 50, tzinfo=LONDON), "%H:%M:%S")
    refused(data, "line 122", "goes back an hour", "log the date too")


def test_a_logger_that_did_not_follow_the_change_is_out_of_order_in_the_sites_zone_and_read_in_its_own():
    data = clocked(datetime(2026, 3, 29, 1, 10, tzinfo=LONDON).replace(tzinfo=LONDON), "%Y-%m-%d %H:%M:%S")
    data = re.sub(rb"2026-03-29 0[12]", b"2026-03-29 01", data)
    assert read(data.replace(b"2026-03-29 01:0", b"2026-03-29 02:0"), tz="+00:00").cycle.seconds.size > 100


def test_two_cycles_in_one_file_are_refused_where_the_second_begins():
    last = CYCLE.seconds[-1] + 5
    second = [
        f"{s + last:g},{c:.2f},{p:.1f}".encode()
        for s, c, p in zip(CYCLE.seconds, CYCLE.temperature_c, CYCLE.pressure_kpa, strict=True)
    ]
    error = refused(plain(*ROWS, *second), "a second cycle begins about there", "send one cycle a file")
    assert len(ROWS) - 5 <= int(re.search(r"line (\d+)", str(error))[1]) <= len(ROWS) + 20


def test_a_log_without_a_cycle_says_so_and_fails():
    cold = read(plain(*(f"{i * 5},{21 + i % 3 / 10},100".encode() for i in range(200))))
    assert "no cycle that sterilised" in dict(cold.understood)["temperatures"]
    assert judge(cold.cycle, programme("134/3")).verdict == "fail"


@pytest.mark.parametrize("value", [b"20.0", b"159.9", b"100"])
def test_one_impossible_reading_is_a_probes_fault(value):
    refused(
        changed(HOT, ROWS[HOT].split(b",")[0] + b"," + value + b",300"),
        f"line {HOT + 2}",
        "stands alone",
        "check the probe",
    )


def test_a_probe_that_fails_and_stays_at_nothing_is_a_probes_fault():
    dead = [row.split(b",")[0] + b",0.0,300" for row in ROWS[HOT:]]
    refused(plain(*ROWS[:HOT], *dead), f"line {HOT + 2}", "to 0 °C in 5 s", "a probe's fault")


@pytest.mark.parametrize("value", [b"850.0", b"-242.0", b"999.9", b"3276.7"])
def test_a_probe_that_is_open_or_shorted_is_outside_what_can_be(value):
    dead = [row.split(b",")[0] + b"," + value + b",300" for row in ROWS[HOT:]]
    refused(plain(*ROWS[:HOT], *dead), f"line {HOT + 2}", "cannot be in a steriliser", "the probe")


@pytest.mark.parametrize("word", [b"ERR", b"OPEN", b"#N/A", b"1e999", b"1_000", b"0x10"])
def test_a_word_for_a_number_names_its_line(word):
    refused(changed(HOT, ROWS[HOT].split(b",")[0] + b"," + word + b",300"), f"line {HOT + 2}", "temperature_c")


def test_a_second_probe_that_fails_is_named():
    data = written(lambda s, c, p: f"{s:g},{c:.2f},{'850' if s > 900 else f'{c:.2f}'}", "seconds,T1 (°C),T2 (°C)\n")
    refused(data, "850 °C (second probe)")


def test_a_flat_line_is_a_probe_that_is_stuck():
    refused(plain(*(f"{i * 5},134.20,304".encode() for i in range(60))), "line 2", "every reading is 134.2 °C", "stuck")


def test_a_flat_stretch_while_the_pressure_changes_is_a_probe_that_is_stuck():
    frozen = [
        f"{row.split(b',')[0].decode()},135.20,{310 - i * 2}".encode() for i, row in enumerate(ROWS[HOT : HOT + 30])
    ]
    refused(plain(*ROWS[:HOT], *frozen), f"line {HOT + 2}", "30 readings", "stuck")


def test_a_leak_test_at_one_temperature_is_no_flat_line():
    assert read(plain(*(f"{i * 5},22.4,{100 - i}".encode() for i in range(60)))).cycle.seconds.size == 60


def asked(data, *words, how=None):
    error = refused(data, *words, how=how)
    assert isinstance(error, CycleDoubt)
    assert understand(data, how).doubts == (str(error),)


def test_a_cycle_at_273_degrees_is_asked_about_and_not_judged():
    asked(written(lambda s, c, p: f"{s:g},{c * 1.8 + 32:.1f},{p:.1f}", HEAD.decode() + "\n"), "are these °F?")


def test_a_cycle_at_134_fahrenheit_is_asked_about_and_not_judged():
    asked(written(lambda s, c, p: f"{s:g},{c:.1f},{p:.1f}", "seconds,T (°F),pressure_kpa\n"), "135", "are these °C?")


@pytest.mark.parametrize(
    ("heading", "of", "words"),
    [
        ("P (kPa abs)", lambda p: p - 101.3, "is it gauge?"), ("P (kPa gauge)", lambda p: p, "is it absolute?"),
        ("P (kPa abs)", lambda p: p / 100, "would be in bar absolute"), ("P (mbar abs)", lambda p: p, "would be in kPa absolute"),
        ("P (bar abs)", lambda p: (p - 101.3) / 6.894757, "would be in psi gauge"), ("P (psig)", lambda p: (p - 101.3) / 100, "would be in bar gauge"),
    ],
)  # fmt: skip
def test_a_pressure_that_is_steams_in_another_unit_is_asked_about(heading, of, words):
    asked(written(lambda s, c, p: f"{s:g},{c:.2f},{of(p):.4f}", f"seconds,temperature_c,{heading}\n"), words)


def test_a_pressure_that_is_no_steams_in_any_unit_is_judged():
    found = read(written(lambda s, c, p: f"{s:g},{c:.2f},{p + 40:.1f}", HEAD.decode() + "\n"))
    assert judge(found.cycle, programme("134/3")).verdict == "fail"


def test_a_pressure_that_does_not_say_what_it_is_and_never_got_hot_is_asked_about():
    asked(b"seconds,temperature_c,P (bar)\n0,20,0.1\n5,21,0.2\n", "from nothing or from the air")


def test_units_mixed_in_one_column_are_refused():
    refused(b"09:10:00 20.0C\n09:10:05 21.0C\n09:10:10 70.0F\n09:10:15 71.0F\n", "line 3", "in °F there")


def test_a_file_larger_than_the_limit_is_refused_by_its_size(monkeypatch):
    monkeypatch.setattr(cycles, "LARGEST", 100)
    refused(PLAIN, "more than 100", "send one cycle")


def test_utf_16_without_its_mark_is_refused_and_read_by_a_mapping_that_says_so():
    data = PLAIN.decode().encode("utf-16-le")
    refused(data, "NUL", "name its encoding in a mapping")
    told = 'encoding = "utf-16-le"\n[time]\ncolumn = "seconds"\nform = "seconds"\n[temperature]\ncolumn = "temperature_c"\n'
    assert read(data, of_toml(told)).cycle.seconds.size == len(ROWS)


def test_latin_1_is_refused_until_a_mapping_says_so():
    refused("seconds,T (°C)\n0,20\n5,21\n".encode("latin-1"), "not UTF-8", "name its encoding in a mapping")


def test_nul_bytes_are_refused():
    refused(changed(HOT, ROWS[HOT][:3] + b"\x00" + ROWS[HOT][3:]), "NUL")


@pytest.mark.parametrize("formula", ["=1+1", "+A1", "@SUM(A1)", "-cmd|' /c calc'!A1", '=HYPERLINK("http://x")'])
def test_a_formula_is_never_computed_and_shown_only_quoted(formula):
    cell = '"' + formula.replace('"', '""') + '"'
    refused(f"seconds,temperature_c\n0,20\n5,{cell}\n".encode(), "line 3", "never computed here", repr(formula[:30]))
    found = read(f"seconds,temperature_c,note\n0,20,{cell}\n5,21,{cell}\n".encode())
    assert found.cycle.temperature_c.tolist() == [20, 21]
    assert formula not in str(found.understood)


def test_a_column_named_by_a_formula_is_quoted_where_it_is_told():
    refused(b'"=1+1\n2",b\n1,2\n', r"'=1+1")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"time,temperature_c\n0,20\n5,21\n", "seconds or minutes"), (b"time,temperature_c\n04/03/2026 09:10,20\n04/03/2026 09:11,21\n", "two ways"),
        (b"time,temperature_c\n2026-02-30 09:10:00,20\n2026-02-30 09:11:00,21\n", "is no date"), (b"time,temperature_c\n09:61:00,20\n09:62:00,21\n", "no time of day"),
        (b"time,temperature_c\n0001-01-01 09:10:00,20\n0001-01-01 09:11:00,21\n", "is no date"), (b"time,temperature_c\n00:10,20\n00:11,21\n", "hours:minutes or minutes:seconds"),
        (b"time,temperature_c\n09:10:00,20\nlater,21\n09:10:10,21\n", "line 3: the time is 'later'"), (b"elapsed,temperature_c\n0:00:01,1\n0:00:02,1\nx0,1\n", "line 4"),
        (b"elapsed,temperature_c\n0:00:01,1\n0:02,1\n", "hours:minutes:seconds is needed"), (b"seconds,temperature_c\n0,---\n5,---\n", "holds no reading"),
        (b'seconds,temperature_c\n0,"20\n5,21\n', "two are needed"), (b"seconds,temperature_c\n0,20\n5,2" + b"1" * 400 + b"\n", "no reading"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_says_what_to_do(data, words):
    refused(data, words)


MAPPINGS = [None, *(of_toml(text) for text in (
    'separator = "space"\n[time]\ncolumn = 1\nform = "minutes"\n[pressure]\ncolumn = 2\nunit = "bar"\ngauge = true\n',
    'encoding = "cp1252"\ndecimal = ","\n[time]\ncolumn = 1\nform = "clock"\ndate_column = 2\n[temperature]\ncolumn = 3\n',
    'encoding = "latin-1"\n[lines]\npattern = "(?P<time>[0-9:.]+) (?P<temperature>[0-9.]+)"\n[time]\nform = "minutes:seconds"\n[temperature]\n[counter]\npattern = "No (.*)"\n',
))]  # fmt: skip


@given(
    st.binary(max_size=400) | st.text('0123456789:;,.-= \n"°CFbarNo\t', max_size=300).map(str.encode),
    st.sampled_from(MAPPINGS),
)
@example(b"No \xb2\n1:00 20\n1:01 21\n", MAPPINGS[3])
def test_whatever_bytes_come_only_a_cycle_error_is_raised(data, how):
    try:
        assert read(data, how).cycle.seconds.size >= 2
    except CycleError as error:
        assert str(error) and "\n" not in str(error)


@given(st.integers(0, len(PLAIN) - 1), st.binary(max_size=3), st.integers(0, 40))
def test_a_log_with_any_bytes_changed_is_read_or_refused_in_one_line(at, put, taken):
    try:
        assert read(PLAIN[:at] + put + PLAIN[at + taken :]).cycle.seconds.size >= 2
    except CycleError as error:
        assert "\n" not in str(error) and len(str(error)) < 600
