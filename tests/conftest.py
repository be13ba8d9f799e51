"""What all tests share."""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

# How long an example takes says nothing on a machine that does other work besides.
settings.register_profile("patient", deadline=None)
settings.load_profile("patient")


def keep_bytecode_apart() -> None:
    """Where Python is told to write no bytecode, have it written in a temporary folder of this person's: else each of
    the few hundred programs that the tests start would compile the package anew."""
    if not sys.dont_write_bytecode or not hasattr(os, "getuid"):
        return
    folder = Path(tempfile.gettempdir()) / f"assembler-tests-bytecode-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    held = folder.lstat()
    if held.st_uid == os.getuid() and not held.st_mode & 0o077:  # else somebody else could put code there
        sys.dont_write_bytecode, sys.pycache_prefix = False, str(folder)
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = str(folder)


keep_bytecode_apart()


@pytest.fixture(scope="session", autouse=True)
def spared_disk() -> Iterator[None]:
    """No test waits until what it wrote has reached the disk: none of it need outlive a power cut. Programs that tests
    start do wait."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", lambda handle: None)
        yield


@pytest.fixture
def unheard_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    """Takes are used as where no recogniser is installed: listening to them is most of the work of a test in which it
    does not matter when their words are said."""
    from assembler.narration import recogniser

    monkeypatch.setattr(recogniser, "available", lambda: False)
