"""Answers and screens on their way to people: what is read in their language; codes and keys as they are."""

from typing import Any

from service.words.catalogue import Say

Body = dict[str, Any]
_READ = ("headline", "detail", "next")


def answer_in(say: Say, answer: Body) -> Body:
    """An answer to a scan or an act."""
    return answer | {field: say(answer[field]) for field in _READ if answer.get(field)}


def screen_in(say: Say, shown: Body) -> Body:
    """A station's screen: its answer, what is open, the last scans, and what may be touched."""
    read = {"last": ("title",), "offers": ("title", "note"), "about": ("title",)}
    titled = {
        name: [row | {field: say(row[field]) for field in fields} for row in shown[name]]
        for name, fields in read.items()
    }
    return answer_in(say, shown) | {"open": {field: say(text) for field, text in shown["open"].items()}} | titled


def problem_in(say: Say, problem: Body) -> Body:
    """A problem document (RFC 9457), whose title and detail are read."""
    return problem | {"title": say(problem["title"]), "detail": say(problem["detail"])}
