"""`assembler schema`: the storyboard's JSON Schema, for editors that complete and check as one types."""

from __future__ import annotations

import argparse
from typing import Any

from assembler.cli.output import as_json, out


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser("schema", help="print the storyboard's JSON Schema")
    command.add_argument("--json", action="store_true", help="changes nothing: a schema is JSON as it is")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the schema."""
    from assembler.storyboard.schema import json_schema

    out(as_json(json_schema()))
    return 0
