"""What goes wrong at a printer: what is said, what is kept, and how many labels came out."""

import threading

import pytest

from label_templates.printer.drawing import document
from label_templates.printer.messages import KEYWORD, Tagged
from label_templates.printer.queue import Queue, QueueError
from label_templates.printer.work import cancel
from tests.label_templates.printer.everywhere import until
from tests.label_templates.printer.one_pack import PACK, ROLL
from tests.label_templates.printer.played import NAMES
from tests.label_templates.printer.played import played as playing
from tests.label_templates.printer.reading import pages, preview, read

KEPT = "The label is kept"
AGAIN = "foldmark label queue again 1 prints it marked as a copy"


@pytest.mark.parametrize(
    ("reason", "said"),
    [
        ("media-empty-error", "out of paper: put label stock in"),
        ("media-empty", "out of paper: put label stock in"),
        ("media-needed", "wants other stock than is loaded"),
        ("media-jam-error", "jammed: take the stuck labels out"),
        ("cover-open", "its cover is open: close it"),
        ("door-open-error", "a door is open: close it"),
        ("marker-supply-empty-error", "its ribbon or ink is used up: put in a new one, then grade a printed label"),
        ("toner-empty", "its toner is used up"),
        ("offline", "offline: turn it on and connect it"),
        ("paused", "paused: press its key"),
        ("print-head-lost-error", "reporting print head lost: look at it"),
        ("none", "stopped and gives no reason: look at it"),
    ],
)
def test_what_stops_a_printer_is_told_with_what_to_do_and_it_goes_on_when_that_is_done(played, sender, reason, said):
    played.holds_up, played.reasons = True, [reason]
    job = sender.add(played.uri)

    def mend(line):
        if "stopped" in line:
            played.holds_up, played.reasons = False, ["none"]
            played.jobs[1][1:] = [5, ["job-printing"]]

    def stop():
        until(lambda: played.jobs, "the job")
        until(lambda: played.jobs[1][1] == 5, "the document")
        played.jobs[1][1:] = [6, ["printer-stopped"]]

    stopping = threading.Thread(target=stop)
    stopping.start()
    told = sender.go(played.uri, patience_s=20, on_line=mend)
    stopping.join()
    assert any("stopped" in line and said in line and KEPT in line for line in told.splitlines()), told
    assert sender.state(job) == "printed"
    assert len(played.arrived) == 1


@pytest.mark.parametrize(
    ("reason", "said"), [("media-empty", "out of paper: put label stock in"), ("media-jam", "jammed: take")]
)
def test_a_real_printer_out_of_paper_or_jammed_is_told_of_and_followed_on(everywhere, sender, tmp_path, reason, said):
    gate = tmp_path / "gate"
    printer = everywhere(
        command=f'echo "STATE: +{reason}" >&2; until [ -e {gate} ]; do sleep 0.05; done; echo "STATE: -{reason}" >&2'
    )
    job = sender.add(printer.uri)

    def mend(line):
        if said in line:
            assert sender.queue.document(job).pages
            gate.touch()

    told = sender.go(printer.uri, patience_s=20, on_line=mend)
    assert said in told
    assert sender.state(job) == "printed"
    assert len(printer.arrived) == 1


def test_a_printer_left_stopped_keeps_the_label_and_is_followed_by_the_next_go(played, sender):
    played.holds_up, played.reasons = True, ["media-empty-error"]
    job = sender.add(played.uri)
    said = sender.go(played.uri, patience_s=0.2)
    assert sender.state(job) == "stopped"
    assert "out of paper" in said and "It is left there: foldmark label queue go follows it" in said
    played.holds_up, played.reasons = False, ["none"]
    sender.go(played.uri)
    assert sender.state(job) == "printed" and len(played.arrived) == 1


def test_a_printer_that_is_off_keeps_all_its_labels_waiting_and_gets_each_once_when_it_is_on(everywhere, sender):
    printer = everywhere(command="exit 0")
    printer.kill()
    jobs = [sender.add(printer.uri), sender.add(printer.uri)]
    said = sender.go(printer.uri)
    assert "does not answer: see that it is on" in said and KEPT in said
    assert [sender.state(job) for job in jobs] == ["waiting", "waiting"]
    printer.start()
    sender.go(printer.uri)
    assert [sender.state(job) for job in jobs] == ["printed", "printed"]
    assert len(printer.arrived) == 2


def test_a_printer_killed_after_it_took_the_label_may_have_printed_it_so_nothing_is_sent_again(
    everywhere, sender, tmp_path
):
    printer = everywhere(command=f"until [ -e {tmp_path / 'never'} ]; do sleep 0.05; done")
    job = sender.add(printer.uri)
    killing = threading.Thread(
        target=lambda: (until(lambda: printer.arrived and sender_is_printing(sender), "the document"), printer.kill())
    )
    killing.start()
    said = sender.go(printer.uri, patience_s=1)
    killing.join()
    assert "does not answer" in said and KEPT in said
    assert sender.state(job) == "printing"
    printer.start()
    said = sender.go(printer.uri)
    assert sender.state(job) == "unsure"
    assert "may have been printed" in said and AGAIN in said
    assert sender.go(printer.uri) == "", "an unsure label was taken up again by itself"
    assert len(printer.arrived) == 1


def sender_is_printing(sender):
    with Queue(sender.path) as other:
        return other.jobs()[0].state == "printing"


def test_a_connection_that_breaks_while_sending_asks_and_follows_what_the_printer_has(played, sender):
    played.cut["Send-Document"] = "after"
    job = sender.add(played.uri)
    said = sender.go(played.uri)
    assert "the connection broke: the printer is asked whether it has it" in said
    assert sender.state(job) == "printed" and len(played.arrived) == 1


def test_a_connection_that_breaks_before_the_printer_had_it_all_leaves_the_label_waiting_and_prints_it_once(
    played, sender
):
    played.cut["Send-Document"] = "before"
    job = sender.add(played.uri)
    said = sender.go(played.uri)
    assert "nothing was printed" in said and KEPT in said
    assert sender.state(job) == "waiting" and played.jobs[1][1] == 7, "the empty job was left at the printer"
    sender.go(played.uri)
    assert sender.state(job) == "printed" and len(played.arrived) == 1


@pytest.mark.parametrize(("remembers", "state"), [(True, "printed"), (False, "unsure")])
def test_a_printer_that_goes_off_while_it_is_sent_to_is_asked_when_it_is_back_and_sent_nothing_twice(
    played, sender, remembers, state
):
    job = sender.add(played.uri)
    reached, open_ = played.gate("Send-Document", before=False)

    def go_off():
        reached.wait(20)
        played.cut["Send-Document"] = "after"
        played.down()
        open_.set()

    going_off = threading.Thread(target=go_off)
    going_off.start()
    said = sender.go(played.uri, patience_s=0.3)
    going_off.join()
    assert "the connection broke" in said and "does not answer" in said and KEPT in said
    assert sender.state(job) == "sending"
    if not remembers:
        played.forget()
    played.up()
    sender.go(played.uri)
    assert sender.state(job) == state and len(played.arrived) == 1


@pytest.mark.parametrize("operation", ["Send-Document", "Print-Job"])
def test_a_printer_that_loses_its_memory_while_it_is_sent_to_leaves_an_unsure_label(sender, operation):
    operations = (
        [name for name in NAMES.values() if name != "Create-Job"] if operation == "Print-Job" else NAMES.values()
    )
    with playing(operations=tuple(operations)) as printer:
        job = sender.add(printer.uri)
        reached, open_ = printer.gate(operation, before=False)

        def fail():
            reached.wait(20)
            printer.cut[operation] = "after"
            printer.forget()
            open_.set()

        failing = threading.Thread(target=fail)
        failing.start()
        said = sender.go(printer.uri)
        failing.join()
        assert sender.state(job) == "unsure" and "may have been printed" in said
        assert sender.go(printer.uri) == ""
        assert len(printer.arrived) == 1


def test_an_unsure_label_printed_again_says_that_it_is_a_copy(everywhere, played, sender, tmp_path):
    printer = everywhere(command="exit 0")
    job = sender.add(printer.uri)
    sender.queue.begin(job)
    assert "may have been printed" in sender.go(printer.uri)
    assert printer.arrived == []
    made = sender.queue.again(job.id)
    sender.go(printer.uri)
    assert sender.state(made) == "printed" and sender.state(job) == "unsure"
    (page,) = pages(printer.arrived[0], 203.2)
    marked = document([PACK], ROLL).copy
    assert (page == preview(marked.pages[0])).all()
    assert (page != preview(sender.drawn.pages[0])).any()
    assert read(page) == list(job.codes)


def test_other_stock_in_the_printer_is_told_before_anything_is_sent_and_can_be_overruled(everywhere, sender):
    printer = everywhere(command="exit 0", mm=(100, 50))
    job = sender.add(printer.uri)
    said = sender.go(printer.uri)
    assert "wrong stock: the printer holds 100 × 50 mm, and roll-62x40 is 62 × 40 mm: load it" in said and KEPT in said
    assert sender.state(job) == "stopped" and printer.arrived == []
    sender.go(printer.uri, any_stock=True)
    assert sender.state(job) == "printed" and len(printer.arrived) == 1


def test_a_size_that_the_printer_would_leave_out_is_told_before_anything_is_sent(played, sender):
    played.unsupported = {"media-col": Tagged(KEYWORD, "unsupported")}
    job = sender.add(played.uri)
    assert "does not take 62 × 40 mm" in sender.go(played.uri)
    assert sender.state(job) == "stopped" and played.arrived == []


def test_a_printer_that_takes_a_label_and_then_gives_it_up_keeps_it_to_be_printed_as_a_copy(everywhere, sender):
    printer = everywhere(command="exit 1")
    job = sender.add(printer.uri)
    said = sender.go(printer.uri)
    assert sender.state(job) == "failed"
    assert "given up by the printer" in said and "It may be half printed" in said and AGAIN in said
    assert sender.go(printer.uri) == "", "a label given up was sent again by itself"
    assert len(printer.arrived) == 1
    assert sender.queue.again(job.id).copy_of == job.id


@pytest.mark.parametrize(
    ("ends", "state", "said"),
    [
        ((8, ["document-format-error", "aborted-by-system"]), "failed", "the printer found the document damaged"),
        ((8, ["job-canceled-by-operator"]), "failed", "cancelled by whoever looks after the printer"),
        ((7, ["job-canceled-at-device"]), "cancelled", "cancelled at the printer"),
        ((9, ["job-completed-with-errors"]), "unsure", "the printer says there were errors"),
        ((9, ["job-completed-successfully"]), "printed", "printed"),
    ],
)
def test_how_a_job_ended_is_told_in_words(played, sender, ends, state, said):
    played.ends = ends
    job = sender.add(played.uri)
    assert said in sender.go(played.uri)
    assert sender.state(job) == state and len(played.arrived) == 1


def test_a_job_that_somebody_holds_back_at_the_printer_is_told_of_and_followed_on(played, sender):
    played.holds_up = True
    job = sender.add(played.uri)

    def hold(line):
        if line.endswith("printing"):
            played.jobs[1][1:] = [4, ["job-hold-until-specified"]]
        elif "release it there" in line:
            played.holds_up = False
            played.jobs[1][1:] = [5, ["job-printing"]]

    assert "stopped, somebody holds it back at the printer: release it there" in sender.go(
        played.uri, patience_s=20, on_line=hold
    )
    assert sender.state(job) == "printed" and len(played.arrived) == 1


def test_a_busy_printer_is_waited_for(played, sender):
    played.refused["Create-Job"] = 0x0507
    job = sender.add(played.uri)
    said = sender.go(played.uri)
    assert "is busy with another job" in said
    assert sender.state(job) == "printed" and len(played.arrived) == 1


@pytest.mark.parametrize(
    ("status", "said"), [(0x0506, "takes no jobs now"), (0x0402, "asks for a password"), (0x0999, "status 0x0999")]
)
def test_a_printer_that_refuses_says_why_and_the_label_is_kept(played, sender, status, said):
    played.refused["Create-Job"] = status
    job = sender.add(played.uri)
    told = sender.go(played.uri)
    assert said in told and KEPT in told and sender.state(job) == "stopped" and played.arrived == []
    sender.go(played.uri)
    assert sender.state(job) == "printed" and len(played.arrived) == 1


def test_a_printer_without_create_job_is_printed_to_at_once(sender):
    with playing(operations=("Print-Job", "Validate-Job", "Get-Jobs")) as printer:
        job = sender.add(printer.uri)
        sender.go(printer.uri)
        assert sender.state(job) == "printed" and len(printer.arrived) == 1
        assert "Print-Job" in printer.asked and "Create-Job" not in printer.asked


def test_a_full_disk_keeps_nothing_sends_nothing_and_says_so(played, sender):
    pages = sender.queue._db.execute("PRAGMA page_count").fetchone()[0]
    sender.queue._db.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(QueueError, match=r"cannot be written \(database or disk is full\): make room on the disk"):
        sender.add(played.uri)
    assert sender.queue.jobs() == [] and played.asked == []
    sender.queue._db.execute(f"PRAGMA max_page_count = {pages + 1000}")
    job = sender.add(played.uri)
    sender.go(played.uri)
    assert sender.state(job) == "printed" and len(played.arrived) == 1


def test_a_job_cancelled_before_it_was_sent_is_not_printed(played, sender):
    job = sender.add(played.uri)
    assert "nothing was printed" in cancel(sender.queue, job)
    assert sender.go(played.uri) == "" and sender.state(job) == "cancelled" and played.arrived == []
    assert sender.queue.again(job.id).copy_of is None, "a label that never left is no copy"


def test_a_job_cancelled_while_it_is_about_to_be_sent_is_not_printed_either(played, sender):
    reached, open_ = played.gate("Create-Job", before=False)
    job = sender.add(played.uri)

    def withdraw():
        reached.wait(20)
        with Queue(sender.path) as other:
            cancel(other, job)
        open_.set()

    other = threading.Thread(target=withdraw)
    other.start()
    sender.go(played.uri)
    other.join()
    assert sender.state(job) == "cancelled" and played.arrived == []
    assert played.jobs[1][1] == 7, "the empty job was left at the printer"


def test_a_job_cancelled_at_the_printer_ends_as_cancelled(played, sender):
    played.holds_up = True
    job = sender.add(played.uri)
    sender.go(played.uri, patience_s=0.1)
    assert "the printer was told" in cancel(sender.queue, sender.queue.job(job.id))
    assert "cancelled by somebody at a computer" in sender.go(played.uri)
    assert sender.state(job) == "cancelled"


def test_another_job_under_the_same_number_is_not_taken_for_ours(played, sender):
    played.holds_up = True
    job = sender.add(played.uri)

    def swap():
        until(lambda: 1 in played.jobs and played.jobs[1][1] == 5, "the job")
        played.jobs[1] = ["somebody else's", 9, ["job-completed-successfully"]]

    swapping = threading.Thread(target=swap)
    swapping.start()
    said = sender.go(played.uri)
    swapping.join()
    assert sender.state(job) == "unsure" and "may have been printed" in said


def test_a_printer_is_said_to_want_grading_when_its_stock_is_new_to_it(played, sender):
    sender.add(played.uri)
    sender.go(played.uri)
    (line,) = sender.last
    assert line == (
        "this printer has not printed on roll-62x40 before: grade one printed label, and one after it has been "
        "through the autoclave: foldmark label grade PHOTO"
    )
    sender.add(played.uri)
    sender.go(played.uri)
    assert sender.last == []
    sender.queue.note_stock(played.uri, "a4-24")
    sender.add(played.uri)
    sender.go(played.uri)
    assert len(sender.last) == 1
