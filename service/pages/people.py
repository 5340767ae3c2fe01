"""Who works here and which devices scan; and where one signs in."""

from urllib.parse import urlsplit

from service.access.doors import devices, sign_ins
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
    known = tuple(
        DeviceLine(
            one["device"], one["name"], ", ".join(one["stations"]), looks.said(one["since"]), looks.said(one["revoked"])
        )
        for one in devices(reader)
    )
    doors = tuple(
        DoorLine(looks.said(one["at"]), one["what"], looks.who(one["badge"]), one["address"])
        for one in sign_ins(reader, _SHOWN)
    )
    return PeoplePage("People", people, known, doors)


def sign_in_page(wanted: str) -> SignInPage:
    """The page to sign in on. It goes on to a page of ours, whatever it was told."""
    plain = wanted.startswith("/") and not wanted.startswith(("//", "/\\")) and not urlsplit(wanted).netloc
    return SignInPage("Sign in", wanted if plain and wanted.isprintable() else "/")
