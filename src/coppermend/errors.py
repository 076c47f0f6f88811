"""The errors that Coppermend raises on purpose, and nothing else.

    CoppermendError
    ├── InputError (ValueError)     a file or an argument cannot be read: where, line, what was expected
    ├── UnknownName (LookupError)   a part, pin, net, via, job or board that does not exist
    └── RecordError                 the job record refuses: conflict, damage on disk, closed job
    Cancelled                       long work was stopped by whoever started it: no error, so it stands beside the tree

A shell catches ``CoppermendError``, prints its one line and leaves; any other exception is a bug.
"""

from __future__ import annotations


class CoppermendError(Exception):
    """Any error that the user can act on; its text is one clear line."""


class InputError(CoppermendError, ValueError):
    """Input that cannot be understood: names the file, the line and what was expected.

    Args:
        found: What is wrong, in words.
        expected: What should have been there; empty when ``found`` says it all.
        where: File name, or what the text came from.
        line: Line number, counted from 1; None when the whole file is meant.
    """

    def __init__(self, found: str, *, expected: str = "", where: str = "", line: int | None = None) -> None:
        place = f"{where or 'input'}:{line}: " if line is not None else f"{where}: " if where else ""
        tail = f"; expected {expected}" if expected else ""
        super().__init__(" ".join(f"{place}{found}{tail}".split()))
        self.found, self.expected, self.where, self.line = found, expected, where, line

    def at(self, where: str) -> InputError:
        """The same error, naming the file it came from (for parsers that only saw text)."""
        return InputError(self.found, expected=self.expected, where=where, line=self.line)


class UnknownName(CoppermendError, LookupError):
    """A name that does not exist, with the kind of thing it should name and where it was looked for."""

    def __init__(self, kind: str, name: str, where: str = "", hint: str = "") -> None:
        place = f" in {where}" if where else ""
        tail = f"; {hint}" if hint else ""
        super().__init__(f"no {kind} {name!r}{place}{tail}")
        self.kind, self.name, self.where, self.hint = kind, name, where, hint

    def __reduce__(self) -> tuple[type[UnknownName], tuple[str, str, str, str]]:
        """How it comes over from a process of its own."""
        return type(self), (self.kind, self.name, self.where, self.hint)


class RecordError(CoppermendError):
    """The job record refuses an operation, and says why."""


class Cancelled(Exception):
    """Long work was stopped on request; nothing of it is kept. What catches our errors must let it through."""
