"""The owner's commands as such: options, help, exit status."""

import os
import re
import shlex
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from inspect import cleandoc
from pathlib import Path
from types import SimpleNamespace
from typing import Any, TypeVar

import click
from click.core import ParameterSource

from service.client.ends import ENDS, EndedError
from service.client.http import Service
from service.client.text.terminal import paragraph, room, wrapped

DEFAULT_URL = "http://127.0.0.1:8410"
FILE = click.Path(path_type=Path)


class _Quantity(click.ParamType[int | str]):
    """A number of pieces, or a decimal quantity of another unit, in the digits in which it is written."""

    name = "quantity"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> int | str:
        if re.fullmatch(r"[0-9]+", value):
            return int(value)
        if not re.fullmatch(r"[0-9]+\.[0-9]+", value):
            self.fail(f"{value!r} is not a quantity, such as 40 or 12.5.", param, ctx)
        return value


QUANTITY = _Quantity()
_GIVEN = "service.client.command.given"
_NOT_AGAIN = {"key", "dry_run"}
"""Options that are left out where a command is told again: a secret, and what would only show."""
_EXAMPLE = re.compile(r"( *(?:\S| (?! ))+)(?: {2,}(.*))?")
"""An example in a help, and its meaning after a gap."""
_INTERRUPTED = 130
"""The shell's exit status of a program interrupted by SIGINT."""

Declared = TypeVar("Declared", bound=Callable[..., Any])


class NamedAmount(click.ParamType[tuple[str, str]]):
    """An amount with the name of what it is of, such as day=0.39."""

    name = "named amount"

    def __init__(self, what: str, example: str) -> None:
        self.what, self.example = what, example

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, str]:
        of, is_there, amount = (part.strip() for part in value.partition("="))
        if not (of and is_there and amount):
            self.fail(f"'{value}' is not {self.what}; write for instance {self.example}", param, ctx)
        return of, amount

    def check_each_once(self, values: Iterable[tuple[str, str]], param: click.Parameter, ctx: click.Context) -> None:
        """Fails if two amounts are of the same."""
        found: dict[str, str] = {}
        for of, amount in values:
            if of in found:
                self.fail(f"'{of}' is given twice: {of}={found[of]} and {of}={amount}", param, ctx)
            found[of] = amount


class Options(SimpleNamespace):
    """The values of the command line, by the names of options and arguments."""


Job = Callable[[Service, Options], None]


class OwnersOption(click.Option):
    """An option with its place in the help.

    Attributes:
        section: its heading in the help; the general one if empty.
        one_of: a group; options of the same group exclude each other.
    """

    def __init__(self, *arguments: Any, section: str = "", one_of: str = "", **attributes: Any) -> None:
        super().__init__(*arguments, **attributes)
        self.section, self.one_of = section, one_of

    def type_cast_value(self, ctx: click.Context, value: Any) -> Any:
        """The values converted; of amounts with names, each has one of its own."""
        found = super().type_cast_value(ctx, value)
        if isinstance(self.type, NamedAmount):
            self.type.check_each_once(found or (), self, ctx)
        return found


def option(*names: str, **attributes: Any) -> Callable[[Declared], Declared]:
    """An option of a command; `section` and `one_of` are those of OwnersOption."""
    return click.option(*names, cls=OwnersOption, **attributes)


class OwnersCommand(click.Command):
    """A command that uses a running service; its help is printed as written."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Parse them, and keep them as they were given."""
        ctx.meta[_GIVEN] = [*args]
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> None:
        """Do the job with the service and key of the command line; a failure is reported in one line."""
        assert self.callback is not None
        _check_alternatives(ctx)
        options = Options(**ctx.params)
        if not options.key:
            raise click.UsageError("a key is needed: --key, or PUGMILL_KEY in the environment", ctx)
        if hasattr(sys.stdout, "reconfigure"):
            sys.stdout.reconfigure(errors="replace")  # for terminals that are not UTF-8
        try:
            _finished(self.callback, options)
        except EndedError as error:
            print(f"{ctx.command_path}: {error}", file=sys.stderr)
            ctx.exit(int(error.end))
        except KeyboardInterrupt:
            ctx.exit(_INTERRUPTED)

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The purpose, wrapped, and examples as they are written."""
        formatter.write("\n" + "\n".join(_fitted(self.help or "", formatter.width)))

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The exit statuses."""
        formatter.write("\n" + "\n".join(_fitted(self.epilog or "", formatter.width)))

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The options by section."""
        sections: dict[str, list[tuple[str, str]]] = {"Options": []}
        for each in self.get_params(ctx):
            if isinstance(each, click.Option) and (record := each.get_help_record(ctx)):
                sections.setdefault(getattr(each, "section", "") or "Options", []).append(record)
        for heading, records in sections.items():
            with formatter.section(heading):
                formatter.write_dl(records)


def _fitted(text: str, columns: int) -> Iterator[str]:
    """The text of a help: paragraphs wrapped, examples as they are; what is too wide for its line stands below it."""
    for block in text.split("\n\n"):
        lines = block.splitlines()
        if any(line.startswith(" ") for line in lines):
            yield from (part for line in lines for part in _fitted_example(line, columns))
        else:
            yield from wrapped(" ".join(lines), columns)
        yield ""


def _fitted_example(line: str, columns: int) -> Iterator[str]:
    example, meaning = _EXAMPLE.fullmatch(line).groups("")  # type: ignore[union-attr] # it matches any line
    if not meaning or room(line) <= columns:
        yield line
        return
    yield example
    yield from paragraph(meaning, columns, "        ", "        ")


def owners_command(text: str | None) -> Callable[[Job], click.Command]:
    """Decorates a job as a command, with --url and --key before its own options.

    Args:
        text: the help text.
    """

    def made(job: Job) -> click.Command:
        declared = _at_service(job)
        return click.command(
            cls=OwnersCommand,
            help=cleandoc(text or ""),
            epilog=ENDS,
            context_settings={"help_option_names": ["-h", "--help"]},
        )(declared)

    return made


def told_again(changed: Mapping[str, Sequence[str]]) -> str:
    """The command as it was given, for a shell, so that it does what it did or would have done.

    Args:
        changed: by names of options, the values that they have instead.
    """
    ctx = click.get_current_context()
    parsed, _, order = ctx.command.make_parser(ctx).parse_args([*ctx.meta[_GIVEN]])
    words, there = ctx.command_path.split(), {str(each.name): each for each in ctx.command.params}
    names = dict.fromkeys([*(str(each.name) for each in order), *changed])
    for name in sorted(names, key=lambda name: isinstance(there[name], click.Option)):  # the arguments first
        if name not in _NOT_AGAIN:
            words += _words(there[name], changed.get(name, parsed.get(name)))
    return shlex.join(words)


def _words(parameter: click.Parameter, found: Any) -> Iterator[str]:
    """A parameter on the command line, as often as it has values."""
    for value in found if isinstance(found, list | tuple) else [found]:
        if isinstance(parameter, click.Option):
            yield parameter.opts[0]
        if not getattr(parameter, "is_flag", False):
            yield value


def _at_service(job: Job) -> Job:
    key = option(
        "--key",
        envvar="PUGMILL_KEY",
        help="The workshop's key (default: the environment's PUGMILL_KEY, which other users cannot see).",
    )
    url = option(
        "--url",
        default=DEFAULT_URL,
        envvar="PUGMILL_URL",
        help=f"Where the service runs (default: the environment's PUGMILL_URL, or else {DEFAULT_URL}).",
    )
    return url(key(job))


def _check_alternatives(ctx: click.Context) -> None:
    """Raises UsageError if options are given that exclude each other."""
    given: dict[str, str] = {}
    for each in _options_given(ctx):
        if each.one_of in given:
            raise click.UsageError(f"{each.opts[0]} is not allowed with {given[each.one_of]}", ctx)
        if each.one_of:
            given[each.one_of] = each.opts[0]


def _options_given(ctx: click.Context) -> Iterator[OwnersOption]:
    for each in ctx.command.params:
        is_given = ctx.get_parameter_source(each.name or "") is ParameterSource.COMMANDLINE
        if isinstance(each, OwnersOption) and is_given:
            yield each


def _finished(job: Callable[..., None], options: Options) -> None:
    """Do the job and flush what it prints, before anything else is printed."""
    try:
        try:
            job(Service(options.url, options.key.strip()), options)
        finally:
            sys.stdout.flush()
    except BrokenPipeError:  # the reader has closed the pipe; keep the interpreter from writing to it at exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
