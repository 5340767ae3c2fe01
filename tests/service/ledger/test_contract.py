"""The three stores, held to one contract."""

from dataclasses import replace

import pytest

from service.ledger.memory import MemoryLedger, MemoryReader
from service.ledger.sqlite import SqliteLedger, create
from tests.practice import chosen
from tests.service.ledger.contract import Contract, note, opened


class TestSqlite(Contract):
    @pytest.fixture
    def place(self, tmp_path):
        return tmp_path / "one.db"

    @pytest.fixture
    def of(self, place):
        made = []

        def make(site, *, new=False):
            path = place.with_name("two.db") if new else place
            if not path.exists():
                create(path)
            made.append(SqliteLedger(path, chosen(site=site)))
            return made[-1]

        yield make
        for ledger in made:
            ledger.close()

    @pytest.fixture
    def ledger(self, of):
        return of("K7")

    @pytest.fixture
    def again(self, of):
        return lambda: of("K7")


class TestPostgres(Contract):
    @pytest.fixture
    def of(self, cluster, database):
        from service.ledger.postgres import PostgresLedger, create

        made = []

        def make(site, *, new=False):
            url = cluster.database() if new else database
            create(url)
            made.append(PostgresLedger(url, chosen(site=site)))
            return made[-1]

        yield make
        for ledger in made:
            ledger.close()

    @pytest.fixture
    def ledger(self, of):
        return of("K7")

    @pytest.fixture
    def again(self, of):
        return lambda: of("K7")

    @pytest.mark.parametrize(
        "statement",
        ["UPDATE fact SET at = at", "DELETE FROM fact", "TRUNCATE fact", "TRUNCATE fact_k7", "DELETE FROM fact_k7"],
    )
    def test_the_database_itself_refuses_to_change_a_fact(self, ledger, database, statement):
        import psycopg

        note(ledger, opened())
        with psycopg.connect(database) as connection, pytest.raises(psycopg.Error, match="never changed"):
            connection.execute(statement)
        with ledger.reading() as reader:
            assert reader.head()[0] == 1


class TestMemory(Contract):
    @pytest.fixture
    def ledger(self):
        return MemoryLedger(chosen())

    @pytest.fixture
    def again(self, ledger):
        return lambda: _shared(ledger, "K7")

    @pytest.fixture
    def of(self, ledger):
        return lambda site, new=False: MemoryLedger(chosen(site=site)) if new else _shared(ledger, site)


def _shared(ledger, site):
    """Another opening of the same memory, for `site`."""

    class Shared(MemoryLedger):
        @property
        def _contents(self):
            return ledger._contents

        @_contents.setter
        def _contents(self, value):
            if value.facts or value.beside:
                ledger._contents = value

    shared = Shared(replace(ledger.practice, site=site))
    assert isinstance(MemoryReader(ledger._contents, shared.practice), MemoryReader)
    return shared
