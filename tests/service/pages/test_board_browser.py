"""The board in a real browser: it changes by itself and leaves focus, scroll and filter alone; lost, it says since when."""

import pytest

from tests.practice import NURSE, patient
from tests.service.pages.test_board import BLUE, GREEN


@pytest.fixture
def wall(page):
    """An open board of a practice with one set released and one soiled, once it is live."""
    shown, bridge, end = page
    first, load = bridge.ready("Dental A", mark=BLUE)
    other, _ = bridge.ready("Eye set 1", 2, mark=GREEN)
    bridge.scans("theatre-1", NURSE, patient(812), other, "TURNED")
    shown.goto("/")
    shown.wait_for_selector("#live:text('Live.')")
    return shown, bridge, end, first, load


def test_a_board_draws_itself_anew_when_a_load_is_held(wall):
    shown, bridge, _, _, load = wall
    bridge.act("hold", load=load, why="door not shut")
    shown.wait_for_selector("#needs:has-text('Load 0001 is on hold.')", timeout=60_000)
    assert shown.locator("svg.round .needs").count() == 1
    assert "Held 1" in shown.inner_text("#choices")


def test_what_has_the_focus_keeps_it_and_the_page_stays_where_it_was_scrolled(wall):
    shown, bridge, _, _, load = wall
    shown.set_viewport_size({"width": 800, "height": 400})
    shown.focus("#soiled a")
    shown.evaluate("scrollTo(0, 333)")
    before = shown.evaluate("scrollY")
    shown.evaluate("document.querySelector('#soiled a').dataset.old = 'yes'")
    bridge.wait(30)
    bridge.act("hold", load=load, why="door not shut")
    shown.wait_for_selector("#needs:has-text('is on hold')")
    shown.wait_for_selector("#soiled:has-text('soiled for 3')")
    assert shown.evaluate("document.activeElement.dataset.old") is None, "the part was replaced"
    assert shown.evaluate("document.activeElement.textContent") == "Eye set 1"
    assert shown.evaluate("document.activeElement.closest('section').id") == "soiled"
    assert shown.evaluate("scrollY") == before > 0


def test_a_part_that_did_not_change_is_left_as_it_is(wall):
    shown, bridge, _, _, load = wall
    shown.evaluate("document.getElementById('expiring').dataset.mine = 'yes'")
    bridge.act("hold", load=load, why="door not shut")
    shown.wait_for_selector("#needs:has-text('is on hold')")
    assert shown.get_attribute("#expiring", "data-mine") == "yes"


def test_a_filter_holds_while_the_board_changes(wall):
    shown, bridge, _, _, load = wall
    shown.click("#choices a:has-text('Held')")
    shown.wait_for_selector("#live:text('Live.')")
    assert shown.inner_text("#needs").split() == ["Held", "Nothing", "is", "held."]
    bridge.act("hold", load=load, why="door not shut")
    shown.wait_for_selector("#needs:has-text('Load 0001 is on hold.')")
    assert shown.locator("#soiled").count() == 0
    assert shown.get_attribute("#choices a:has-text('Held')", "aria-current") == "true"
    shown.click("#choices a:text('All')")
    shown.wait_for_selector("#soiled")


def test_a_timer_counts_down_by_the_services_clock(wall):
    shown, bridge, _, _, _ = wall
    left = shown.inner_text("#timers li:has-text('Load 0002') [data-until]")
    assert left.startswith("in ") and left.endswith(" min")
    bridge.wait(2)
    bridge.new_set("Another")
    wanted = f"in {int(left.split()[1]) - 2} min"
    shown.wait_for_selector(f"#timers li:has-text('Load 0002') [data-until]:text('{wanted}')")


def test_a_board_that_hears_nothing_says_since_when_it_is_not_live(wall):
    shown, _, end, _, _ = wall
    end()
    shown.wait_for_selector("#live.bad", timeout=60_000)
    assert shown.inner_text("#live").startswith("Not live since 0")
    assert shown.inner_text("#live").endswith("; this page tries again.")
    assert shown.locator("#needs").count() == 1, "what was known stays there to be read"


def test_a_board_that_could_not_fetch_what_changed_tries_again(wall):
    shown, bridge, _, _, load = wall
    shown.route("**/board*", lambda route: route.abort())
    bridge.act("hold", load=load, why="door not shut")
    shown.wait_for_selector("#live.bad")
    shown.unroute("**/board*")
    bridge.new_set("Another")
    shown.wait_for_selector("#live:text('Live.')")
    assert "Load 0001 is on hold." in shown.inner_text("#needs")
