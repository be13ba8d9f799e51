"""`assembler new`: a project folder with a commented storyboard that already passes `check`."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from assembler.cli.output import out
from assembler.errors import UsageError

SCHEMA_NAME = "storyboard.schema.json"

TEMPLATE = """\
# yaml-language-server: $schema=./storyboard.schema.json
#
# A storyboard: what is said, and what is shown while it is said.
#   assembler check      says everything that does not fit
#   assembler draft      renders out/draft.mp4 with its captions beside it
#   assembler explain segments.show      says what a key means
#
# Times: 12.5 s, 800 ms, 300 f (frames), 01:02.500 or timecode 00:01:02:15.

storyboard: 1
title: A first comparison
canvas: {size: 1920x1080, rate: 60}

# What is compared. The order gives each its colour and line style.
subjects:
  first:  {name: First,  note: its model or setting}
  second: {name: Second, note: its model or setting}

# Put recordings into footage/ and name them here. `offset` says where a capture shows the moment
# that its partner shows at its very start: -21 f = this recording began 21 frames later.
# captures:
#   first-run:  {file: footage/first.mp4, subject: first}
#   second-run: {file: footage/second.mp4, subject: second, line-up: {with: first-run, offset: -21 f}}

# Lines without a recording are spoken by a scratch voice. Your own go to takes/opening-1.wav and so on.
narration: {takes: takes, pace: 160, voice: scratch}
captions: {burn: true, limits: online}

segments:
  - id: opening
    lasts: fit                    # as long as the narration needs; or 9 s, or until: 00:00:09:00
    say:
      - Two machines, one piece of software.
      - {text: "Here is what each of them really shows.", pause: 0.6 s}
    show:
      card: {title: A first comparison, note: First and Second side by side}

  # - id: side-by-side
  #   say: Both show the same moment.
  #   lasts: fit
  #   show:
  #     side-by-side:
  #       - {capture: first-run, from: 2 s}
  #       - {capture: second-run}             # lined up: the same moment
  #   hear: first-run

  - id: figures
    lasts: fit
    say: The figures, once they are measured, go into a table like this one.
    show:
      card:
        title: What was found
        table:
          columns: [Subject, New pictures a second, Native lines]
          rows:
            - [First, to come, to come]
            - [Second, to come, to come]
"""


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "new",
        help="make a project folder with a commented storyboard",
        description="Make a project folder: a commented storyboard that already passes `check`, its JSON Schema for "
        "editors, and empty folders for footage and takes. Nothing that exists is overwritten.",
    )
    command.add_argument("folder", type=Path, help="folder to make")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Make the folder; refuses one that already holds a storyboard."""
    from assembler.storyboard.schema import json_schema

    folder: Path = options.folder
    storyboard = folder / "storyboard.yaml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in ("footage", "takes"):
            (folder / name).mkdir(exist_ok=True)
        with storyboard.open("x", encoding="utf-8") as file:
            file.write(TEMPLATE)
        (folder / SCHEMA_NAME).write_text(json.dumps(json_schema(), ensure_ascii=False, indent=2), encoding="utf-8")
        ignore = folder / ".gitignore"
        if not ignore.exists():
            ignore.write_text(".assembler/\nout/\n", encoding="utf-8")
    except FileExistsError as error:
        raise UsageError(f"{error.filename} exists already; nothing was changed", mend="name another folder") from error
    except OSError as error:
        raise UsageError(f"{folder} cannot be made: {error.strerror}", mend="name a folder you may write to") from error
    out(f"{storyboard}\nnext: assembler draft {folder}")
    return 0
