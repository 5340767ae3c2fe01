"""How each machine writes its logs, and what its cycles are judged by, in the settings."""

import pytest

from service.settings import SettingsError, load
from service.stations.limits import limits_of, programmes_here
from service.steam.logs.mapping import of_json, of_toml

MAPPING = 'separator = ";"\n[time]\ncolumn = 1\nform = "clock"\n[temperature]\ncolumn = 2\n'


def settings(folder, text):
    (folder / "settings.toml").write_text(text, "utf-8")
    return load(folder / "settings.toml", {})


def test_a_machines_mapping_stands_in_the_settings_or_in_a_file_beside_them(tmp_path):
    (tmp_path / "one.toml").write_text(MAPPING, "utf-8")
    inline = '[logs."L-K7-2"]\nseparator = ";"\ntime = {column = 1, form = "clock"}\ntemperature = {column = 2}\n'
    found = settings(tmp_path, '[logs."L-K7-1"]\nfile = "one.toml"\n' + inline).practice
    assert of_json(found.logs["L-K7-1"]) == of_json(found.logs["L-K7-2"]) == of_toml(MAPPING)
    assert found.readings == {}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[logs."L-K7-1"]\nfile = "none.toml"\n', "No such file"), ('[logs]\n"L-K7-1" = "one.toml"\n', "a table is needed"),
        ('[readings."L-K7-1"]\nseparator = "x"\n', 'readings."L-K7-1": the mapping'), ("[log]\nx = 1\n", "the parts are service, practice, shelf_life, logs, readings, programmes"),
    ],
)  # fmt: skip
def test_a_mapping_in_the_settings_that_cannot_be_used_says_where_it_stands(tmp_path, text, words):
    with pytest.raises(SettingsError) as caught:
        settings(tmp_path, text)
    assert words in str(caught.value)


OWN = '[programmes."133/5 ours"]\nset_c = 133\nhold_s = 300\nremoval = "active"\nholds = ["wrapped"]\nsource = "report 12"\n'


def test_a_site_names_its_own_programmes_and_the_band_it_judges_by(tmp_path):
    practice = settings(tmp_path, '[practice]\nband = "small"\n' + OWN).practice
    assert "133/5 ours" in [one.name for one in programmes_here(practice)]
    found = limits_of(practice, "133/5 ours", practice.band)
    assert (found.set_c, found.hold_s, found.highest_c, found.source) == (133, 300, 137, "report 12")
    assert limits_of(practice, "134/3", "").highest_c == 137
    assert limits_of(practice, "134/3", "small").highest_c == 138


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[practice]\nband = "wide"\n', "practice.band is 'wide': choose among large, small, measured"),
        (OWN.replace("133\n", "13\n"), 'programmes."133/5 ours": set_c is 13'),
        (OWN + 'colour = "red"\n', "nobody knows colour"),
        ('[programmes]\n"133/5" = 3\n', 'programmes."133/5" is 3, and a table is needed'),
    ],
)
def test_a_programme_or_a_band_that_cannot_be_is_refused_by_its_place(tmp_path, text, words):
    with pytest.raises(SettingsError) as caught:
        settings(tmp_path, text)
    assert words in str(caught.value)
