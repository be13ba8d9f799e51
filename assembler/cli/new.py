"""`assembler new`: a project folder with a commented storyboard that already passes `check`."""

from __future__ import annotations

import argparse
import json
import shlex
from pathlib import Path
from typing import Any

from assembler.cli.output import out, print_json
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
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Make the folder; refuses one that already holds a storyboard."""
    from assembler.media.landing import write_whole
    from assembler.storyboard.schema import json_schema

    folder: Path = options.folder
    storyboard = folder / "storyboard.yaml"
    if storyboard.exists() or storyboard.is_symlink():
        raise UsageError(f"{storyboard} exists already; nothing was changed", mend="name another folder")
    try:
        for path in (folder, folder / "footage", folder / "takes"):
            path.mkdir(parents=True, exist_ok=True)
    except FileExistsError as error:
        what = f"{error.filename} exists already and is not a folder"
        raise UsageError(what, mend="name another folder") from error
    except OSError as error:
        raise UsageError(f"{folder} cannot be made: {error.strerror}", mend="name a folder you may write to") from error
    # The storyboard comes last: a folder that has one is finished.
    schema = json.dumps(json_schema(), ensure_ascii=False, indent=2)
    for name, text in ((SCHEMA_NAME, schema), (".gitignore", ".assembler/\nout/\n"), (storyboard.name, TEMPLATE)):
        if not (folder / name).exists():
            write_whole(folder / name, text.encode())
    if options.json:
        print_json("new", {"made": str(storyboard)})
        return 0
    named = f"./{folder}" if str(folder).startswith("-") else str(folder)
    out(f"{storyboard}\nnext: assembler draft {shlex.quote(named)}")
    return 0
