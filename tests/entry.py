"""Ways in for tests: a device that may scan anywhere, and people who chose a PIN."""

from argon2 import PasswordHasher

from service.access.doors import Doors
from service.ledger.opening import open_at
from service.stations.desk import Desk
from tests.practice import chosen

PIN = "274906"
QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
HERE = "127.0.0.1"


class Entry:
    """The doors of a desk, with keys."""

    def __init__(self, desk):
        self.doors = Doors(desk, QUICK)

    def device(self, *stations):
        """The token of a new device."""
        code = self.doors.device_code("Test scanner", list(stations or ["any"]), None)
        return self.doors.enrol(code, HERE).token

    def person(self, badge):
        """The token of somebody who has signed in."""
        if not self.doors.has_pin(badge):
            self.doors.choose_pin(self.doors.pin_link(badge), PIN, HERE)
        return self.doors.sign_in(badge, PIN, HERE)


def bearer(token):
    """The header that a device or a session comes in with."""
    return {"Authorization": f"Bearer {token}"}


def let_in(path, *stations):
    """The header of a new device on the ledger at `path`, which no service has open."""
    desk = Desk(open_at(str(path), chosen()), chosen()).start()
    token = Entry(desk).device(*stations)
    desk.close()
    return bearer(token)
