"""Make a master: full quality from the captures themselves, joined, and then held against what it was to be.

The file carries `unverified` in its name until every point is seen to hold; one that does not hold keeps a name
that says so. A master that stood there before is kept beside the new one.

Parts are encoded in one pass, at constant quality under a cap. A second pass at the same mean rate was tried
(benchmarks/two_pass.py): it costs twice the time and gained nothing, whether the cap was met seldom or always.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from assembler.captions.cues import Cue
from assembler.media.landing import land, write_error, write_whole
from assembler.media.writer import EncoderSettings
from assembler.render.classes import REFERENCES, Codec, Frame, frame_for
from assembler.render.destination import destination
from assembler.render.draft import DraftOptions, DraftResult, MixSound, OpenTools, plan_draft, render_draft
from assembler.render.parts import PlannedPart
from assembler.render.plan import chapters_of
from assembler.render.progress import Listener, Meter
from assembler.render.verify import Verified, Wanted, verify
from assembler.sound.report import MixReport
from assembler.timeline.model import Timeline

if TYPE_CHECKING:
    from assembler.picture.text import FontSet

# Common practice, no source: visually the same as the pictures that went in, at each codec's own scale.
QUALITY = {"h264": 17, "hevc": 19}
PRESETS = {"h264": "slow", "hevc": "medium"}
_ENCODERS = {"h264": "libx264", "hevc": "libx265"}
# A picture that can be sought to at least every half second. Common practice of upload platforms, no source.
_KEYINT_S = Fraction(1, 2)
# AAC-LC stereo; what platforms ask for. Common practice, no source.
_SOUND_BIT_RATE = 384_000


@dataclass(frozen=True, slots=True)
class MasterOptions:
    """What to make. codec: H.264 High of 8 bits, or HEVC Main 10 of 10. upload: a class by name (see classes.py), or
    None = what the canvas needs. quality: constant quality, lower is better; preset: of the encoder; None = as usual.
    burn_captions: into the picture. out: None = out/master.mp4 in the project. anew, allow_code, workers: as in a
    draft."""

    codec: Codec = "h264"
    upload: str | None = None
    quality: int | None = None
    preset: str | None = None
    burn_captions: bool = False
    out: Path | None = None
    anew: bool = False
    allow_code: bool = False
    workers: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class MasterResult:
    """What came of a run. path: where the file lies, under a name that says so if a point failed. report: the same as
    JSON. before: where the master that was there before lies now. draft: what the renderer tells of its run."""

    path: Path
    report: Path
    frame: Frame
    verified: Verified
    draft: DraftResult
    before: Path | None = None


def settings_for(frame: Frame, options: MasterOptions) -> EncoderSettings:
    """How a master's parts are encoded."""
    codec = options.codec
    return EncoderSettings(
        codec="libx264" if codec == "h264" else "libx265",
        preset=options.preset or PRESETS[codec],
        crf=QUALITY[codec] if options.quality is None else options.quality,
        keyint_s=_KEYINT_S,
        bits=8 if codec == "h264" else 10,
        max_rate=frame.cap,
        buffer=frame.buffer,
        level=frame.level.name,
        references=REFERENCES if codec == "h264" else 0,
    )


def plan_master(timeline: Timeline, cues: Sequence[Cue], options: MasterOptions) -> tuple[PlannedPart, ...]:
    """What `render_master` would do, part by part. Reads, changes nothing. Raises UsageError."""
    return plan_draft(timeline, cues, _as_draft(timeline, options))


def render_master(
    timeline: Timeline,
    cues: Sequence[Cue],
    options: MasterOptions,
    progress: Listener | None = None,
    *,
    fonts: FontSet | None = None,
    open_tools: OpenTools | None = None,
    mix_sound: MixSound | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> MasterResult:
    """Render, join, verify, and give the file its name. The arguments are those of `render_draft`.

    Raises what that raises. A point that fails is no error here: see `MasterResult.verified`.
    """
    asked = destination(timeline, options.out, "master")
    # None of the names it may come to have may be that of a file the programme is made from.
    unverified, failed, before = (
        destination(timeline, asked.with_name(f"{asked.stem}.{state}.mp4"), "master")
        for state in ("unverified", "failed", "before")
    )
    wanted = _as_draft(timeline, options)
    draft = render_draft(
        timeline, cues, replace(wanted, out=unverified), progress,
        fonts=fonts, open_tools=open_tools, mix_sound=mix_sound, cancelled=cancelled,
    )  # fmt: skip
    meter = Meter(progress, "verifying", timeline.frames)
    frame = _frame(timeline, options)
    verified = verify(
        unverified,
        Wanted(
            frames=timeline.frames,
            rate=timeline.rate,
            frame=frame,
            settings=wanted.settings,
            title=timeline.storyboard.title,
            chapters=chapters_of(timeline, draft.span),
            parts=[part.path for part in draft.parts],
            captions=len(draft.captions.captions) if draft.captions else None,
            sound=draft.sound if isinstance(draft.sound, MixReport) else None,
        ),
        lambda done, _total: meter.reach(done),
    )
    path = failed if verified.failed else asked
    kept = None if verified.failed else _kept_before(asked, before, failed)
    land(unverified, path)
    report = path.with_suffix(".report.json")
    about = {"file": path.name, "codec": options.codec, "class": frame.upload.name if frame.upload else None}
    write_whole(report, json.dumps(about | verified.as_data(), ensure_ascii=False, indent=2).encode() + b"\n")
    return MasterResult(path, report, frame, verified, replace(draft, path=path), kept)


def _kept_before(path: Path, before: Path, failed: Path) -> Path | None:
    """Put the master that is there aside; it has perhaps been handed on. A failed one of an earlier run goes."""
    for gone in (failed, failed.with_suffix(".report.json")):
        with contextlib.suppress(OSError):
            gone.unlink(missing_ok=True)
    if not path.exists():
        return None
    try:
        path.replace(before)
    except OSError as error:
        raise write_error(before, error) from error
    return before


def _frame(timeline: Timeline, options: MasterOptions) -> Frame:
    return frame_for((timeline.width, timeline.height), timeline.rate, options.codec, options.upload)


def _as_draft(timeline: Timeline, options: MasterOptions) -> DraftOptions:
    frame = _frame(timeline, options)
    return DraftOptions(
        size=(frame.width, frame.height),
        burn_captions=options.burn_captions,
        marks=False,
        settings=settings_for(frame, options),
        out=options.out,
        anew=options.anew,
        allow_code=options.allow_code,
        workers=options.workers,
        purpose="master",
        sound_bit_rate=_SOUND_BIT_RATE,
    )
