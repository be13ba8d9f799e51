"""The `assembler` command: its parser, its exit codes, and the last line of defence.

Exit codes: 0 fine; 1 check found errors; 2 usage or unreadable storyboard; 3 something the machine
lacks (codec, font, package, disk); 4 a capture could not be read or the render failed; 130 interrupted.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module, metadata
from typing import NoReturn

from assembler.errors import AssemblerError

COMMANDS = ("new", "check", "draft", "retime", "measure", "figures", "schema", "explain", "doctor")
EXIT_INTERRUPTED = 130

_EPILOG = """\
exit codes: 0 fine, 1 check found errors, 2 usage or unreadable storyboard,
3 something the machine lacks, 4 unreadable capture or failed render, 130 interrupted.
"""


class _Parser(argparse.ArgumentParser):
    def error(self, message: str) -> NoReturn:
        sys.stderr.write(f"error: {message}\n  mend: see `{self.prog} --help`\n")
        raise SystemExit(2)


def parser() -> argparse.ArgumentParser:
    """The whole command line; each command adds its own part."""
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
    return root


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code. Never raises, but for argparse's own exits."""
    options = parser().parse_args(arguments)
    try:
        code: int = options.run(options)
    except AssemblerError as error:
        if getattr(options, "json", False):
            from assembler.cli.output import print_json

            print_json(options.command, {"problems": [_as_dict(problem) for problem in error.problems]})
        sys.stderr.write(f"{error}\n")
        return error.exit_code
    except KeyboardInterrupt:
        sys.stderr.write("interrupted; what was finished is kept\n")
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # a fault of ours must still end in one line
        if os.environ.get("ASSEMBLER_DEBUG"):
            raise
        sys.stderr.write(
            f"error: a fault in assembler itself: {type(error).__name__}: {error}\n"
            "  mend: run again with ASSEMBLER_DEBUG=1 and report what it prints\n"
        )
        return 4
    return code


def _as_dict(problem: object) -> dict[str, object]:
    from assembler.cli.output import as_dict

    return as_dict(problem)


def entry() -> NoReturn:
    """What the installed `assembler` script calls."""
    raise SystemExit(main())


if __name__ == "__main__":
    entry()
