"""Groups whose commands are imported only when they are asked for."""

import importlib
from typing import Any

import click


class Lazy(click.Group):
    """A group that knows where its commands are: `places` has `module:attribute` for each name, in their order."""

    def __init__(self, *told: Any, places: dict[str, str], **more: Any) -> None:
        super().__init__(*told, **more)
        self._places = places

    def list_commands(self, _ctx: click.Context) -> list[str]:
        return list(self._places)

    def get_command(self, _ctx: click.Context, name: str) -> click.Command | None:
        if name not in self._places:
            return None
        module, attribute = self._places[name].split(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command
