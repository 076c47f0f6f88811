"""How commands hang together: groups that import a command only when it is asked for. Knows no command."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import Any, TypeVar

import typer
from typer.core import TyperGroup

F = TypeVar("F", bound=Callable[..., Any])
Context = Any  # typer keeps the type of its own contexts private


@dataclass(frozen=True, slots=True)
class Leaf:
    """A command: the module and the function that do it, and what it answers in one line."""

    module: str
    function: str
    summary: str


@dataclass(frozen=True, slots=True)
class Branch:
    """A group of commands about one thing; ``default`` names the one that is meant when none is named."""

    summary: str
    commands: Mapping[str, Leaf]
    default: str = ""


def examples(*lines: str) -> Callable[[F], F]:
    """Show these command lines under a command's help."""

    def mark(function: F) -> F:
        function.examples = lines  # type: ignore[attr-defined]
        return function

    return mark


class CommandGroup(TyperGroup):
    """A group whose commands are imported one by one: who draws a board need not wait for the job record."""

    def __init__(self, *, branches: Mapping[str, Branch | Leaf], default: str = "", **settings: Any) -> None:
        super().__init__(**settings)
        self.branches, self.default = branches, default

    def list_commands(self, ctx: Context) -> list[str]:
        """Names in the order in which they are used at the bench."""
        return list(self.branches)

    def get_command(self, ctx: Context, cmd_name: str) -> Any:
        """The command called ``cmd_name``; an unknown one ends the run with the names that there are."""
        try:
            found = self.branches[cmd_name]
        except KeyError:
            ctx.fail(f"no command {cmd_name!r}; expected one of {', '.join(self.branches)}")
        if isinstance(found, Branch):
            return CommandGroup(
                name=cmd_name, help=found.summary, branches=found.commands, default=found.default,
                rich_markup_mode=None,
            )  # fmt: skip
        return _command(cmd_name, found)

    def format_commands(self, ctx: Context, formatter: Any) -> None:
        """List the commands from the tree alone, so that help is quick too."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, found.summary) for name, found in self.branches.items()])

    def parse_args(self, ctx: Context, args: list[str]) -> list[str]:
        """Ask for a command when there is none."""
        if not args and not ctx.resilient_parsing:
            ctx.fail(f"which command? expected one of {', '.join(self.branches)}")
        if self.default and args and args[0] not in (*self.branches, "--help"):
            args = [self.default, *args]
        return super().parse_args(ctx, args)


def _command(name: str, leaf: Leaf) -> Any:
    function = getattr(import_module(leaf.module), leaf.function)
    lines = getattr(function, "examples", ())
    single = typer.Typer(add_completion=False, rich_markup_mode=None)
    single.command(
        name, epilog="\n".join(("\b", "Example:", *(f"  {line}" for line in lines))) if lines else None
    )(function)
    return typer.main.get_command(single)
