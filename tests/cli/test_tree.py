"""The command tree: help for everything, clear words for what is missing, and documents that cannot drift."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
import typer

from coppermend import __version__
from coppermend.cli.app import COMMANDS, app
from coppermend.cli.tree import Branch

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "commands.md"


def _commands() -> dict[str, Any]:
    """Every command by its words, built as at run time."""
    root = typer.main.get_command(app)
    context: Any = root.make_context("coppermend", ["--help"], resilient_parsing=True)
    found: dict[str, Any] = {}
    for name, branch in COMMANDS.items():
        command = root.get_command(context, name)  # type: ignore[attr-defined]
        if isinstance(branch, Branch):
            found |= {f"{name} {leaf}": command.get_command(context, leaf) for leaf in branch.commands}
        else:
            found[name] = command
    return found


COMMAND_OBJECTS = _commands()
PARAMETERS = [
    (words, parameter) for words, command in COMMAND_OBJECTS.items() for parameter in command.params
]


def _names(parameter: Any) -> list[str]:
    """What a user types for an option; () for an argument."""
    return list(parameter.opts) if parameter.param_type_name == "option" else []


@pytest.mark.parametrize("words", COMMAND_OBJECTS)
def test_every_command_says_what_it_answers_and_shows_an_example(words: str) -> None:
    """Each command has a help text of a sentence or more, and an example that begins with the command itself."""
    command = COMMAND_OBJECTS[words]

    assert len(command.help.split()) >= 4
    assert f"coppermend {words}" in command.epilog


@pytest.mark.parametrize(("words", "parameter"), PARAMETERS)
def test_every_option_and_argument_has_help(words: str, parameter: Any) -> None:
    """No option or argument is left without a word on what it is."""
    assert parameter.help, f"{words}: {parameter.name}"


@pytest.mark.parametrize("words", COMMAND_OBJECTS)
def test_help_is_printed_within_eighty_columns(words: str, call: Any) -> None:
    """Help fits the screen, but for examples, which stay in one piece to be copied."""
    answer = call(*words.split(), "--help")

    lines = answer.out.splitlines()
    assert answer.status == 0
    assert [line for line in lines if len(line) > 80 and "coppermend " not in line] == []


@pytest.mark.parametrize("words", COMMAND_OBJECTS)
def test_every_command_and_option_is_in_the_document(words: str) -> None:
    """docs/commands.md has a section for the command that names each of its options."""
    sections = dict(
        re.findall(r"^### coppermend ([a-z ]+)\n(.*?)(?=^##|\Z)", DOCUMENT.read_text(), re.M | re.S)
    )

    assert words in sections
    missing = [
        name
        for parameter in COMMAND_OBJECTS[words].params
        for name in _names(parameter)
        if f"`{name}" not in sections[words] and name not in ("--json", "--help")
    ]
    assert missing == []


def test_the_document_names_no_command_or_option_that_is_gone() -> None:
    """Whatever docs/commands.md heads a section with, or names as an option there, exists."""
    sections = re.findall(r"^### coppermend ([a-z ]+)\n(.*?)(?=^##|\Z)", DOCUMENT.read_text(), re.M | re.S)

    for words, text in sections:
        known = {name for parameter in COMMAND_OBJECTS[words].params for name in _names(parameter)}
        assert set(re.findall(r"`(--?[a-z][a-z0-9-]*)", text)) <= known, words


def test_without_arguments_the_help_is_shown(call: Any) -> None:
    """Who types the bare name gets the list of commands."""
    answer = call()

    assert answer.status == 0
    assert all(f"  {name} " in answer.out for name in COMMANDS)


def test_version_is_said(call: Any) -> None:
    """--version answers with name and version."""
    assert call("--version").out == f"coppermend {__version__}\n"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["bord"], "no command 'bord'; expected one of board, damage"),
        (["board"], "coppermend board: which command? expected one of import, check, show, draw"),
        (["board", "shwo"], "no command 'shwo'; expected one of import, check, show, draw"),
        (["board", "show"], "missing argument 'BOARD'; see coppermend board show --help"),
        (["strip", "x"], "missing option '--area'"),
        (["board", "show", "x", "--jsno"], "no such option: --jsno"),
        (["board", "show", "x", "y"], "unexpected extra argument"),
        (["serve", "--port", "many"], "invalid value for '--port'"),
        (["job", "list", "--data", ""], "is empty; expected a folder"),
    ],
)
def test_a_wrong_command_line_says_what_was_expected(words: list[str], told: str, call: Any) -> None:
    """A slip in command, option or argument gives one line with what there is and where help is."""
    answer = call(*words)

    assert answer.status == 2
    assert told in answer.err and "--help" in answer.err
