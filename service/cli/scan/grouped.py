"""Help in groups: what a person looks for stands together."""

from typing import Any

import click


class Grouped(click.Command):
    """A command whose help lists its options under titles."""

    def __init__(self, *args: Any, groups: dict[str, tuple[str, ...]], **more: Any) -> None:
        """`groups`: title → names of parameters; --help itself stands in the last."""
        super().__init__(*args, **more)
        self._groups = groups

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        titles = {name: title for title, names in self._groups.items() for name in names}
        rows: dict[str, list[tuple[str, str]]] = {title: [] for title in self._groups}
        for option in self.get_params(ctx):
            if record := option.get_help_record(ctx):
                rows[titles.get(option.name or "", list(rows)[-1])].append(record)
        for title, records in rows.items():
            with formatter.section(title):
                formatter.write_dl(records)
