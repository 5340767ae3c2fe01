"""How each machine writes its logs, in the settings."""

import pytest

from service.settings import SettingsError, load
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
        ('[readings."L-K7-1"]\nseparator = "x"\n', 'readings."L-K7-1": the mapping'), ("[log]\nx = 1\n", "the parts are service, practice, shelf_life, logs, readings"),
    ],
)  # fmt: skip
def test_a_mapping_in_the_settings_that_cannot_be_used_says_where_it_stands(tmp_path, text, words):
    with pytest.raises(SettingsError) as caught:
        settings(tmp_path, text)
    assert words in str(caught.value)
