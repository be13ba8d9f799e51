"""Render a draft: make the parts that changed, mix the sound, join, and land one file.

Whatever ends the run, finished parts stay, so the next run goes on where this one stopped, and the
draft before stays whole until the new one takes its place.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Literal, Protocol

from assembler.captions.cues import Cue
from assembler.captions.soft import soft_captions
from assembler.errors import UsageError
from assembler.media.join import join_parts
from assembler.media.leftovers import clear_left, clear_left_of
from assembler.media.memory import give_back
from assembler.media.proxies import Proxies
from assembler.media.soft_captions import SoftCaptions
from assembler.media.sound_coder import SoundBlock
from assembler.media.writer import EncoderSettings
from assembler.picture.fonts import shipped
from assembler.picture.stage import Stage
from assembler.render.ahead import listening
from assembler.render.destination import destination, refuse_unwritable
from assembler.render.fingerprint import Prints, source_path
from assembler.render.holdings import keep_within_limit
from assembler.render.interrupt import watch_interrupts
from assembler.render.jobs import PartJob
from assembler.render.lock import only_run
from assembler.render.part import Interrupted, PartTimes, Tools
from assembler.render.parts import PartStore, PlannedPart, PlannedShot, by_shot
from assembler.render.plan import PIECES_S, Counting, Drawn, chapters_of, plan_parts, span_of
from assembler.render.progress import Listener, Meter
from assembler.render.proxies import make_proxies
from assembler.render.workers import make_at_once, make_here, workers_that_pay
from assembler.storyboard.paths import resolve_inside
from assembler.timeline.model import Timeline
from assembler.timing.rates import SAMPLE_RATE, sample_of_frame
from assembler.timing.spans import Span

if TYPE_CHECKING:
    from assembler.picture.text import FontSet
    from assembler.sound.delivery import Delivery

CACHE_NAME = ".assembler"

QUICK = EncoderSettings(preset="ultrafast", quantiser=25, between=5, threads=1)
"""How drafts are coded: in about half the time of `superfast` with ten pictures looked ahead at CRF 22, and closer to
what was drawn, for two to three times the bits (benchmarks/RESULTS.md). A constant quality would have the coder judge
each picture beforehand; without pictures that lean on both sides it would take twice the bits again."""


@dataclass(frozen=True, slots=True)
class DraftOptions:
    """What to render and how.

    only: a segment's id; start_frame, end_frame: programme frames, half-open. size: of the output, or None for the
    canvas's. burn_captions, soft_captions (a track in the file): None = as the storyboard says. marks: timecode and
    `scratch` in the corner; counting: of what. out: None = out/draft.mp4 in the project. anew: keep no part.
    allow_code: run the project's own picture code. purpose: names the file and what is remembered of the run.
    sound_bit_rate: in bits a second. workers: processes to make parts in; None = as many as pay on this machine.
    proxies: read captures that cost much to decode by proxy, made where there is none; masters never do.
    """

    only: str | None = None
    start_frame: int | None = None
    end_frame: int | None = None
    size: tuple[int, int] | None = None
    burn_captions: bool | None = None
    soft_captions: bool | None = None
    marks: bool = True
    counting: Counting = "segment"
    settings: EncoderSettings = QUICK
    out: Path | None = None
    anew: bool = False
    allow_code: bool = False
    workers: int | None = None
    proxies: bool = False
    purpose: Literal["draft", "master"] = "draft"
    sound_bit_rate: int = 256_000


@dataclass(frozen=True, slots=True, eq=False)
class DraftResult:
    """What came of a run. times: of the parts that were made. sound: the mix's own report. captions: the track in the
    file, None where it has none."""

    path: Path
    span: Span
    parts: tuple[PlannedPart, ...]
    times: PartTimes
    join_s: float
    whole_s: float
    sound: object = None
    captions: SoftCaptions | None = None

    @property
    def made(self) -> int:
        """How many shots were rendered, wholly or in part."""
        return sum(shot.state == "made" for shot in self.shots)

    @property
    def shots(self) -> tuple[PlannedShot, ...]:
        """The parts, shot by shot."""
        return by_shot(self.parts)


class Sound(Protocol):
    """A span's sound. `report` is complete once the blocks have run to their end."""

    @property
    def report(self) -> object: ...

    def blocks(self) -> Iterable[SoundBlock] | Path:
        """Float32 (samples, 2) at 48 kHz, or the file they are coded in."""


OpenTools = Callable[[Timeline, DraftOptions], AbstractContextManager[Tools]]
MixSound = Callable[[Timeline, Span, Callable[[float, float], None]], Sound]
"""Called in a thread of its own, with what is to be told of seconds mixed and in all while it works ahead."""


def plan_draft(timeline: Timeline, cues: Sequence[Cue], options: DraftOptions) -> tuple[PlannedPart, ...]:
    """What `render_draft` would do, part by part. Reads, changes nothing. Raises UsageError."""
    destination(timeline, options.out, options.purpose)
    jobs = part_jobs(timeline, cues, options)
    return PartStore(timeline.folder / CACHE_NAME, options.purpose).plan(jobs, anew=options.anew)


def part_jobs(timeline: Timeline, cues: Sequence[Cue], options: DraftOptions) -> tuple[PartJob, ...]:
    """The parts that the frames asked for are made of, in order. Raises UsageError."""
    span = span_of(timeline, only=options.only, start_frame=options.start_frame, end_frame=options.end_frame)
    width, height = _size(timeline, options)
    burn = _burnt(timeline, options)
    drawn = Drawn(
        width,
        height,
        burn,
        options.marks,
        options.settings,
        options.counting,
        PIECES_S[options.purpose],
        options.proxies and options.purpose == "draft",
        options.purpose == "draft",
    )
    return plan_parts(timeline, cues, span, drawn, Prints(timeline, _font_files(timeline)))


def render_draft(
    timeline: Timeline,
    cues: Sequence[Cue],
    options: DraftOptions,
    progress: Listener | None = None,
    *,
    fonts: FontSet | None = None,
    open_tools: OpenTools | None = None,
    mix_sound: MixSound | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> DraftResult:
    """Render the programme, or the frames asked for, and land the draft.

    progress: told of each stage. fonts: to draw with; None = the shipped ones and the storyboard's.
    open_tools, mix_sound: other tools or sound than the real ones. cancelled: asked before each
    frame; None = SIGINT and SIGTERM are watched while this runs.
    Raises Interrupted (a KeyboardInterrupt), UsageError, MediaError, MissingPartError, RenderError.
    """
    with contextlib.ExitStack() as held:
        if cancelled is None:
            cancelled = held.enter_context(watch_interrupts())
        held.enter_context(only_run(timeline.folder / CACHE_NAME))
        mix_sound = mix_sound or partial(_coded, options)
        return _render(timeline, cues, options, progress, fonts, open_tools, mix_sound, cancelled)


def _render(
    timeline: Timeline,
    cues: Sequence[Cue],
    options: DraftOptions,
    progress: Listener | None,
    fonts: FontSet | None,
    open_tools: OpenTools | None,
    mix_sound: MixSound,
    cancelled: Callable[[], bool],
) -> DraftResult:
    began = time.perf_counter()
    refuse_unwritable(destination(timeline, options.out, options.purpose))
    store = PartStore(timeline.folder / CACHE_NAME, options.purpose)
    clear_left(timeline.folder / CACHE_NAME)
    clear_left_of(destination(timeline, options.out, options.purpose))  # captions that were being written beside it
    parts = plan_draft(timeline, cues, options)
    span = span_of(timeline, only=options.only, start_frame=options.start_frame, end_frame=options.end_frame)
    store.remember(part.job for part in parts)
    proxies = _proxies(timeline, options, parts, fonts, progress, cancelled) if open_tools is None else {}
    meter = Meter(progress, "pictures", span.frames)
    meter.skip(sum(part.frames for part in parts if part.state == "kept"))
    with listening(lambda tell: mix_sound(timeline, span, tell), cancelled) as listened:
        try:
            times = _make(timeline, options, parts, meter, fonts, proxies, open_tools, cancelled)
        except BaseException:
            clear_left(store.folder)  # what processes that were ended have left half written
            raise
        if cancelled():
            raise Interrupted
        out = destination(timeline, options.out, options.purpose)
        joining = time.perf_counter()
        seconds = ceil(Fraction(sample_of_frame(timeline.frames, timeline.rate), SAMPLE_RATE))
        sound = listened.result(Meter(progress, "sound", seconds, unit="seconds"))
    give_back()
    meter = Meter(progress, "joining", span.frames)

    def joined(done: int, _total: int) -> None:
        if cancelled():
            raise Interrupted
        meter.reach(done)

    soft = _soft_track(timeline, cues, span, options)
    join_parts(
        [part.path for part in parts],
        out,
        rate=timeline.rate,
        sound=sound.blocks(),
        chapters=chapters_of(timeline, span),
        title=timeline.storyboard.title,
        sound_coding=_delivery(options).coding,
        captions=soft,
        progress=joined,
    )
    whole = span.frames == timeline.frames
    store.tidy(parts, whole=whole)
    if whole:
        keep_within_limit(timeline.folder / CACHE_NAME, timeline, [part.path for part in parts])
    ended = time.perf_counter()
    return DraftResult(out, span, parts, times, ended - joining, ended - began, sound.report, soft)


def _burnt(timeline: Timeline, options: DraftOptions) -> bool:
    return timeline.storyboard.captions.burn if options.burn_captions is None else options.burn_captions


def _soft_track(timeline: Timeline, cues: Sequence[Cue], span: Span, options: DraftOptions) -> SoftCaptions | None:
    """The file's track of captions: as asked for, else as the storyboard says, else where none are burnt in."""
    asked = timeline.storyboard.captions.soft if options.soft_captions is None else options.soft_captions
    burnt = _burnt(timeline, options)
    if asked is False or (asked is None and burnt):
        return None
    return soft_captions(cues, span, timeline.storyboard.language, chosen=not burnt)


def _size(timeline: Timeline, options: DraftOptions) -> tuple[int, int]:
    width, height = options.size or (timeline.width, timeline.height)
    if width < 2 or height < 2 or width % 2 or height % 2:
        raise UsageError(f"a draft cannot be {width}x{height}", mend="choose an even width and height")
    return width, height


def _font_files(timeline: Timeline) -> list[Path]:
    own = [resolve_inside(timeline.folder, name, timeline.storyboard.at("fonts")) for name in timeline.storyboard.fonts]
    return [face.path for bold in (False, True) for face in shipped(bold)] + own


def _make(
    timeline: Timeline,
    options: DraftOptions,
    parts: Sequence[PlannedPart],
    meter: Meter,
    fonts: FontSet | None,
    proxies: Mapping[str, Proxies],
    open_tools: OpenTools | None,
    cancelled: Callable[[], bool],
) -> PartTimes:
    """Make what is to be made; tools that were given can only be used in this process."""
    from assembler.render.tools import PictureTools

    missing = [part for part in parts if part.state == "made"]
    sources = {name: source_path(timeline, name) for part in missing for name in part.job.sources}
    if open_tools is not None:
        return make_here(missing, lambda: open_tools(timeline, options), sources, meter, cancelled)
    if not missing:
        return PartTimes()
    stage = stage_for(timeline, options, fonts, proxies)
    pay = options.workers or workers_that_pay([part.job for part in missing], timeline.captures)
    if (workers := min(len(missing), pay)) > 1:
        return make_at_once(missing, stage, sources, workers, meter, cancelled)
    return make_here(missing, lambda: PictureTools(stage), sources, meter, cancelled)


def _proxies(
    timeline: Timeline,
    options: DraftOptions,
    parts: Sequence[PlannedPart],
    fonts: FontSet | None,
    progress: Listener | None,
    cancelled: Callable[[], bool],
) -> Mapping[str, Proxies]:
    """The proxies that the parts to be made are read by, those that are missing made."""
    jobs = [part.job for part in parts if part.state == "made" and part.job.by_proxy]
    if not jobs:
        return {}
    sources = {name: source_path(timeline, name) for job in jobs for name in job.sources}
    stage = stage_for(timeline, options, fonts)
    return make_proxies(jobs, stage, timeline.folder / CACHE_NAME, sources, progress, cancelled)


def stage_for(
    timeline: Timeline,
    options: DraftOptions,
    fonts: FontSet | None = None,
    proxies: Mapping[str, Proxies] | None = None,
) -> Stage:
    """What the programme is drawn on and with. fonts: None = the shipped ones and the storyboard's."""
    from assembler.picture.text import FontSet

    storyboard = timeline.storyboard
    if fonts is None:
        own = (resolve_inside(timeline.folder, name, storyboard.at("fonts")) for name in storyboard.fonts)
        fonts = FontSet(tuple(own))
    width, height = _size(timeline, options)
    return Stage(
        width=width,
        height=height,
        bits=options.settings.bits,
        rate=timeline.rate,
        subjects=storyboard.subjects,
        captures=timeline.captures,
        fonts=fonts,
        folder=timeline.folder,
        canvas=(timeline.width, timeline.height),
        allow_code=options.allow_code,
        measured=timeline.measured,
        proxies=proxies or {},
        quick=options.purpose == "draft",
    )


def _delivery(options: DraftOptions) -> Delivery:
    from assembler.sound.delivery import draft_delivery, master_delivery

    return (draft_delivery if options.purpose == "draft" else master_delivery)(options.sound_bit_rate)


def _coded(options: DraftOptions, timeline: Timeline, span: Span, tell: Callable[[float, float], None]) -> Sound:
    from assembler.sound.kept import kept_sound

    return kept_sound(timeline, span, _delivery(options), timeline.folder / CACHE_NAME, tell)
