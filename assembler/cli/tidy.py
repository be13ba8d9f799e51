"""`assembler tidy`: what a project's cache holds, and pruning it."""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assembler.cli.output import Patience, counted, err, out, print_json

if TYPE_CHECKING:
    from assembler.render.holdings import Holding


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser(
        "tidy",
        help="say what the cache holds, and prune it",
        description="Say what .assembler/ holds, and remove what was not used for the longest time until it takes no "
        "more than its limit: 10 GiB, and at most a tenth of the disk, unless ASSEMBLER_CACHE_LIMIT (such as 20G) says "
        "otherwise. What the present storyboard, the last draft or the last master is made from stays. Drafts and "
        "masters of the whole programme keep to the same limit by themselves. All of it can be made again.",
    )
    command.add_argument("project", nargs="?", type=Path, default=Path(), help="project folder or storyboard file")
    command.add_argument("--to", metavar="SIZE", help="prune to this size, such as 2G; 0 = all that is not in use")
    command.add_argument("--dry-run", action="store_true", help="say what would go and remove nothing")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """List and prune."""
    from contextlib import nullcontext

    from assembler.prepare import CACHE_NAME, storyboard_path
    from assembler.render.holdings import holdings, limit_bytes, parse_size, prunable, remove
    from assembler.render.lock import only_run

    cache = storyboard_path(options.project).parent.resolve() / CACHE_NAME
    limit = limit_bytes(cache) if options.to is None else parse_size(options.to, "--to")
    if not cache.is_dir():
        _report(options, cache, [], set(), [], limit)
        return 0
    used = _used(options, cache)
    with nullcontext() if options.dry_run else only_run(cache):
        held = holdings(cache)
        going = prunable(cache, held, used, limit)
        gone = going if options.dry_run else remove(going)
    _report(options, cache, held, used, gone, limit)
    return 0


def _used(options: argparse.Namespace, cache: Path) -> set[Path]:
    """What stays, whatever its age. Without a storyboard that can be read, what takes long to make stays, too."""
    from assembler.cli.draft import draft_options
    from assembler.cli.main import read_arguments
    from assembler.errors import AssemblerError
    from assembler.prepare import prepare
    from assembler.render.draft import plan_draft
    from assembler.render.holdings import in_use, used_last

    try:
        prepared = prepare(options.project, say=None if options.json else Patience())
        wanted = draft_options(read_arguments(["draft", str(options.project), "--allow-code"]), prepared)
        parts = [part.path for part in plan_draft(prepared.timeline, prepared.cues, wanted)]
        return in_use(cache, prepared.timeline, parts)
    except AssemblerError as error:
        err(f"{error.problems[0]}\nwhat the storyboard uses is not known, so only parts and sound are pruned")
        return used_last(cache)


def _report(
    options: argparse.Namespace, cache: Path, held: list[Holding], used: set[Path], gone: list[Holding], limit: int
) -> None:
    from assembler.render.holdings import KINDS

    left = _bytes(held) - _bytes(gone)
    if options.json:
        kinds = {kind: [each for each in held if each.kind == kind] for kind in KINDS}
        print_json(
            "tidy",
            {
                "cache": str(cache),
                "limit_bytes": limit,
                "bytes": _bytes(held),
                "bytes_left": left,
                "dry_run": options.dry_run,
                "kinds": {
                    kind: {
                        "count": len(each),
                        "bytes": _bytes(each),
                        "in_use_bytes": _bytes(one for one in each if one.place in used),
                    }
                    for kind, each in kinds.items()
                },
                "removed": [
                    {"kind": each.kind, "path": each.place.relative_to(cache).as_posix(), "bytes": each.size_bytes}
                    for each in gone
                ],
            },
        )
        return
    rows = defaultdict(list)
    for each in held:
        rows[each.kind].append(each)
    for kind in (kind for kind in KINDS if kind in rows):
        using = _bytes(each for each in rows[kind] if each.place in used)
        out(f"{kind:12} {len(rows[kind]):6}  {_size(_bytes(rows[kind])):>9}  {_size(using):>9} in use")
    would = "would go" if options.dry_run else "removed"
    out(f"{would}: {counted(len(gone), 'thing')}, {_size(_bytes(gone))}; left: {_size(left)}, limit {_size(limit)}")
    if left > limit:
        err("what is left is in use, or too small and costly to make to be pruned")


def _bytes(held: Iterable[Holding]) -> int:
    return sum(each.size_bytes for each in held)


def _size(count: int) -> str:
    for unit, power in (("GiB", 30), ("MiB", 20), ("KiB", 10)):
        if count >= 1 << power:
            return f"{count / (1 << power):.1f} {unit}"
    return f"{count} B"
