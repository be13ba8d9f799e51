"""`assembler doctor`: what this machine has, what it lacks, and how to mend that."""

from __future__ import annotations

import argparse
import platform
import shutil
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import metadata, util
from pathlib import Path
from typing import Any

from assembler.cli.output import out, print_json

PACKAGES = (
    "av", "freetype-py", "moviepy", "num2words", "numba", "numpy", "Pillow", "pydub", "pyloudnorm", "pysrt",
    "python-bidi", "PyYAML", "rich", "scipy", "uharfbuzz",
    *(("audioop-lts",) if sys.version_info >= (3, 13) else ()),
)  # fmt: skip
LOW_DISK_GIB = 5


@dataclass(frozen=True, slots=True)
class Check:
    """One thing looked at. `needed`: whether drafts are impossible without it."""

    name: str
    found: bool
    detail: str
    needed: bool = True
    mend: str = ""


def add(commands: Any) -> None:
    """Add this command to the parser."""
    command = commands.add_parser("doctor", help="say what this machine has and what it lacks")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Exit code 3 when something that drafts need is missing."""
    checks = tuple(_checks())
    lacking = any(check.needed and not check.found for check in checks)
    if options.json:
        fields = ("name", "found", "detail", "needed", "mend")
        print_json("doctor", {"checks": [{name: getattr(check, name) for name in fields} for check in checks]})
        return 3 if lacking else 0
    for check in checks:
        mark = "ok     " if check.found else "MISSING" if check.needed else "absent "
        out(f"{mark}  {check.name:22} {check.detail}".rstrip())
        if not check.found:
            out(f"           mend: {check.mend}")
    out("something that drafts need is missing" if lacking else "everything that drafts need is here")
    return 3 if lacking else 0


def _checks() -> Iterator[Check]:
    yield Check("Python", True, platform.python_version())
    for name in PACKAGES:
        yield _package(name)
    yield from _codecs()
    yield _fonts()
    yield _voice()
    yield _recogniser()
    yield _ear()
    yield _disk()


def _package(name: str) -> Check:
    try:
        return Check(name, True, metadata.version(name))
    except metadata.PackageNotFoundError:
        return Check(name, False, "", mend=f"pip install {name}")


def _codecs() -> Iterator[Check]:
    jobs = {"libx264": "drafts", "aac": "sound", "libx265": "10-bit masters"}
    try:
        from assembler.media.codecs import encoders_at_hand

        at_hand = encoders_at_hand(tuple(jobs))
    except ImportError:
        at_hand = dict.fromkeys(jobs, False)
    for name, there in at_hand.items():
        mend = "install PyAV from its wheel: pip install --only-binary av av"
        yield Check(f"encoder {name}", there, jobs[name], needed=name != "libx265", mend=mend)


def _fonts() -> Check:
    from assembler.errors import AssemblerError

    try:
        from assembler.picture.text import FontSet

        missing = FontSet().missing("Aé0Ωж")
    except (AssemblerError, ImportError) as error:
        return Check("fonts", False, str(error), mend="install assembler again: its wheel carries them")
    return Check("fonts", not missing, "shipped family and fallbacks", mend="install assembler again")


def _voice() -> Check:
    there = util.find_spec("espeakng_loader") is not None
    detail = "speaks lines that have no take yet" if there else "lines without a take stay silent"
    return Check("scratch voice", there, detail, needed=False, mend="pip install 'assembler[voice]'")


def _recogniser() -> Check:
    there = util.find_spec("pocketsphinx") is not None
    detail = "finds words in takes" if there else "word times inside takes are estimates"
    return Check("word finder", there, detail, needed=False, mend="pip install 'assembler[takes]'")


def _ear() -> Check:
    from assembler.narration import ear

    there = ear.available()
    detail = "hears takes without the script" if there else "fewer readers' takes are found and believed"
    return Check("listener", there, detail, needed=False, mend="pip install 'assembler[ear]'")


def _disk() -> Check:
    free_gib = shutil.disk_usage(Path()).free / 2**30
    return Check(
        "disk here", free_gib > LOW_DISK_GIB, f"{free_gib:.0f} GiB free", needed=False, mend="make room for drafts"
    )
