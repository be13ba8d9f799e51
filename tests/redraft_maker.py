"""A small project that is edited step by step, for the tests of what an edit costs and that it changes nothing else.

    project = Project(tmp_path / "project")
    project.draft()
    project.storyboard = edited(project.storyboard)
    project.draft().made
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import av
import numpy as np
from media_maker import Sound, tone, write_clip

from assembler.captions.project import Files, write_result
from assembler.captions.retime import first_file
from assembler.media.writer import EncoderSettings
from assembler.prepare import Prepared, prepare
from assembler.render.draft import DraftOptions, DraftResult, plan_draft, render_draft
from assembler.render.parts import PlannedShot, by_shot

OPTIONS = DraftOptions(settings=EncoderSettings(preset="ultrafast", crf=15))


@dataclass(frozen=True)
class Scene:
    """A segment. show: captures; start: `from` of each; after: `say` with its length left to the words."""

    id: str
    say: str
    show: tuple[str, ...]
    start_s: float
    hear: str | None = None
    gain_db: int = 0
    graphs: bool = False
    dissolve: bool = False
    lasts: str | None = None


@dataclass(frozen=True)
class Board:
    """A storyboard. files: capture id to file."""

    scenes: tuple[Scene, ...]
    rate: str = "30"
    files: Mapping[str, str] = field(default_factory=lambda: {"a": "a.mp4", "b": "b.mp4"})
    subjects: Mapping[str, str] = field(default_factory=lambda: {"a": "ash", "b": "birch"})
    note: str = "desktop"
    title: str = "Test"

    def text(self) -> str:
        notes = dict(zip(self.files, (self.note, "handheld"), strict=True))
        subjects = ", ".join(
            f"{who}: {{name: {'Ash' if name == next(iter(self.files)) else 'Birch'}, note: {notes[name]}}}"
            for name, who in self.subjects.items()
        )
        captures = ", ".join(
            f"{name}: {{file: footage/{file}, subject: {self.subjects[name]}}}" for name, file in self.files.items()
        )
        lines = [
            "storyboard: 1",
            f"title: {self.title}",
            f"canvas: {{size: 160x90, rate: {self.rate}}}",
            f"subjects: {{{subjects}}}",
            f"captures: {{{captures}}}",
            "narration: {voice: none, lead: 0.1 s, pause: 0.1 s, tail: 0.2 s}",
            "segments:",
        ]
        for scene in self.scenes:
            panes = ", ".join(f"{{capture: {name}, from: {scene.start_s:.3f} s}}" for name in scene.show)
            how = f"side-by-side: [{panes}]" if len(scene.show) > 1 else f"full: {panes}"
            lines += [f"  - id: {scene.id}", f"    say: {scene.say}", f"    show: {{{how}}}"]
            if scene.lasts:
                lines.append(f"    lasts: {scene.lasts}")
            if scene.hear:
                lines.append(f"    hear: {{capture: {scene.hear}, gain: {scene.gain_db} dB}}")
            if scene.graphs:
                lines.append("    graphs: [frame-rate]")
            if scene.dissolve:
                lines.append("    enter: {dissolve: 0.2 s}")
        return "\n".join(lines) + "\n"

    def with_scene(self, number: int, **changes: object) -> Board:
        scenes = list(self.scenes)
        scenes[number] = replace(scenes[number], **changes)  # type: ignore[arg-type]
        return replace(self, scenes=tuple(scenes))

    def moved(self, place: int, to: int) -> Board:
        scenes = list(self.scenes)
        scenes.insert(to, scenes.pop(place))
        return replace(self, scenes=tuple(scenes))


BOARD = Board(
    (
        Scene("one", "The first words are said here.", ("a",), 0.1, hear="a"),
        Scene("two", "Then two machines are seen at once.", ("a", "b"), 0.3),
        Scene("three", "The third has a sound of its own.", ("b",), 0.2, hear="b"),
        Scene("four", "Last come the closing words.", ("a",), 0.9, hear="a"),
    )
)


@cache
def _clips() -> tuple[Path, ...]:
    """Three clips with other numbers and tones; the third takes the second one's place when it is changed."""
    import tempfile

    folder = Path(tempfile.mkdtemp(prefix="redraft-clips-"))
    made = []
    for number, (first, hertz) in enumerate(((0, 300), (200, 500), (400, 700))):
        sound = Sound(tone(hertz, seconds=4.0, level=0.3, channels=2), codec="aac")
        numbered = range(first, first + 120)
        made.append(write_clip(folder / f"{number}.mp4", pictures=numbered, rate=30, sound=sound, options={"g": "15"}))
    return tuple(made)


class Project:
    """A project folder that follows `board`."""

    def __init__(self, folder: Path, board: Board = BOARD) -> None:
        self.folder = folder
        (folder / "footage").mkdir(parents=True)
        for name, clip in zip(("a.mp4", "b.mp4"), _clips(), strict=False):
            shutil.copy(clip, folder / "footage" / name)
        self.board = board

    def prepared(self) -> Prepared:
        (self.folder / "storyboard.yaml").write_text(self.board.text(), encoding="utf-8")
        prepared = prepare(self.folder)
        assert not prepared.blocking
        return prepared

    def plan(self, options: DraftOptions = OPTIONS) -> tuple[PlannedShot, ...]:
        prepared = self.prepared()
        return by_shot(plan_draft(prepared.timeline, prepared.cues, options))

    def draft(self, options: DraftOptions = OPTIONS) -> DraftResult:
        prepared = self.prepared()
        return render_draft(prepared.timeline, prepared.cues, options, fonts=prepared.fonts, cancelled=lambda: False)

    def write_captions(self) -> Path:
        """Give the person a caption file to correct."""
        prepared = self.prepared()
        files = Files(self.folder, "en")
        write_result(files, first_file(prepared.timeline, prepared.cues), None)
        return files.captions

    def other_footage(self, name: str = "b.mp4") -> None:
        shutil.copy(_clips()[2], self.folder / "footage" / name)

    def copied_clean(self, folder: Path) -> Project:
        """The same project where nothing was ever made."""
        shutil.copytree(self.folder, folder, ignore=shutil.ignore_patterns(".assembler", "out"))
        clean = object.__new__(Project)
        clean.folder, clean.board = folder, self.board
        return clean


def hashes(path: Path) -> tuple[list[str], str]:
    """A digest of each decoded picture, and one of all decoded samples."""
    with av.open(str(path)) as container:
        shown = [
            hashlib.sha256(b"".join(bytes(plane) for plane in frame.planes)).hexdigest()
            for frame in container.decode(video=0)
        ]
    with av.open(str(path)) as container:
        heard = [np.ascontiguousarray(frame.to_ndarray()) for frame in container.decode(audio=0)]
    return shown, hashlib.sha256(np.concatenate(heard, axis=1).tobytes()).hexdigest()


def at_ntsc(board: Board) -> Board:
    """The same at a rate whose frames do not begin on whole samples."""
    assert Fraction(30_000, 1_001) < 30
    return replace(board, rate="29.97")
