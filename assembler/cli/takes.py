"""`assembler takes`: find each line's takes in long recordings, and choose among them."""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.output import err, out, print_json
from assembler.errors import UsageError

if TYPE_CHECKING:
    from assembler.narration.choices import Chosen
    from assembler.narration.take_search import ScriptLine
    from assembler.narration.take_sheet import Sheet
    from assembler.storyboard.model import Storyboard


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "takes",
        help="find each line's takes in recordings, and choose among them",
        description="Search recordings (one line each, or a whole session with retakes, stumbles and asides) for the "
        "lines of the storyboard. The last good take of each line is proposed, doubtful ones are flagged, and what is "
        "decided is kept in choices.yaml in the takes folder. Recordings are only read. Without a recording the sheet "
        "of the last search is shown again.",
    )
    command.add_argument("recordings", nargs="*", type=Path, metavar="RECORDING", help="sound files, oldest first")
    command.add_argument("--project", type=Path, default=Path(), help="project folder or storyboard file")
    command.add_argument(
        "--choose", action="append", default=[], metavar="LINE=NUMBER",
        help="take a candidate of the last search for a line, such as opening-1=2; opening-1=none for no take",
    )  # fmt: skip
    command.add_argument("--page", type=Path, metavar="FILE.html", help="also write a page to see and hear candidates")
    command.add_argument("--dry-run", action="store_true", help="write neither choices nor the sheet that is kept")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Search, choose, write what was decided, and print the sheet."""
    from assembler.narration.choices import FILE_NAME, load_choices, save_choices
    from assembler.narration.take_sheet import as_data, as_text, chosen, keep_sheet, needed_sheet, proposals
    from assembler.prepare import CACHE_NAME, storyboard_path
    from assembler.render.destination import named_files, refuse_taken
    from assembler.storyboard import load_storyboard

    path = storyboard_path(options.project)
    storyboard, folder = load_storyboard(path), path.parent.resolve()
    takes, cache = folder / storyboard.narration.takes, folder / CACHE_NAME
    if not takes.resolve().is_relative_to(folder):
        raise UsageError(f"the takes folder '{storyboard.narration.takes}' lies outside the project")
    decided = [_decision(word) for word in options.choose]
    choices = takes / FILE_NAME
    standing = load_choices(choices)
    asked = [_inside(each, folder) for each in options.recordings]
    if options.page is not None:
        refuse_taken(
            options.page, (path, choices, *asked, *(folder / name for name in named_files(storyboard))), "page",
            (".html", ".htm"),
        )  # fmt: skip
    order = {key: n for n, key in enumerate(_texts(storyboard))}
    if asked:
        sheet = _search(storyboard, folder, asked, cache, standing, quiet=options.json)
        new = list(proposals(sheet))
    else:
        sheet, new = needed_sheet(cache), []
    new += [chosen(sheet, key, number) for key, number in decided]
    if not options.dry_run:
        if asked:
            keep_sheet(sheet, cache)
        if new:
            save_choices(choices, new, order)
            standing = load_choices(choices)
    by_hand = {key: entry for key, entry in standing.items() if entry.by_hand}
    by_hand.update({entry.key: entry for entry in new if entry.by_hand})
    if options.page is not None:
        from assembler.picture.take_page import write_page

        write_page(sheet, by_hand, folder, storyboard.title, options.page)
    if options.json:
        page = None if options.page is None else str(options.page)
        print_json("takes", {**as_data(sheet, by_hand), "choices": str(choices), "page": page})
        return 0
    out(as_text(sheet, by_hand))
    if new and not options.dry_run:
        out(f"written to {choices.relative_to(folder).as_posix()}")
    if options.page is not None:
        out(f"page: {options.page}")
    flagged = [line.key for line in sheet.lines if line.result.verdict == "flagged" and line.key not in by_hand]
    if flagged:
        err(f"flagged takes are not used until you decide, as in: assembler takes --choose {flagged[0]}=1")
    return 0


def _decision(word: str) -> tuple[str, int | None]:
    match = re.fullmatch(r"([A-Za-z0-9_-]{1,70})=([0-9]{1,4}|none)", word)
    if match is None:
        raise UsageError(f"--choose {word} cannot be read", mend="write LINE=NUMBER, such as opening-1=2, or LINE=none")
    return match[1], None if match[2] == "none" else int(match[2])


def _inside(path: Path, folder: Path) -> Path:
    """A recording's own place; it has to lie in the project, so that the choices go where the project goes."""
    found = path if path.is_absolute() or path.exists() else folder / path
    if not found.exists():
        raise UsageError(f"there is no recording {path}", mend="check the name and the folder")
    if found.is_dir():
        raise UsageError(f"{path} is a folder, not a recording", mend=f"name the files in it, as {path}/*.wav")
    found = found.resolve()
    if not found.is_relative_to(folder):
        raise UsageError(f"{path} lies outside the project", mend=f"copy it into the takes folder in {folder}")
    return found


def _texts(storyboard: Storyboard) -> dict[str, tuple[str, str]]:
    """Every line's written text, and the text whose words are said, by key."""
    return {
        f"{segment.id}-{n}": (line.text, line.spoken or line.text)
        for segment in storyboard.segments
        for n, line in enumerate(segment.say, start=1)
    }


def _search(
    storyboard: Storyboard,
    folder: Path,
    asked: Sequence[Path],
    cache: Path,
    standing: Mapping[str, Chosen],
    *,
    quiet: bool,
) -> Sheet:
    """Search the recordings asked for together with those searched before, whose answers are kept."""
    from assembler.narration.pronounce import Pronouncer
    from assembler.narration.take_search import find_takes
    from assembler.narration.take_sheet import kept_sheet, make_sheet
    from assembler.render.interrupt import watch_interrupts

    script = _script(storyboard)
    if not script:
        raise UsageError("the storyboard has no narration lines to look for", mend="write some under `say:`")
    before = kept_sheet(cache)
    names = [each.file for each in before.recordings] if before else []
    names += [entry.recording for entry in standing.values() if entry.recording and not entry.by_hand]
    known = [path for name in dict.fromkeys(names) if (path := folder / name).is_file() and path not in asked]
    with Pronouncer() as pronouncer:
        added = pronouncer.added_with_parts(word for line in script for word in line.words)
    with watch_interrupts() as cancelled, _progress(quiet) as progress:
        # The listener learnt from English speech.
        by_ear = None if storyboard.language.casefold().split("-")[0] == "en" else False
        found = find_takes(
            script, [*known, *asked], cache, added=added, by_ear=by_ear, progress=progress, cancelled=cancelled
        )  # fmt: skip
    return make_sheet(found, _texts(storyboard), folder)


def _script(storyboard: Storyboard) -> list[ScriptLine]:
    from assembler.narration.spoken import spoken_form
    from assembler.narration.take_search import ScriptLine

    script = []
    for segment in storyboard.segments:
        for n, line in enumerate(segment.say, start=1):
            tokens = spoken_form(line.text, storyboard.lexicon, spoken=line.spoken, language=storyboard.language)
            script.append(ScriptLine(f"{segment.id}-{n}", line.text, tokens))
    return script


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[str, int, int], None] | None]:
    """A listener that shows each stage; what was kept goes by in silence."""
    from assembler.render.progress import Meter, shower

    if quiet:
        yield None
        return
    with shower(sys.stderr) as listener:
        meters: dict[str, Meter] = {}

        def tell(stage: str, done: int, total: int) -> None:
            if stage not in meters:
                if done >= total:
                    return
                meters[stage] = Meter(listener, stage, total, unit="lines" if stage.startswith("comparing") else "s")
            meters[stage].reach(min(done, total))

        yield tell
