"""Hand scanners: what they type or send goes through the same check as what a camera sees."""

import os
import pty
import threading

from scanner.frames import SourceError, Text, Words
from scanner.sources import texts
from scanner.sources.texts import Lines, serial
from tests.scanner.shown import LOAD, PACK, Heard


def _line_of(source):
    """The texts that come until the source ends, or until two have come."""
    found = []
    for given in source:
        found += [given.text] if isinstance(given, Text) else []
        if len(found) == 2:
            break
    return found


def test_what_a_keyboard_scanner_types_is_checked_like_what_a_camera_sees(tmp_path, service):
    out, into = os.pipe()
    os.write(
        into,
        f"{PACK.code}\r\n{LOAD.code.lower()}\n\nhttps://example.org/\nP-K7-0042-0017-X\n".encode()
        + b"\xff\n"
        + b"K-DONE-3",
    )
    os.close(into)
    heard = Heard(Lines("the keyboard", lambda: out, again=False), service.url, tmp_path / "o.db")
    heard.watch.run()
    assert heard.codes == [PACK.code, LOAD.code]
    assert [found.kind for found in heard.foreign] == ["address", "check", "text", "check"]


def test_a_serial_scanner_is_read_with_and_without_line_ends(monkeypatch):
    ours, theirs = pty.openpty()
    source = serial(f"{os.ttyname(theirs)}@115200")
    assert source._fd is not None
    os.write(ours, b"K-YES-1\r\nK-NO-2")
    assert _line_of(source) == ["K-YES-1", "K-NO-2"]
    source.close()
    for fd in (ours, theirs):
        os.close(fd)


def test_a_serial_scanner_pulled_out_is_opened_again(monkeypatch):
    monkeypatch.setattr(texts, "PAUSES_S", (0.01,))
    pairs = [os.pipe(), os.pipe()]
    for number, (_, into) in enumerate(pairs):
        os.write(into, b"K-%d\n" % number)
        os.close(into)
    ends = [pairs[0][0], None, pairs[1][0]]

    def opened():
        end = ends.pop(0)
        if end is None:
            raise SourceError("not yet")
        return end

    given, source = [], Lines("the scanner at X", opened, again=True)
    for one in source:
        given.append(one)
        if len([text for text in given if isinstance(text, Text)]) == 2:
            source.close()
    told = [one.words for one in given if isinstance(one, Words)]
    assert [one.text for one in given if isinstance(one, Text)] == ["K-0", "K-1"]
    assert told[:2] == [
        "the scanner at X is gone: check the cable. It is opened again as soon as it is there",
        "the scanner at X is back",
    ]


def test_a_line_without_an_end_is_cut_and_named(tmp_path, service):
    out, into = os.pipe()
    writer = threading.Thread(target=lambda: (os.write(into, b"A" * 20_000), os.close(into)))
    writer.start()
    heard = Heard(Lines("the keyboard", lambda: out, again=False), service.url, tmp_path / "o.db")
    heard.watch.run()
    writer.join()
    assert {found.kind for found in heard.foreign} == {"long"}
    assert service.came == []
