"""Made cycles, good and bad in each criterion, through the command; an outside reading of the same files agrees."""

import json

import pytest
from click.testing import CliRunner

from service.cli import foldmark
from service.steam.programme import programme
from tests.published import outside_steam as outside
from tests.service.steam.made_cycles import CYCLES, FIGURES

COARSE = {"134/3, read once in a minute"}
"""Cycles whose readings are too far apart for F0 to be known to half a percent, as its stated error says."""


def test_there_are_enough_of_them_and_each_criterion_alone_fails_one():
    assert len(CYCLES) >= 24
    assert len({one.name for one in CYCLES}) == len(CYCLES)
    alone = {one.fails[0] for one in CYCLES if len(one.fails) == 1}
    assert alone == {
        "hold", "band", "probes", "equilibration", "saturation", "drying", "readings in the plateau", "air removal",
    }  # fmt: skip


@pytest.mark.parametrize("made", CYCLES, ids=lambda one: one.name)
def test_the_verdict_and_the_figures_of_a_made_cycle(tmp_path, made):
    file = tmp_path / "log.csv"
    file.write_text(made.log())
    done = CliRunner().invoke(foldmark, ["cycle", str(file), "--programme", made.programme, "--json"])
    found = json.loads(done.stdout)
    assert done.exit_code == (0 if made.verdict == "pass" else 1)
    assert (found["verdict"], tuple(one["name"] for one in found["criteria"] if one["ok"] is False)) == (
        made.verdict,
        made.fails,
    )
    held_s, f0_min = FIGURES[made.name]
    assert abs(found["hold_s"] - held_s) <= max(made.step_s, 1)
    limits, rows = programme(made.programme), outside.readings(made.log())
    exact = outside.f0(rows)
    assert exact == pytest.approx(f0_min, abs=1e-3)
    assert abs(found["f0_min"] - exact) <= found["f0_error_min"] + 1e-4
    if made.name not in COARSE:
        assert found["f0_min"] == pytest.approx(exact, rel=0.005)
    if made.second_k is None:
        held, first, last = outside.hold(rows, limits.lowest_c, limits.highest_c)
        assert abs(found["hold_s"] - held) <= max(made.step_s, 1)  # whole seconds, cut off
        if first:
            assert (found["plateau"]["start_s"], found["plateau"]["end_s"]) == (first[0], last[0])
        if made.steam_k is not None and first:
            least, most = outside.apart_from_steam(rows, limits.lowest_c, limits.highest_c)
            told = next(one["value"] for one in found["criteria"] if one["name"] == "saturation")
            assert told == f"{least:+.2f} to {most:+.2f} K".replace("-0.00", "+0.00") or abs(least) < 0.006
    if made.verdict == "pass":
        assert found["hold_s"] >= limits.hold_s
