"""`assembler schema`: the storyboard's JSON Schema, for editors that complete and check as one types."""

from __future__ import annotations

import argparse
import json
from typing import Any

from assembler.cli.output import out


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser("schema", help="print the storyboard's JSON Schema")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Print the schema."""
    from assembler.storyboard.schema import json_schema

    out(json.dumps(json_schema(), ensure_ascii=False, indent=2))
    return 0
