"""A group of commands that loads a command's module only when it is run, so that commands start fast."""

import gc
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import click
from click.shell_completion import CompletionItem


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """A command in the group's help.

    Attributes:
        place: module and function, separated by a colon.
        help: what it does, in one line.
    """

    place: str
    help: str

    def command(self) -> click.Command:
        """Load the command; no garbage is looked for meanwhile, nor later in what was there then."""
        module, _, name = self.place.partition(":")
        if module not in sys.modules:
            gc.disable()
            try:
                import_module(module)
            finally:
                gc.freeze()
                gc.enable()
        found: click.Command = getattr(sys.modules[module], name)
        return found


class Commands(click.Group):
    """A group of commands in sections."""

    def __init__(self, *, sections: Mapping[str, Mapping[str, Listed]], **attributes: Any) -> None:
        super().__init__(**attributes)
        self.sections = sections

    def _listed(self) -> Iterator[tuple[str, Listed]]:
        for commands in self.sections.values():
            yield from commands.items()

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names, in the order of the help."""
        return [name for name, _ in self._listed()]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The loaded command of this name, or None."""
        found = dict(self._listed()).get(cmd_name)
        return None if found is None else found.command()

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command; click's own suggests none of those that are not loaded yet."""
        try:
            return super().resolve_command(ctx, args)
        except click.NoSuchCommand as error:
            raise click.NoSuchCommand(error.command_name, possibilities=self.list_commands(ctx), ctx=ctx) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write each section with its commands."""
        for heading, commands in self.sections.items():
            with formatter.section(heading):
                formatter.write_dl([(name, listed.help) for name, listed in commands.items()])

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Completions for the text; click's own would load every command for its help."""
        names = [CompletionItem(name, help=listed.help) for name, listed in self._listed()]
        options = click.Command.shell_complete(self, ctx, incomplete)
        return [*(each for each in names if each.value.startswith(incomplete)), *options]
