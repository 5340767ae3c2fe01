"""`foldmark label printers` and `foldmark label queue`, against a printer that is played."""

import json
import socket

import click
import pytest

from label_templates.printer import find
from label_templates.printer.drawing import document
from label_templates.printer.queue import Queue
from service.cli.label.printers import send
from service.cli.printing import LabelPrinter, PrintError
from tests.command import foldmark
from tests.label_templates.printer.one_pack import CODE, PACK, ROLL
from tests.label_templates.printer.played import played as playing
from tests.practice import TarnBridge


@pytest.fixture
def printer():
    with playing() as one:
        yield one


@pytest.fixture
def queue(tmp_path):
    return tmp_path / "labels.db"


def sent(printer, queue, **more):
    said = []
    job = send(
        document([PACK], ROLL),
        ROLL,
        printer.uri,
        "Dental extraction A",
        [CODE],
        queue_file=queue,
        tell=said.append,
        **more,
    )
    return job, said


def test_a_label_is_sent_and_every_step_said_with_the_reminder_to_grade_last(printer, queue):
    job, said = sent(printer, queue)
    assert job.state == "printed" and len(printer.arrived) == 1
    assert said[0] == "job 1, Dental extraction A: sending, 62 × 40 mm as PWG raster black_1"
    assert said[-2] == "job 1, Dental extraction A: printed"
    assert said[-1].startswith("this printer has not printed on roll-62x40 before: grade one printed label")
    assert sent(printer, queue)[1][-1] == "job 2, Dental extraction A: printed"


def test_copies_are_asked_of_the_printer(printer, queue):
    job, _ = sent(printer, queue, copies=3)
    assert job.copies == 3 and printer.templates[-1]["copies"] == [3]


def test_a_printer_that_is_off_leaves_the_label_in_the_queue_and_go_prints_it(printer, queue):
    printer.down()
    job, said = sent(printer, queue)
    assert (
        job.state == "waiting"
        and "does not answer" in said[-1]
        and "The label is kept: foldmark label queue go" in said[-1]
    )
    left = foldmark("label", "queue", "--queue", queue, "go")
    assert left.returncode == 1 and "does not answer" in left.stdout
    listed = foldmark("label", "queue", env={"FOLDMARK_PRINT_QUEUE": str(queue)})
    assert listed.returncode == 0
    assert (
        "1  waiting    Dental extraction A" in listed.stdout and "1 to print: foldmark label queue go" in listed.stdout
    )
    printer.up()
    went = foldmark("label", "queue", "--queue", queue, "go")
    assert went.returncode == 0 and "job 1, Dental extraction A: printed" in went.stdout
    assert len(printer.arrived) == 1
    assert foldmark("label", "queue", "--queue", queue, "go").stdout == "Nothing waits.\n"


def test_the_queue_as_json_names_codes_state_words_and_stock(printer, queue):
    sent(printer, queue)
    (row,) = json.loads(foldmark("label", "queue", "--queue", queue, "--json").stdout)
    assert row | {"added_at": "", "changed_at": ""} == {
        "id": 1, "state": "printed", "words": "", "title": "Dental extraction A", "codes": [CODE], "copies": 1, "copy_of": None,
        "printer": printer.uri, "stock": "roll-62x40", "added_at": "", "changed_at": "",
    }  # fmt: skip


def test_a_job_given_up_is_printed_again_as_a_copy(printer, queue):
    printer.ends = (8, ["aborted-by-system"])
    job, _ = sent(printer, queue)
    assert job.state == "failed"
    printer.ends = (9, ["job-completed-successfully"])
    again = foldmark("label", "queue", "--queue", queue, "again", "1")
    assert again.returncode == 0 and "job 2, Dental extraction A: printed" in again.stdout
    assert "2  printed    Dental extraction A, copy of job 1" in foldmark("label", "queue", "--queue", queue).stdout
    assert len(printer.arrived) == 2 and printer.arrived[0] != printer.arrived[1]


def test_a_copy_that_has_to_be_printed_again_is_still_marked(printer, queue):
    sent(printer, queue)
    for number in (1, 2):
        assert foldmark("label", "queue", "--queue", queue, "again", str(number)).returncode == 0
    first, second, third = printer.arrived
    assert first != second and second == third


def test_labels_of_jobs_long_ended_are_let_go_and_the_others_are_not(printer, queue, monkeypatch):
    monkeypatch.setattr("label_templates.printer.queue.KEPT", 1)
    for _ in range(3):
        sent(printer, queue)
    done = foldmark("label", "queue", "--queue", queue, "again", "2")
    assert done.returncode == 2 and done.stderr == "Error: the labels of job 2 are no longer kept: print them anew\n"
    assert foldmark("label", "queue", "--queue", queue, "again", "3").returncode == 0
    with Queue(queue) as kept:
        assert [(job.id, job.state) for job in kept.jobs()] == [
            (1, "printed"),
            (2, "printed"),
            (3, "printed"),
            (4, "printed"),
        ]


def test_a_waiting_job_is_cancelled_and_an_ended_one_is_not(printer, queue):
    printer.down()
    sent(printer, queue)
    assert (
        "cancelled before it was sent: nothing was printed"
        in foldmark("label", "queue", "--queue", queue, "cancel", "1").stdout
    )
    twice = foldmark("label", "queue", "--queue", queue, "cancel", "1")
    assert (twice.returncode, twice.stderr) == (2, "Error: job 1 has ended (cancelled): there is nothing to cancel\n")


@pytest.mark.parametrize("word", ["again", "cancel"])
def test_a_job_that_is_not_there_is_said_so_in_one_line(printer, queue, word):
    sent(printer, queue)
    done = foldmark("label", "queue", "--queue", queue, word, "7")
    assert (
        done.returncode == 2
        and done.stderr == f"Error: no job 7 is in the print queue {queue}: foldmark label queue lists them\n"
    )


def test_an_open_job_is_not_printed_again_beside_itself(printer, queue):
    printer.down()
    sent(printer, queue)
    done = foldmark("label", "queue", "--queue", queue, "again", "1")
    assert done.returncode == 2 and "job 1 has not ended (waiting): foldmark label queue go" in done.stderr


def test_a_queue_that_is_not_there_or_none_is_said_so_in_one_line(tmp_path):
    done = foldmark("label", "queue", "--queue", tmp_path / "none.db")
    assert (
        done.returncode == 2
        and done.stderr.startswith("Error: there is no print queue")
        and done.stderr.count("\n") == 1
    )
    (tmp_path / "text.db").write_text("this is no database, whatever its name says " * 50)
    done = foldmark("label", "queue", "--queue", tmp_path / "text.db")
    assert done.returncode == 2 and "file is not a database" in done.stderr and done.stderr.count("\n") == 1


def test_what_is_no_printer_s_address_keeps_nothing(queue):
    with pytest.raises(click.ClickException, match="is no printer's address") as error:
        send(document([PACK], ROLL), ROLL, "http://labels", "Dental", [CODE], queue_file=queue, tell=print)
    assert error.value.exit_code == 2
    with Queue(queue) as kept:
        assert kept.jobs() == []


def test_other_stock_is_told_kept_and_overruled(printer, queue):
    printer.size = (10000, 5000)
    job, said = sent(printer, queue)
    assert job.state == "stopped" and "wrong stock: the printer holds 100 × 50 mm" in said[-1]
    went = foldmark("label", "queue", "--queue", queue, "go", "--any-stock")
    assert went.returncode == 0 and len(printer.arrived) == 1


@pytest.fixture
def quiet_network(monkeypatch):
    """No printer but those a test names: neither this network's nor this computer's."""
    monkeypatch.setattr(find, "on_network", lambda seconds: [])
    monkeypatch.setattr(find, "in_cups", list)


def test_printers_are_listed_with_state_stock_formats_and_resolution(printer, queue, quiet_network):
    printer.reasons = ["media-low"]
    done = foldmark("label", "printers", "--uri", printer.uri, "--queue", queue)
    assert (
        done.stdout.splitlines()[1].strip() == "ready; stock is running out · holds 62 × 40 mm · PWG raster · 203 dpi"
    )
    (row,) = json.loads(foldmark("label", "printers", "--uri", printer.uri, "--json").stdout)["printers"]
    assert row == {"name": printer.uri, "uri": printer.uri, "where": "named", "state": "ready; stock is running out",
                   "loaded": ["62 × 40 mm"], "formats": ["image/pwg-raster"], "dpi": [203]}  # fmt: skip


def test_a_printer_that_does_not_answer_is_listed_as_such(quiet_network):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        done = foldmark("label", "printers", "--uri", f"ipp://127.0.0.1:{taken.getsockname()[1]}/ipp/print")
    assert done.returncode == 0 and "does not answer: see that it is on" in done.stdout


def test_no_printer_at_all_is_said_with_what_to_do(quiet_network):
    assert "No printer answered: turn it on, or name one" in foldmark("label", "printers").stdout


def test_a_printer_s_new_certificate_is_believed_from_now_on_when_told_so(queue, quiet_network):
    uri = "ipps://127.0.0.1:1/ipp/print"
    with Queue(queue) as kept:
        kept.note_certificate(uri, "an old one")
        assert foldmark("label", "printers", "--trust", uri, "--queue", queue).returncode == 0
        assert kept.certificate(uri) is None


def test_any_label_command_prints_straight_on_a_printer_at_its_resolution(printer, queue):
    printed = foldmark("label", "cards", "--printer", printer.uri, "--queue", queue)
    assert printed.returncode == 0, printed.stderr
    assert "printed: 26 labels on roll-62x40, every symbol read back." in printed.stdout
    assert len(printer.arrived) == 1
    twice = foldmark("label", "cards", "--printer", printer.uri, "--queue", queue, "-o", "x.pdf")
    assert twice.returncode == 2 and "leave out -o or --printer" in twice.stderr


def test_the_service_prints_a_packs_label_and_what_its_printer_could_not_print_comes_with_the_next(
    tmp_path, printer, queue
):
    bridge = TarnBridge(tmp_path)
    pack, _ = bridge.ready()
    with bridge.desk.ledger.reading() as reader:
        record = reader.state.pack(pack)
        owner = reader.state.set(record.set)
    labels = LabelPrinter(printer.uri, queue, ROLL, bridge.desk.practice.zone)
    labels.pack(owner, record)
    assert len(printer.arrived) == 1
    printer.down()
    with pytest.raises(PrintError, match=r"waiting, .*does not answer"):
        labels.pack(owner, record, 2)
    printer.up()
    labels.pack(owner, record, 3)
    assert len(printer.arrived) == 3
    assert [job.state for job in Queue(queue).jobs()] == ["printed"] * 3
