"""IPP messages: as RFC 8010 lays them out, there and back, and no bytes that upset the reader."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from label_templates.printer import messages
from label_templates.printer.messages import (
    BOOLEAN,
    COLLECTION,
    ENUM,
    INTEGER,
    JOB,
    KEYWORD,
    NAME,
    OPERATION,
    RANGE,
    RESOLUTION,
    URI,
    MessageError,
    Tagged,
    decode,
    encode,
)


def test_a_print_job_request_is_laid_out_as_in_rfc_8010_appendix_a_1():
    """Its fields in order: tag, length and name, length and value. Octets from the RFC's rules, 3.1.4."""
    groups = [
        (OPERATION, {"attributes-charset": Tagged(messages.CHARSET, "utf-8"),
                     "attributes-natural-language": Tagged(messages.LANGUAGE, "en-us"),
                     "printer-uri": Tagged(URI, "ipp://printer.example.com/ipp/print/pinetree"),
                     "job-name": Tagged(NAME, "foobar"), "ipp-attribute-fidelity": Tagged(BOOLEAN, True)}),
        (JOB, {"copies": Tagged(INTEGER, 20), "sides": Tagged(KEYWORD, "two-sided-long-edge")}),
    ]  # fmt: skip
    assert encode(0x0002, 1, groups) == b"".join([
        b"\x01\x01\x00\x02\x00\x00\x00\x01\x01",
        b"\x47\x00\x12attributes-charset\x00\x05utf-8",
        b"\x48\x00\x1battributes-natural-language\x00\x05en-us",
        b"\x45\x00\x0bprinter-uri\x00\x2cipp://printer.example.com/ipp/print/pinetree",
        b"\x42\x00\x08job-name\x00\x06foobar",
        b"\x22\x00\x16ipp-attribute-fidelity\x00\x01\x01\x02",
        b"\x21\x00\x06copies\x00\x04\x00\x00\x00\x14",
        b"\x44\x00\x05sides\x00\x13two-sided-long-edge\x03",
    ])  # fmt: skip


def test_a_collection_is_laid_out_as_in_rfc_8010_3_1_6():
    size = Tagged(COLLECTION, {"x-dimension": Tagged(INTEGER, 6200)})
    assert encode(0, 1, [(JOB, {"media-size": size})])[9:] == b"".join([
        b"\x34\x00\x0amedia-size\x00\x00",
        b"\x4a\x00\x00\x00\x0bx-dimension", b"\x21\x00\x00\x00\x04\x00\x00\x18\x38",
        b"\x37\x00\x00\x00\x00\x03",
    ])  # fmt: skip


def test_what_is_written_is_read_back_with_what_follows_it():
    said = {
        "one": Tagged(INTEGER, -3), "many": Tagged(KEYWORD, ["a", "b"]), "on": Tagged(BOOLEAN, False),
        "state": Tagged(ENUM, 9), "dots": Tagged(RESOLUTION, (203, 300)), "span": Tagged(RANGE, (1, 99)),
        "sizes": Tagged(COLLECTION, [{"size": Tagged(COLLECTION, {"x": Tagged(INTEGER, [1, 2])})}, {}]),
        "name": Tagged(NAME, "Größe, 名前"),
    }  # fmt: skip
    answer, rest = decode(
        encode(0x0507, 7, [(OPERATION, {}), (JOB, said), (JOB, {"one": Tagged(INTEGER, 4)})]) + b"the document"
    )
    assert rest == b"the document" and answer.code == 0x0507
    first, second = answer.group(JOB)
    assert first == {
        "one": [-3], "many": ["a", "b"], "on": [False], "state": [9], "dots": [(203, 300)], "span": [(1, 99)],
        "sizes": [{"size": [{"x": [1, 2]}]}, {}], "name": ["Größe, 名前"],
    }  # fmt: skip
    assert second == {"one": [4]}


def test_a_resolution_in_dots_a_centimetre_is_read_as_dots_an_inch():
    piece = b"\x32\x00\x01r\x00\x09" + (80).to_bytes(4, "big") * 2 + b"\x04"
    assert decode(bytes(8) + b"\x02" + piece + b"\x03")[0].group(JOB) == [{"r": [(203, 203)]}]


def test_a_name_with_its_language_is_read_without_it():
    piece = b"\x36\x00\x01n\x00\x08\x00\x02de\x00\x02Ja"
    assert decode(bytes(8) + b"\x02" + piece + b"\x03")[0].group(JOB) == [{"n": ["Ja"]}]


@given(st.binary(max_size=200))
def test_bytes_that_are_no_message_are_refused_and_nothing_else_goes_wrong(data):
    try:
        answer, rest = decode(b"\x01\x01\x00\x00\x00\x00\x00\x01" + data)
    except MessageError:
        return
    assert data.endswith(rest) and messages.END in data[: len(data) - len(rest)]
    assert answer.code == 0


@pytest.mark.parametrize("cut", [0, 5, 8, 12, 30, -1])
def test_a_message_cut_off_is_refused(cut):
    whole = encode(0, 1, [(JOB, {"sizes": Tagged(COLLECTION, {"x": Tagged(INTEGER, 1)})})])
    with pytest.raises(MessageError, match="no IPP message"):
        decode(whole[:cut])


def test_collections_within_each_other_without_end_are_refused():
    with pytest.raises(MessageError):
        decode(bytes(8) + b"\x02" + b"\x34\x00\x01c\x00\x00" + b"\x4a\x00\x00\x00\x01c\x34\x00\x00\x00\x00" * 5000)
