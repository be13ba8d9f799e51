"""A project's measurements: each capture measured once, put right by hand, and lined up by content."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from assembler.checks.measured import longest_frame_s
from assembler.errors import AssemblerError, Finding, MediaError, StoryboardError
from assembler.measure.clock import Clock
from assembler.measure.lineup import line_up
from assembler.measure.lineup_sound import Samples
from assembler.measure.log_match import lay_on, match
from assembler.measure.logs import FrameLog, load_log
from assembler.measure.masks import Rectangle
from assembler.measure.model import Cadence, LineUpResult, Thumbs
from assembler.measure.overrides import ByHand, apply_overrides, load_by_hand
from assembler.measure.store import measure_capture, missing_key
from assembler.measure.workers import Task, measure_at_once, workers_that_pay
from assembler.media.info import CaptureInfo
from assembler.media.sound import read_sound
from assembler.storyboard.model import Capture, Log, Storyboard, Summary
from assembler.storyboard.paths import resolve_inside
from assembler.timing.grammar import Time
from assembler.timing.rates import SAMPLE_RATE
from assembler.timing.timecode import clock as clock_label

MEASURE_FOLDER = "measure"
_LISTEN_S = 600  # of each capture, for the second witness of a line-up

Progress = Callable[[str, int, int], None]
"""Told which capture is measured, pictures done and in all."""


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A capture's measurement with a person's verdicts in it."""

    info: CaptureInfo
    clock: Clock
    cadence: Cadence
    read_thumbs: Callable[[], Thumbs]
    by_hand: ByHand

    @property
    def thumbs(self) -> Thumbs:
        """The small pictures, read anew each time: they are large."""
        return self.read_thumbs()


def measure(
    name: str, info: CaptureInfo, cache: Path, progress: Progress | None = None, proxy: Path | None = None
) -> Measured:
    """Measure one capture, or take up what was measured before. cache: the project's cache folder. proxy: as
    `measure_capture` has it.

    Raises MediaError, and StoryboardError for an unusable file of verdicts by hand.
    """
    clock, by_hand, masks = _by_hand(info)

    def tell(done: int, total: int) -> None:
        if progress is not None:
            progress(name, done, total)

    found = measure_capture(info, cache / MEASURE_FOLDER, masks=masks, proxy=proxy, progress=tell)
    cadence = apply_overrides(found.cadence, by_hand, clock)
    return Measured(info, clock, cadence, found.read_thumbs, by_hand)


def measure_all(
    captures: Mapping[str, CaptureInfo],
    cache: Path,
    progress: Progress | None = None,
    *,
    workers: int | None = None,
    failed: Callable[[str, MediaError], None] | None = None,
    proxies: Mapping[str, Path] | None = None,
) -> dict[str, Measured]:
    """Measure captures, several at once where that pays; what was measured before is taken up.

    workers: how many at once, each in a process of its own; None = as many as pay on this machine. failed: told of each
    capture that cannot be measured, and the others are; without it the first such MediaError is raised. proxies: for
    captures by name, where pieces of a proxy are made while they are measured.
    Raises as `measure` does, and AssemblerError where a process came to its end without an answer.
    """
    folder, proxies = cache / MEASURE_FOLDER, proxies or {}
    keys: dict[str, str] = {}
    tasks: dict[str, Task] = {}
    faults: dict[str, AssemblerError] = {}
    if len(captures) > 1 and workers != 1:
        for name, info in captures.items():
            masks = _by_hand(info)[2]
            with suppress(MediaError):  # said below, as of a capture that is measured alone
                if (key := missing_key(info, folder, masks)) is not None:
                    keys[name] = key
                    # A file that is named twice is measured once.
                    tasks.setdefault(key, Task(name, info, masks, proxies.get(name)))
        at_once = min(len(tasks), workers or workers_that_pay([task.info for task in tasks.values()]))
        if at_once > 1:
            said = measure_at_once(tuple(tasks.values()), folder, at_once, progress=progress)
            faults = {name: said[tasks[key].name] for name, key in keys.items() if tasks[key].name in said}
    found: dict[str, Measured] = {}
    for name, info in captures.items():
        try:
            if name in faults:
                raise faults[name]
            found[name] = measure(name, info, cache, progress, proxies.get(name))
        except MediaError as error:
            if failed is None:
                raise
            failed(name, error)
    return found


def _by_hand(info: CaptureInfo) -> tuple[Clock, ByHand, tuple[Rectangle, ...]]:
    """What a person wrote of a capture, and the parts to leave out. Raises StoryboardError."""
    clock = Clock.of(info)
    by_hand = load_by_hand(info.path, clock, info.width)
    return clock, by_hand, tuple((mask.x, mask.y, mask.width, mask.height) for mask in by_hand.masks)


def captures_to_measure(storyboard: Storyboard) -> tuple[str, ...]:
    """Captures that graphs or summaries are drawn of, and both sides of every line-up that is to be measured."""
    wanted: dict[str, None] = {}
    for segment in storyboard.segments:
        if segment.graphs is not None:
            wanted.update((pane.capture, None) for shot in segment.shots for pane in shot.arrangement.panes)
        for shot in segment.shots:
            if isinstance(shot.arrangement, Summary):
                wanted.update(dict.fromkeys(shot.arrangement.captures))
    for capture in storyboard.captures.values():
        if capture.line_up is not None and capture.line_up.offset is None:
            wanted.update({capture.line_up.partner: None, capture.id: None})
    return tuple(wanted)


def is_measured(info: CaptureInfo, cache: Path) -> bool:
    """Whether a capture was measured before, so that no time goes into it."""
    with suppress(MediaError):
        return missing_key(info, cache / MEASURE_FOLDER, _by_hand(info)[2]) is None
    return False


def offsets_to_verify(storyboard: Storyboard, captures: Mapping[str, CaptureInfo], cache: Path) -> Iterable[str]:
    """Both sides of every line-up with a written offset, where it costs nothing to see whether pictures bear it out."""
    for name, capture in storyboard.captures.items():
        link = capture.line_up
        if link is None or link.offset is None or not {name, link.partner} <= captures.keys():
            continue
        if all(is_measured(captures[side], cache) for side in (link.partner, name)):
            yield from (link.partner, name)


def line_up_pair(partner: Measured, capture: Measured, *, listen: bool = True) -> LineUpResult:
    """Where `capture` shows what `partner` shows at its own 0, by pictures, with sound as second witness."""
    sound = None
    if listen and partner.info.sound is not None and capture.info.sound is not None:
        heard = [_heard(each.info) for each in (partner, capture)]
        sound = (heard[0], 0.0, heard[1], 0.0)
    one, other = partner, capture
    return line_up(one.info, one.thumbs, one.cadence, other.info, other.thumbs, other.cadence, sound)


def _heard(info: CaptureInfo) -> Samples:
    assert info.sound is not None
    samples = int(min(info.duration_s, Fraction(_LISTEN_S)) * SAMPLE_RATE)
    return read_sound(info.path, info.sound, Fraction(0), samples, 1)


def line_ups(storyboard: Storyboard, measured: Mapping[str, Measured]) -> dict[str, LineUpResult]:
    """Every capture that names a partner, lined up with it by content, where both have been measured."""
    return {
        # A written offset is held against the pictures alone: reading minutes of sound for it takes too long.
        name: line_up_pair(measured[capture.line_up.partner], measured[name], listen=capture.line_up.offset is None)
        for name, capture in storyboard.captures.items()
        if capture.line_up is not None and name in measured and capture.line_up.partner in measured
    }


def with_measured_offsets(
    storyboard: Storyboard, measured: Mapping[str, Measured], lined_up: Mapping[str, LineUpResult]
) -> tuple[Storyboard, tuple[Finding, ...]]:
    """The storyboard with every missing offset filled in from measurement, and what is to be said of them.

    lined_up: what `line_ups` found. A typed offset stays; where what was found contradicts it, that is a finding.
    """
    findings: list[Finding] = []
    captures: dict[str, Capture] = {}
    for name, capture in storyboard.captures.items():
        captures[name] = capture
        link = capture.line_up
        if link is None or name not in lined_up:
            continue
        found = lined_up[name]
        if link.offset is None:
            clocks = measured[link.partner].clock, measured[name].clock
            findings.extend(_of_measured(capture, found, longest_frame_s(storyboard.canvas.rate, clocks)))
            offset = round(Fraction(found.offset_s), 6) if found.matched else Fraction(0)
            time = Time(f"{float(offset):.6f} s (measured)", storyboard.canvas.rate, second=offset)
            captures[name] = replace(capture, line_up=replace(link, offset=time))
        else:
            findings.extend(_of_typed(capture, link.offset, found, measured))
    return replace(storyboard, captures=captures), tuple(findings)


def _of_measured(capture: Capture, found: LineUpResult, frame_s: float) -> Iterable[Finding]:
    assert capture.line_up is not None
    place, partner = capture.at("line-up"), capture.line_up.partner
    if not found.matched:
        yield Finding(
            "error",
            "line-up-unknown",
            place,
            f"capture '{capture.id}' could not be lined up with '{partner}': {found.why}",
            "find one event in both and write the offset: {with: …, offset: -21 f}",
        )
        return
    margin_ms = 500 * (found.high_s - found.low_s)
    yield Finding(
        "note",
        "line-up-measured",
        place,
        f"capture '{capture.id}' is lined up with '{partner}' at {found.offset_s:+.4f} s ± {margin_ms:.1f} ms; "
        + found.why,
    )
    if found.high_s - found.low_s > frame_s:
        yield Finding(
            "warning",
            "line-up-unsure",
            place,
            f"the line-up of capture '{capture.id}' with '{partner}' is known to ± {margin_ms:.1f} ms only, which is "
            "more than a frame from end to end",
            "find one event in both by eye and write the offset: {with: …, offset: -21 f}",
        )
    if found.agree is False:
        yield Finding(
            "warning",
            "line-up-witnesses",
            place,
            f"pictures and sound of '{capture.id}' and '{partner}' do not agree on the line-up: pictures say "
            f"{found.offset_s:+.3f} s, sound {found.sound_offset_s:+.3f} s",
            "check one event by eye; machines may also differ in how late their sound is",
        )


def _of_typed(
    capture: Capture, offset: Time, found: LineUpResult, measured: Mapping[str, Measured]
) -> Iterable[Finding]:
    assert capture.line_up is not None
    both = (measured[name].clock.refresh() for name in (capture.id, capture.line_up.partner))
    slowest = min((float(refresh) for refresh in both if refresh), default=60.0)
    slack = 1 / slowest + (found.high_s - found.low_s) / 2
    if found.matched and abs(float(offset.seconds) - found.offset_s) > slack:
        yield Finding(
            "warning",
            "line-up-contradicted",
            capture.line_up.at("offset"),
            f"the offset of '{capture.id}' is written as {offset}, but the pictures match at {found.offset_s:+.3f} s",
            "leave `offset` away to use the measured one, or check one event by eye",
        )


def with_logs(
    storyboard: Storyboard, folder: Path, measured: Mapping[str, Measured]
) -> tuple[dict[str, Measured], tuple[Finding, ...]]:
    """Measurements with the cadence of brought-in logs in place of the measured one, and what is to be said of them.

    A log that cannot be read, or that does not belong on its capture, is an error, and the measured cadence stays.
    What a person decided by hand stays in any case.
    """
    found = dict(measured)
    findings: list[Finding] = []
    for name, capture in storyboard.captures.items():
        if capture.log is None:
            continue
        try:
            log = load_log(resolve_inside(folder, capture.log.file, capture.log.at("file")))
        except StoryboardError as error:
            findings.extend(_unreadable(capture.log, error))
            continue
        if name in measured:
            found[name], said = _with_log(capture, capture.log, log, measured[name])
            findings.extend(said)
    return found, tuple(findings)


def _unreadable(written: Log, error: StoryboardError) -> Iterable[Finding]:
    place = written.at("file")
    for problem in error.problems:
        inside = problem.place is not None and place is not None and problem.place.file != place.file
        where = f" (line {problem.place.line}, column {problem.place.column})" if inside and problem.place else ""
        what = f"the log '{written.file}' cannot be used: {problem.what}{where}"
        yield Finding("error", "log-unreadable", place, what, problem.mend)


def _with_log(capture: Capture, written: Log, log: FrameLog, found: Measured) -> tuple[Measured, list[Finding]]:
    fits = match(log, found.clock, found.cadence)
    what = f"the log of capture '{capture.id}'"
    if written.offset is None and not fits.matched:
        mend = "find one event in both and write where the log's 0 lies: {file: …, offset: 2.5 s}"
        fault = f"{what} could not be laid on it: {fits.why}"
        return found, [Finding("error", "log-unmatched", written.at(), fault, mend)]
    offset_s = fits.offset_s if written.offset is None else float(written.offset.seconds)
    start_s, end_s = offset_s + float(log.start_s[0]), offset_s + log.end_s
    length_s = float(found.clock.duration_s)
    if start_s >= length_s or end_s <= 0:
        fault = f"{what} lies outside it: it would reach from {start_s:.2f} s to {end_s:.2f} s of {length_s:.2f} s"
        mend = "`offset` is the time in the capture at which the log's clock stands at 0"
        return found, [Finding("error", "log-outside", written.at("offset"), fault, mend)]
    findings = []
    if written.offset is None:
        how = f"found by its rhythm, ± {500 * (fits.high_s - fits.low_s):.1f} ms"
    else:
        how = "as written"
        refresh = found.clock.refresh()
        slack = float(1 / refresh) if refresh else 1 / 60
        if fits.matched and not fits.low_s - slack <= offset_s <= fits.high_s + slack:
            fault = f"{what} is laid at {offset_s:+.3f} s, but its rhythm matches at {fits.offset_s:+.3f} s"
            mend = "leave `offset` away to use the one found, or check one event by eye"
            findings.append(Finding("warning", "log-contradicted", written.at("offset"), fault, mend))
    # States of a capture that cannot be counted are no better than its count.
    laid = lay_on(log, found.clock, offset_s, found.cadence if found.cadence.reliable else None)
    first, last = clock_label(Fraction(max(0.0, start_s))), clock_label(Fraction(min(length_s, end_s)))
    used = (
        f"frame times of capture '{capture.id}' are not measured but taken from the log '{written.file}', from {first} "
        f"to {last}; its 0 lies at {offset_s:+.3f} s ({how})"
    )
    if laid.hidden.any():
        used += f"; {int(laid.hidden.sum())} of its frames came and went between two pictures"
    findings.append(Finding("note", "log-used", written.at(), used))
    return replace(found, cadence=apply_overrides(laid.cadence, found.by_hand, found.clock)), findings
