"""A mapping that cannot be used says which key, and what it may be."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.steam.cycle import CycleError
from service.steam.logs.log import read
from service.steam.logs.mapping import of_table, of_toml
from tests.service.steam.logs.logger import PLAIN

TIME = '[time]\ncolumn = 1\nform = "seconds"\n'
GOOD = TIME + "[temperature]\ncolumn = 2\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[time", "not TOML"), ("", "names neither a temperature nor a pressure"), ("[temperature]\ncolumn = 2\n", "has no [time]"),
        (TIME, "neither a temperature nor a pressure"), ('colour = "red"\n' + GOOD, "nobody knows 'colour'"), (GOOD + "offset = 1\n", "[temperature] holds something else than column, unit"),
        (GOOD + 'unit = "K"\n', "unit 'K' is not known: choose among °C, °F"), (GOOD + 'unit = "bar"\n', "is not known"), (GOOD + 'unit = "s"\n', "is not known"),
        (GOOD + "[pressure]\ncolumn = 3\n", "[pressure] has no unit"), (GOOD + '[pressure]\ncolumn = 3\nunit = "bar"\n', "must say gauge"),
        (GOOD + '[pressure]\ncolumn = 3\nunit = "barg"\ngauge = true\n', "'barg' is not known"), (GOOD.replace('"seconds"', '"hours"'), "time.form is 'hours'"),
        (GOOD.replace("= 1", "= 0"), "time.column is 0"), (GOOD.replace("= 2", "= true"), "temperature.column is True"),
        (GOOD.replace("column = 1\n", 'column = 1\ndate = "month"\n'), "time.date is 'month'"), ('separator = "|"\n' + GOOD, "separator is '|'"),
        ('decimal = "x"\n' + GOOD, "decimal is 'x'"), ('encoding = "ebcdic"\n' + GOOD, "encoding is 'ebcdic'"), ('altitude_m = "high"\n' + GOOD, "altitude_m is 'high'"),
        ("newest_first = 1\n" + GOOD, "newest_first is 1"), ('tz = "Atlantis"\n' + GOOD, "'Atlantis' is not a time zone"),
        ('[lines]\npattern = "("\n' + GOOD, "no regular expression"), ('[lines]\npattern = "x"\n' + GOOD, "has no group (?P<temperature>"),
        ("[lines]\n" + GOOD, "[lines] has no pattern"), (GOOD + '[counter]\npattern = "No"\n', "has no group"), (GOOD + '[start]\npattern = "x"\n', "needs the groups"),
    ],
)  # fmt: skip
def test_a_mapping_that_cannot_be_used_says_which_key(text, words):
    with pytest.raises(CycleError) as caught:
        of_toml(text)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (GOOD.replace("column = 2", 'column = "T9"'), "line 1: the column T9 is missing; the columns are 'seconds', 'temperature_c'"),
        (GOOD.replace("column = 2", "column = 9"), "0 readings"), ("altitude_m = 9000\n" + GOOD, "no altitude of a practice"),
        (GOOD.replace('"seconds"', '"clock"'), "the time is '0'"), (GOOD.replace('"seconds"', '"minutes:seconds"'), "minutes:seconds is needed"),
        (GOOD.replace("column = 2", 'column = "temperature_c"\n[second]\ncolumn = 9'), "asks for one beyond them"),
        (TIME + '[pressure]\ncolumn = 2\nunit = "bar"\ngauge = false\n', "kPa absolute cannot be"),
        (GOOD + '[counter]\npattern = "(temperature)"\n', "cycle's number reads 'temperature'"),
        (GOOD + '[start]\npattern = "(?P<date>seconds),(?P<time>temperature)"\n', "the start is 'temperature'"),
    ],
)  # fmt: skip
def test_a_mapping_that_does_not_fit_the_file_says_what_it_missed(text, words):
    with pytest.raises(CycleError) as caught:
        read(PLAIN, of_toml(text))
    assert words in str(caught.value)


KEYS = st.sampled_from(
    ["time", "temperature", "pressure", "lines", "tz", "column", "unit", "gauge", "form", "pattern", "date", "x"]
)
VALUES = (
    st.none()
    | st.booleans()
    | st.integers(-2, 9)
    | st.floats()
    | st.text(max_size=6)
    | st.sampled_from(["seconds", "clock", "°C", "bar", "+01:00"])
)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(
    st.dictionaries(KEYS, VALUES | st.dictionaries(KEYS, VALUES | st.lists(VALUES, max_size=2), max_size=4), max_size=5)
)
def test_whatever_a_mapping_holds_only_a_cycle_error_is_raised(table):
    try:
        read(PLAIN, of_table(table))
    except CycleError as error:
        assert str(error)
