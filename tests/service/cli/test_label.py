"""`foldmark label`: codes from the ledger, issued before they are drawn; copies marked; tables whole or not at all."""

import errno
import json
import re

import pypdfium2
import pytest

from label_templates import codes, proof, sheet, whole
from tests.command import foldmark
from tests.practice import SITE, TarnBridge, patient, steam_load


@pytest.fixture
def there(tmp_path):
    """A folder with a ledger of a practice with one set, packed and waiting for its label."""
    bridge = TarnBridge(tmp_path)
    one = bridge.new_set("Dental extraction A")
    bridge.wash([one])
    bridge.scan("packing-1", "B-K7-003-J")
    bridge.scans("packing-1", one, "YES", "=16", "=24-117", "DONE")
    bridge.close()
    return tmp_path


def label(there, *words, ok=0):
    done = foldmark("--ledger", there / "practice.db", "label", *words, cwd=there)
    assert done.returncode == ok, (words, done.stdout, done.stderr)
    return done


def printed(there, *words):
    """What a command says it printed: (code, copy), each."""
    told = json.loads(label(there, *words, "-o", "l.pdf", "--json").stdout)
    return list(zip(told["labels"], told["copies"], strict=True))


def facts(there, kind):
    lines = foldmark("--ledger", there / "practice.db", "export").stdout.splitlines()
    return [fact for line in lines if (fact := json.loads(line))["kind"] == kind]


def read_back(path):
    pages = pypdfium2.PdfDocument(str(path))
    return {text for page in pages for text in proof.read(page.render(scale=4).to_pil())}


def numbered(mint, first, count, copy=1):
    return [(mint(SITE, number).text, copy) for number in range(first, first + count)]


@pytest.mark.parametrize(("words", "mint", "first"), [
    (["patients"], codes.patient_code, 1), (["badges"], codes.badge_code, 6), (["shelves"], codes.shelf_code, 1),
    (["instruments"], codes.instrument_code, 1), (["loads", "--machine", "L-K7-1"], lambda _, n: codes.load_code("L-K7-1", n), 1),
    (["loads", "--machine", "W-K7-1"], lambda _, n: codes.load_code("W-K7-1", n), 2),
])  # fmt: skip
def test_new_labels_count_on_and_read_back(there, words, mint, first):
    assert printed(there, *words, "--count", "3") == numbered(mint, first, 3)
    assert read_back(there / "l.pdf") == {code for code, _ in numbered(mint, first, 3)}
    assert printed(there, *words, "--count", "2") == numbered(mint, first + 3, 2)
    assert [(fact["data"]["first"], fact["data"]["count"]) for fact in facts(there, "codes_issued")] == [
        (first, 3),
        (first + 3, 2),
    ]


def test_codes_named_are_printed_again_as_copies_one_by_one_or_in_a_row(there):
    printed(there, "patients", "--count", "4")
    assert printed(there, "patients", patient(2)) == [(patient(2), 2)]
    row = [(patient(1), 2), (patient(2), 3), (patient(3), 2), (patient(4), 2)]
    assert printed(there, "patients", "--again", f"{patient(1)}..{patient(4)}") == row
    assert [(fact["data"]["code"], fact["data"]["copy"]) for fact in facts(there, "label_printed")] == [
        (patient(2), 2),
        *row,
    ]
    assert len(facts(there, "codes_issued")) == 1


def test_more_of_each_are_marked_as_copies_and_put_down(there):
    assert printed(there, "shelves", "--count", "2", "--copies", "3") == numbered(codes.shelf_code, 1, 2) + [
        (code, copy) for code, _ in numbered(codes.shelf_code, 1, 2) for copy in (2, 3)]  # fmt: skip
    assert len(facts(there, "label_printed")) == 4


def test_packs_and_sets_never_printed_are_printed_and_a_second_time_only_by_name(there):
    pack, tag = codes.pack_code("S-K7-0001-H", 1).text, "S-K7-0001-H"
    assert (printed(there, "packs"), printed(there, "sets")) == ([(pack, 1)], [(tag, 1)])
    assert "nothing to print" in label(there, "packs", "-o", "l.pdf", ok=2).stderr
    assert "nothing to print" in label(there, "sets", "-o", "l.pdf", ok=2).stderr
    assert (printed(there, "packs", pack), printed(there, "sets", tag, "--from-ledger")) == ([(pack, 2)], [(tag, 2)])
    words = pypdfium2.PdfDocument(str(there / "l.pdf"))[0].get_textpage().get_text_range()
    assert "Dental extraction A" in " ".join(words.split())


@pytest.mark.parametrize(("words", "told"), [
    (["patients", "A-K7-000009-5"], "check character"), (["patients", patient(9)], "never issued"), (["sets", "S-K7-0042-*"], "no set is registered"),
    (["loads", steam_load(9)], "never issued"), (["packs", "P-K7-0042-0017-R"], "no pack was packed"),
    (["patients", steam_load(1)], "a patient code is needed"), (["patients", "--again"], "name them"), (["loads"], "--machine L-K7-1"),
    (["loads", "--machine", "kettle"], "is not a machine"), (["loads", "--machine", "L-QX-1"], "another site"),
    (["patients", f"{patient(1)}..{steam_load(1)}"], "a patient code is needed"), (["patients", f"{patient(1)}..{patient(5000)}"], "a row of 5000 codes"),
    (["patients", f"{patient(3)}..{patient(2)}"], "a row of 0 codes"), (["sets", "S-K7-0001-H..S-K7-0002-F"], "one by one"),
    (["badges", "--count", "995"], "not enough numbers left"), (["patients", "--count", "0"], "Invalid value"),
    (["patients", "--stock", "stone"], "no stock is named"), (["patients", "--start", "25"], "--start 25"),
    (["patients", "-o", "x.doc"], "neither .pdf nor .png"), (["patients", "-o", "x.png"], "a PNG holds one label"),
    (["patients", "--printer", "ipp://127.0.0.1:9/ipp"], "leave out -o or --printer"), (["void", patient(1), "--why", "lost"], "never issued"),
    (["void", "S-K7-0001-H", "--why", "lost"], "is in use"), (["void", patient(1)], "Missing option '--why'"),
])  # fmt: skip
def test_wrong_use_is_one_line_and_issues_and_prints_nothing(there, words, told):
    more = [] if "-o" in words or words[0] == "void" else ["-o", "x.pdf"]
    done = label(there, *words, *more, ok=2)
    assert told in done.stderr
    assert not list(there.glob("x.*"))
    assert not facts(there, "codes_issued") + facts(there, "label_printed") + facts(there, "code_voided")


@pytest.mark.parametrize(("name", "mark", "told"), [("Odd", {"colour": "red", "pattern": "zigzag"}, "no pattern is named 'zigzag'"),
                                                    ("手術", None, "手")])  # fmt: skip
def test_a_tag_that_cannot_be_drawn_is_not_put_down_as_printed(there, name, mark, told):
    bridge = TarnBridge(there)
    one = bridge.new_set(name, mark=mark)
    bridge.close()
    assert told in label(there, "sets", one, "-o", "x.pdf", ok=2).stderr
    assert not facts(there, "label_printed")


def test_a_voided_card_is_not_printed_again(there):
    printed(there, "patients", "--count", "2")
    assert label(there, "void", patient(1), "--why", "lost").stdout.startswith(f"{patient(1)} is void: ")
    told = json.loads(label(there, "void", patient(2), "--why", "torn", "--json").stdout)
    assert told == {"voided": patient(2), "why": "torn"}
    done = label(there, "patients", patient(1), "-o", "x.pdf", ok=2)
    assert "This code was voided." in done.stderr and "lost" in done.stderr
    assert [fact["data"] for fact in facts(there, "code_voided")] == [
        {"code": patient(1), "why": "lost"}, {"code": patient(2), "why": "torn"}]  # fmt: skip


def test_a_disk_full_while_drawing_says_what_was_issued_and_how_to_print_it(there, monkeypatch):
    def full(_path, _data):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(sheet, "write_whole", full)
    done = label(there, "patients", "--count", "3", "-o", "x.pdf", ok=2)
    row = f"{patient(1)}..{patient(3)}"
    assert "No space left on device" in done.stderr
    assert done.stderr.strip().endswith(
        f"{row} is in the ledger all the same: print it with  foldmark label patients --again {row}"
    )
    assert (done.stdout, list(there.glob("x*"))) == ("", [])
    monkeypatch.setattr(sheet, "write_whole", whole.write_whole)
    words = re.search(r"foldmark label (.*)$", done.stderr.strip())[1].split()
    assert printed(there, *words) == [(patient(number), 2) for number in (1, 2, 3)]


def test_bench_cards_need_no_ledger(tmp_path):
    assert foldmark("label", "cards", "-o", "cards.pdf", cwd=tmp_path).returncode == 0
    assert len(read_back(tmp_path / "cards.pdf")) == 26


# A table of sets

HEAD = "name,kind,implant,mark,code,group,line,count\n"
GOOD = HEAD + (
    'Plates 2.0,set,yes,"blue, two bars",,Plates,Plate 2.0,4\n,,,,,Gauze,Gauze swabs,10\nSpare hook,single,no,,,Hooks,Hook,1\n'
)


def table(there, body):
    (there / "sets.csv").write_bytes(body if isinstance(body, bytes) else body.encode())
    return ["sets", "--csv", "sets.csv"]


@pytest.mark.parametrize("body", [GOOD, GOOD.replace("\n", "\r\n"), "\ufeff" + GOOD, re.sub(r",(?! two)", ";", GOOD)])
def test_a_table_registers_its_sets_and_prints_their_tags(there, body):
    assert printed(there, *table(there, body)) == [("S-K7-0002-F", 1), ("S-K7-0003-D", 1)]
    first, second = (fact["data"] for fact in facts(there, "set_registered")[1:])
    assert (first["name"], first["implant"], first["mark"]) == (
        "Plates 2.0",
        True,
        {"colour": "blue", "pattern": "two bars"},
    )
    assert first["sheet"][1] == {"group": "Gauze", "line": "Gauze swabs", "count": 10}
    assert (second["kind"], second["mark"], second["wrap"], len(second["sheet"])) == ("single", None, "double", 1)
    assert read_back(there / "l.pdf") == {"S-K7-0002-F", "S-K7-0003-D"}


def test_a_table_with_codes_prints_those_tags_again_beside_the_new_ones(there):
    printed(there, "sets")
    body = HEAD + "Dental extraction A,,,,S-K7-0001-H,,,\nSpare hook,,,,,Hooks,Hook,1\n"
    assert printed(there, *table(there, body)) == [("S-K7-0001-H", 2), ("S-K7-0002-F", 1)]
    assert len(facts(there, "set_registered")) == 2


NAMED = "Spare hook,,,,,Hooks,Hook,1\n"


@pytest.mark.parametrize(("body", "told"), [
    (HEAD + NAMED + NAMED, "line 3, column name: Spare hook stands in line 2 already"),
    (HEAD + 2 * "Dental extraction A,,,,S-K7-0001-H,,,\n", "line 3, column name: Dental extraction A stands in line 2"),
    (HEAD + "A,,,,S-K7-0001-H,,,\nB,,,,S-K7-0001-H,,,\n", "line 3, column code: S-K7-0001-H stands in line 2 already"),
    (HEAD + "Dental extraction A,,,,,Hooks,Hook,1\n", "line 2, column name: Dental extraction A is registered already, as S-K7-0001-H"),
    (HEAD + "Other,,,,S-K7-0001-H,,,\n", "line 2, column code: S-K7-0001-H is not Other: it is Dental extraction A here"),
    (HEAD + "Other,,,,S-K7-0042-*,,,\n", "line 2, column code: S-K7-0042-* is not Other: no set is registered"),
    (HEAD + "Other,,,,S-K7-0042-0,,,\n", "line 2, column code: the check character"),
    (HEAD + "Other,,,,P-K7-0042-0017-R,,,\n", "line 2, column code: P-K7-0042-0017-R is a pack code"),
    (HEAD + NAMED + "\n" + "B,,,,,G,L,1\n", "line 3 is empty"), (HEAD + NAMED + ",,,,,,,\n", "line 3 is empty"),
    (HEAD + "x" * 500 + ",,,,,G,L,1\n", "line 2, column name: String should have at most 100 characters"),
    (HEAD + NAMED + "=HYPERLINK(1),,,,,G,L,1\n", "line 3, column name: it begins with '=', as a formula does"),
    (HEAD + "A,,,,,+1,L,1\n", "line 2, column group: it begins with '+'"), (HEAD + "A,,,,,G,@L,1\n", "line 2, column line: it begins with '@'"),
    (HEAD + "A,,,,,G,L,-1\n", "line 2, column count: it begins with '-'"), (HEAD + "A,,,,,G,L,two\n", "line 2, column count: 'two' is not a whole number"),
    (HEAD + "A,,,,,G,L,0\n", "line 2, column count: Input should be greater"), (HEAD + "A,,,,,G,L,\n", "line 2, column count: it is empty"),
    (HEAD + "A,,,,,G,L,²\n", "line 2, column count: '²' is not a whole number"),
    (HEAD + "A,,,,,G,,1\n", "line 2, column line: it is empty"), (HEAD + "A,,,,,G,L,1\n,,,,,G,L,2\n", "line 3, column line: L is on this count sheet already"),
    (HEAD + ",,,,,G,L,1\n", "line 2, column name: it is empty, and no set begins above it"),
    (HEAD + "A,spoon,,,,G,L,1\n", "line 2, column kind: choose among 'set', 'single', 'split' or 'textile'"),
    (HEAD + "A,,maybe,,,G,L,1\n", "line 2, column implant: 'maybe' is neither yes nor no"),
    (HEAD + 'A,,,"blue, tartan",,G,L,1\n', "line 2, column mark: no pattern is named 'tartan'"),
    (HEAD + "A\u202eB,,,,,G,L,1\n", "line 2, column name: it holds U+202E"), (HEAD + "手術器具,,,,,G,L,1\n", "line 2, column name: "),
    (HEAD + "A,,,,,G,L\n", "line 2 has 7 cells, and the first line names 8 columns"),
    ("name,group,line\nA,G,L\n", "line 1, column count: it is missing"), ("name,colour\nA,blue\n", "line 1, column colour: nobody knows it"),
    ("name,name,group,line,count\n", "line 1, column name: it is there twice"), (HEAD, "has no set in it"), ("", "line 1, column name: it is missing"),
    (HEAD + '"A,,,,,G,L,1\n', "is not CSV"),
    ((HEAD + "A,,,,,G,L,1\nZange für ,,,,,G,L,1\n").encode("latin-1"), "line 3, column name: character 8 of the line is not UTF-8"),
    ((HEAD + "A,,,,,Gläser,L,1\n").encode("latin-1"), "line 2, column group: character 9 of the line is not UTF-8"),
    (GOOD.encode("utf-16"), "line 1, column (first line): character 1 of the line is not UTF-8"),
])  # fmt: skip
def test_a_bad_table_names_line_and_column_and_registers_and_prints_nothing(there, body, told):
    done = label(there, *table(there, body), "-o", "x.pdf", ok=2)
    assert told in done.stderr, done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert len(facts(there, "set_registered")) == 1
    assert not facts(there, "label_printed") and not list(there.glob("x*"))


def test_a_form_for_a_day_without_the_service_bears_codes_of_its_own(there):
    mine = []
    for name in ("one.pdf", "two.pdf"):
        label(there, "outage", "-o", name)
        mine.append(read_back(there / name))
    assert [len(codes) for codes in mine] == [16, 16]
    assert {code[0] for code in mine[0] & mine[1]} == {"K"}
    assert sorted(code[0] for code in mine[0] - mine[1]) == [*"AAAALLW"]
