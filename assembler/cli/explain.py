"""`assembler explain`: what a key of the storyboard means."""

from __future__ import annotations

import argparse
from typing import Any

from assembler.cli.output import out, print_json


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "explain",
        help="say what a key of the storyboard means",
        description="Say what a key of the storyboard means, what it may hold, and an example.",
    )
    command.add_argument("key", nargs="?", default="", help="for example segments.show.split; none = the whole file")
    command.add_argument("--json", action="store_true", help="print the explanation as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the explanation."""
    from assembler.storyboard import explain

    text = explain(options.key)
    if options.json:
        print_json("explain", {"key": options.key, "text": text})
    else:
        out(text)
    return 0
