"""The `assembler` command: its parser, its exit codes, and the last line of defence.

Exit codes: 0 fine; 1 check found errors; 2 usage or unreadable storyboard; 3 something the machine
lacks (codec, font, package, disk); 4 a capture could not be read, the render failed or a finished master is not
what it was to be; 130 interrupted.
"""

from __future__ import annotations

import argparse
import difflib
import os
import sys
from collections.abc import Sequence
from importlib import import_module, metadata
from typing import Any, NoReturn

from assembler.cli.output import as_dict, err, finish, print_json, ready
from assembler.errors import AssemblerError, MissingPartError, Problem, UsageError

COMMANDS = (
    *("new", "check", "takes", "draft", "master", "retime", "captions", "measure", "figures", "tidy", "schema"),
    *("explain", "doctor"),
)
EXIT_INTERRUPTED = 130

_EPILOG = """\
exit codes: 0 fine, 1 check found errors, 2 usage or unreadable storyboard,
3 something the machine lacks, 4 unreadable capture or failed render, 130 interrupted.
"""


class _Parser(argparse.ArgumentParser):
    """Raises UsageError where argparse would print and end the program. Options are written in full, so that
    a later one never changes what an earlier command line means."""

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings, allow_abbrev=False)

    def error(self, message: str) -> NoReturn:
        what = message.removeprefix("argument ").replace(": expected one argument", " needs a value")
        raise UsageError(what, mend=f"see `{self.prog} --help`")


def parser() -> tuple[argparse.ArgumentParser, Any]:
    """The whole command line, and its commands by name; each command adds its own part."""
    root = _Parser(
        prog="assembler",
        description="Turn a storyboard into a narrated, labelled, captioned side-by-side comparison video.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    root.add_argument("--version", action="version", version=f"assembler {metadata.version('assembler')}")
    commands = root.add_subparsers(dest="command", metavar="COMMAND", required=True, parser_class=_Parser)
    for name in COMMANDS:
        import_module(f"assembler.cli.{name}").add(commands)
    return root, commands.choices


def read_arguments(arguments: Sequence[str]) -> argparse.Namespace:
    """What the command line asks for. Raises UsageError; ends the program after --help and --version."""
    everything = ", ".join(COMMANDS)
    first = next((word for word in arguments if not word.startswith("-")), None)
    if first is None and not {"-h", "--help", "--version"} & set(arguments):
        raise UsageError("no command was given", mend=f"the commands are: {everything}")
    if first is not None and first not in COMMANDS:
        near = difflib.get_close_matches(first, COMMANDS, 1)
        mend = f"did you mean `{near[0]}`?" if near else f"the commands are: {everything}"
        raise UsageError(f"there is no command '{first}'", mend=mend)
    root, commands = parser()
    options, rest = root.parse_known_args(arguments)
    if rest:
        raise _unused(commands[options.command], rest[0])
    return options


def _unused(command: argparse.ArgumentParser, word: str) -> UsageError:
    if not word.startswith("-"):
        return UsageError(f"`{command.prog}` has no use for '{word}'", mend=f"see `{command.prog} --help`")
    known = [option for action in command._actions for option in action.option_strings]
    near = difflib.get_close_matches(word.split("=")[0], known, 1)
    mend = f"did you mean {near[0]}?" if near else f"see `{command.prog} --help`"
    return UsageError(f"`{command.prog}` has no option {word}", mend=mend)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code. Never raises, but for the exit after --help and --version."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    ready()
    try:
        options = read_arguments(words)
        code: int = options.run(options)
        finish()
    except AssemblerError as error:
        _tell(words, error.problems)
        return error.exit_code
    except KeyboardInterrupt:
        err("interrupted; what was finished is kept")
        _answer(words, (Problem(None, "interrupted", "run it again; what was finished is kept"),))
        return EXIT_INTERRUPTED
    except Exception as error:  # a fault of ours must still end in one line
        if isinstance(error, ModuleNotFoundError) and error.name and not error.name.startswith("assembler"):
            what = f"the package {error.name.split('.')[0]} is not installed"
            _tell(words, (Problem(None, what, "`assembler doctor` says what to install"),))
            return MissingPartError.exit_code
        if os.environ.get("ASSEMBLER_DEBUG"):
            raise
        what = f"a fault in assembler itself: {type(error).__name__}: {error}"
        _tell(words, (Problem(None, what, "run again with ASSEMBLER_DEBUG=1 and report what it prints"),))
        return 4
    return code


def _tell(words: Sequence[str], problems: Sequence[Problem]) -> None:
    err("\n".join(map(str, problems)))
    _answer(words, problems)


def _answer(words: Sequence[str], problems: Sequence[Problem]) -> None:
    """The problems as JSON, when that was asked for."""
    if "--json" not in words:
        return
    command = next((word for word in words if word in COMMANDS), None)
    try:
        print_json(command, {"problems": [as_dict(problem) for problem in problems]})
        finish()
    except AssemblerError as error:
        err(str(error))


def entry() -> NoReturn:
    """What the installed `assembler` script calls."""
    raise SystemExit(main())


if __name__ == "__main__":
    entry()
