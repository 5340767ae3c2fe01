"""Who works here and which devices scan; and where one signs in."""

import json
from urllib.parse import urlsplit

from service.pages.looks import Looks
from service.pages.views import DeviceLine, DoorLine, PeoplePage, PersonLine, SignInPage

_SHOWN = 100


def people_page(looks: Looks) -> PeoplePage:
    """Everybody with a badge, every device, and the latest at the doors."""
    reader = looks.reader
    chosen = {badge for badge, _ in reader.accesses("pin")}
    people = tuple(
        PersonLine(
            one.code,
            looks.who(one.code),
            ", ".join(one.roles),
            one.may_release,
            one.code in chosen,
        )
        for one in looks.state.people()
        if not one.left_at
    )
    kept = [(code, json.loads(body)) for code, body in reader.accesses("device")]
    devices = tuple(
        DeviceLine(code, one["name"], ", ".join(one["stations"]), looks.said(one["since"]), looks.said(one["revoked"]))
        for code, one in kept
    )
    doors = [json.loads(body) for _, body in reader.accesses("sign-in")[: -_SHOWN - 1 : -1]]
    lines = tuple(
        DoorLine(looks.said(one["at"]), one["what"], looks.who(one["badge"]), one["address"]) for one in doors
    )
    return PeoplePage("People", people, devices, lines)


def sign_in_page(wanted: str) -> SignInPage:
    """The page to sign in on. It goes on to a page of ours, whatever it was told."""
    plain = wanted.startswith("/") and not wanted.startswith(("//", "/\\")) and not urlsplit(wanted).netloc
    return SignInPage("Sign in", wanted if plain and wanted.isprintable() else "/")
