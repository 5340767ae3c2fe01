"""Gathers every text that people see: `python -m service.words.gather` brings the catalogues up to date.

Gathered are the paragraphs of refusals and questions; in the rooms that speak to people the strings that read like
words, with a named hole for each value; elsewhere the texts of errors; the texts that templates mark; and the words of
the trade that the rules keep in tables.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import click
from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po
from jinja2 import Environment, nodes

from service.words.catalogue import entries
from service.words.spoken import speak
from service.words.template import HOLE, Template

HEADER = """\
# What people see in this language. `python -m service.words.gather` brings it up to date.
#
# A text in {curly} brackets is a hole: keep every one, in any order. The words on bench cards (DONE, YES, UNDO …) stay
# as they are printed. Nothing may promise more than the English does: never say sterile.
msgid ""
msgstr ""
"Language: %s\\n"
"Content-Type: text/plain; charset=utf-8\\n"

"""
ROOT = Path(__file__).parents[2]
SPEAKING = (
    "service/custody/rules", "service/custody/planning.py", "service/custody/recall.py", "service/stations",
    "service/pages", "service/pages/papers", "service/steam/judge.py", "service/steam/charts.py",
    "service/steam/control.py", "service/steam/control_chart.py",
)  # fmt: skip
"""Rooms whose strings are read by people, wherever they stand."""
SILENT_FILES = (
    "service/pages/instruments.py", "service/stations/writer.py", "service/stations/sealing.py", "service/api/app.py",
    "service/api/bodies.py", "service/api/metrics.py", "service/pages/drawing.py", "service/custody/rules/refusal.py",
)  # fmt: skip
"""Files in those rooms that say nothing to people."""
ERRORS = ("label_templates/codes.py", "service/custody/recall.py", "service/api", "service/access")
"""Files and rooms of which people read answers and errors only. Others' errors meet programs, and stay English."""
TOLD = {"Problem", "document", "ScanError", "CodeError", "ReachError", "Shut", "LockedOut", "WeakPinError"}
ANSWERS = {"headline", "detail", "next"}
TABLES = {
    "label_templates/codes.py": ("_SHAPES",),
    "service/custody/chain.py": ("CIRCLE", "FLAGS", "STEP_WORDS"),
    "service/custody/facts.py": ("REQUIRED",),
    "service/custody/recall.py": ("REACHES",),
    "service/custody/rules/__init__.py": ("ACTS",),
    "service/custody/rules/anywhere.py": ("DAMAGE",),
    "service/custody/rules/loading.py": ("TESTS",),
    "service/custody/rules/office.py": ("MACHINE_KINDS", "SET_KINDS"),
    "service/custody/rules/packing.py": ("WRAPS",),
    "service/custody/rules/indicators.py": ("RESULTS", "PHOTOS_OF"),
    "service/custody/rules/issuing.py": ("KINDS",),
    "service/custody/rules/roles.py": ("ROLES",),
    "service/custody/rules/upkeep.py": ("SERVICES",),
    "service/stations/scan.py": ("KINDS",),
}
"""Where the words of the trade stand: constants, by file."""
SPLIT = ("service/custody/facts.py",)
SCRIPTS = "service/pages/script_words.py"
"""Every value there is said by a page's script."""
ALONE = (
    "for", "against", "unseen", "and", "or", "packs", "sets", "start", "end", "added", "complete", "fault", "aborted",
    "goods", "log", "printout", "readings", "cannot judge", "yes", "no", "new", "washed", "cycle", "judged", "closed",
    "any", "gap", "GO", "ASK", "STOP", "NOT CHECKED", "SHORT", "PALE", "Where every set is", "sets in the round",
    "From wash to patient", "not released", "expired", "tape pale", "step missing", "pack", "day", "days", "started",
    "ended", "not yet seen", "unconfirmed", "override", "control", "grew", "no growth", "typed by", "gauze", "copy",
    "why", "allowed by", "met", "NOT MET", "RELEASED", "REJECTED", "ON HOLD", "NOT RELEASED", "minutes", "probes",
    "equilibration", "drying", "none", "lot", "programme", "EN 285, from memory", "common practice, no source",
    "shelf days", "said", "fact", "facts", "gravity", "active", "above", "below", "baseline",
)  # fmt: skip
"""Words that stand by themselves: in lists, beside values, in drawings."""
_READS = re.compile(r"[A-Za-z].* .*[A-Za-z]|[A-Z][a-z]+|[A-Za-z].*[.?!…]", re.DOTALL)
_NOT_WORDS = re.compile(r"[<=\\]|^[/#.]|^[a-z_]+\.[a-z]+$|^[\w./-]+/[\w./-]*$|^[A-Z ]+$|sans-serif")
_SILENT = {
    "AssertionError", "debug", "info", "warning", "exception", "error", "do", "act", "compile", "getLogger", "get",
    "startswith", "replace", "getattr", "TypeVar", "Post", "cast", "submit",
}  # fmt: skip
"""Calls whose strings nobody reads on a screen."""


def gathered() -> dict[str, str]:
    """Every text with its holes, and the first file it stands in. Texts that differ in their holes' names are one."""
    found: dict[str, str] = {}
    seen: set[tuple[str, ...]] = set()
    for path in _files():
        name = path.relative_to(ROOT).as_posix()
        for text in _texts(ast.parse(path.read_text("utf-8")), name):
            literals = Template.of(text).literals
            if literals not in seen:
                found[text] = name
            seen.add(literals)
    for path in sorted((ROOT / "service/pages/templates").glob("*.html")):
        for text in _shown(path.read_text("utf-8")):
            found.setdefault(text, path.relative_to(ROOT).as_posix())
    return found | dict.fromkeys(ALONE, "service/words/gather.py")


def _shown(source: str) -> list[str]:
    """The texts of a template: what stands between its tags, and the words that its expressions put there."""
    seen: list[str] = []

    def see(text: str) -> str:
        seen.append(text)
        return text

    environment = Environment(autoescape=True)
    environment.filters["drawn"] = str
    speak(environment, see)
    words = [node.value for node in environment.parse(source).find_all(nodes.Const) if isinstance(node.value, str)]
    return [text for text in (*seen, *filter(_reads, words)) if re.search("[A-Za-z]{2}", text) and not _is_code(text)]


def _is_code(text: str) -> bool:
    """Whether a text is an example of something in capitals and digits."""
    return re.fullmatch("[A-Z0-9*-]*[0-9][A-Z0-9*-]*", text) is not None


def _reads(text: str) -> bool:
    return _READS.search(text) is not None and _NOT_WORDS.search(text) is None


def _files() -> list[Path]:
    places = [ROOT / place for place in (*SPEAKING, *ERRORS, *TABLES)]
    files = {file for place in places for file in ([place] if place.suffix else place.glob("*.py"))}
    return sorted(files - {ROOT / name for name in SILENT_FILES})


def _texts(tree: ast.Module, name: str) -> Iterator[str]:
    tables = TABLES.get(name, ())
    for table in tree.body:
        if isinstance(table, ast.Assign | ast.AnnAssign) and {*_targets(table)} & {*tables}:
            yield from _table(table, split=name in SPLIT)
    if name == SCRIPTS:
        values = [value for node in ast.walk(tree) if isinstance(node, ast.Dict) for value in node.values]
        yield from (text for text in map(template, values) if re.search("[A-Za-z]{2}", HOLE.sub("", text)))
        return
    speaks = name.startswith(SPEAKING)
    for node in _heard(tree) if speaks else _told(tree):
        text = template(node)
        own = HOLE.sub("", text)
        if _READS.search(text) and re.search("[A-Za-z]{2}", own) and not _NOT_WORDS.search(own):
            yield text
    if speaks:
        yield from _refusals(tree)


def _table(node: ast.AST, *, split: bool) -> Iterator[str]:
    """The words of a constant; with `split`, a string there holds several, as the keys of a fact do."""
    for part in ast.walk(node):
        if isinstance(part, ast.Constant) and isinstance(part.value, str) and re.match("[a-z]", part.value):
            for word in part.value.split() if split else [part.value]:
                yield word.replace("_", " ")


def _targets(node: ast.Assign | ast.AnnAssign) -> list[str]:
    targets = node.targets if isinstance(node, ast.Assign) else [node.target]
    return [target.id for target in targets if isinstance(target, ast.Name)]


def _refusals(tree: ast.Module) -> Iterator[str]:
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and {ast.unparse(base) for base in node.bases} & {"Refusal", "Question"}:
            for paragraph in re.split(r"\n\s*\n", (ast.get_docstring(node) or "").strip()):
                text = " ".join(paragraph.split())
                if re.search("[A-Za-z]", HOLE.sub("", text)):
                    yield text


def _told(tree: ast.Module) -> Iterator[ast.expr]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _called(node) in TOLD:
            for argument in node.args:
                yield from _heard(argument)
        if isinstance(node, ast.Dict):
            for key, value in zip(node.keys, node.values, strict=True):
                if isinstance(key, ast.Constant) and key.value in ANSWERS and not isinstance(value, ast.Dict):
                    yield from _heard(value)


def _heard(tree: ast.AST) -> Iterator[ast.expr]:
    """The strings below `tree`, but for docstrings, keys, comparisons, types and what is told to nobody."""
    match tree:
        case ast.JoinedStr(values):
            yield tree
            for part in values:
                if isinstance(part, ast.FormattedValue):
                    yield from _heard(part.value)
            return
        case ast.Constant(str()):
            yield tree
            return
        case ast.Compare() | ast.Subscript() | ast.pattern() | ast.Expr(ast.Constant()) | ast.arg():
            return
        case ast.Call() if _called(tree) in _SILENT:
            return
        case ast.Assign() if "__all__" in _targets(tree):
            return
        case ast.FunctionDef() | ast.AsyncFunctionDef():
            below: list[ast.AST] = [*tree.body, *tree.args.defaults]
        case ast.AnnAssign():
            below = [tree.value] if tree.value else []
        case ast.Dict():
            below = list(tree.values)
        case _:
            below = list(ast.iter_child_nodes(tree))
    for child in below:
        yield from _heard(child)


def _called(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else ast.unparse(call.func)


def template(node: ast.expr) -> str:
    """The text of a string, with `{name}` where an f-string puts a value in; stripped of blanks at its ends."""
    if isinstance(node, ast.Constant):
        return str(node.value).strip()
    parts, names = [], []
    for part in node.values if isinstance(node, ast.JoinedStr) else ():
        if isinstance(part, ast.FormattedValue):
            names.append(_hole(part.value))
            count = names.count(names[-1])
            parts.append(f"{{{names[-1]}{count if count > 1 else ''}}}")
        elif isinstance(part, ast.Constant):
            parts.append(str(part.value))
    return "".join(parts).strip()


def _hole(value: ast.expr) -> str:
    """What to call the value that an f-string puts in."""
    match value:
        case ast.Name(name) | ast.Attribute(attr=name):
            return name.strip("_").lower()
        case ast.Call(func=ast.Name("len" | "int" | "str" | "number_of" | "sum" | "min"), args=[inner, *_]):
            return _hole(inner)
        case ast.Call(func=ast.Attribute(attr="join"), args=[inner]):
            return _hole(inner)
        case ast.Call(func=ast.Attribute(value=inner, attr="lower" | "replace" | "capitalize" | "upper" | "split")):
            return _hole(inner)
        case (
            ast.Subscript(inner) | ast.Starred(inner) | ast.Call(func=inner) | ast.IfExp(body=inner)
            | ast.BinOp(left=inner) | ast.GeneratorExp(elt=inner) | ast.ListComp(elt=inner)
        ):  # fmt: skip
            return _hole(inner)
        case _:
            return "it"


def _renamed(text: str, known: dict[str, str]) -> str:
    """The translation of a text of which only the names of holes changed."""
    template = Template.of(text)
    for old, said in known.items():
        before = Template.of(old)
        if before.literals == template.literals:
            return Template.of(said).fill(
                {was: f"{{{now}}}" for was, now in zip(before.holes, template.holes, strict=True)}
            )
    return ""


def main() -> None:
    """Bring every catalogue up to date: new texts come in empty, texts that are gone go."""
    texts = gathered()
    for file in sorted(Path(__file__).parent.glob("*.po")):
        code = file.stem
        known = entries(code)
        catalogue = Catalog(code.replace("-", "_"))
        for text, name in texts.items():
            catalogue.add(text, known.get(text) or _renamed(text, known), locations=[(name, 0)])
        with file.open("wb") as out:
            out.write((HEADER % code).encode())
            write_po(out, catalogue, width=120, include_lineno=False, omit_header=True)
        missing = sum(1 for message in catalogue if message.id and not message.string)
        click.echo(f"{file.name}: {len(texts)} texts, {missing} without a translation")


if __name__ == "__main__":
    main()
