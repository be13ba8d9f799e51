"""Can the voice be followed over what lies under it, and is there music for as long as it was asked for?

Distances are those of Torcoli et al., J. Audio Eng. Soc. 67(12), 2019: at least 10 LU between a commentary and music
under it, at least 15 LU over ambience. The sound of a capture is taken for ambience. WCAG 2 (1.4.7, AAA) asks for
20 dB.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from math import floor

from assembler.errors import Finding, Place
from assembler.sound.report import MixReport, SegmentSound
from assembler.storyboard.keys_sound import DUCK_LIMITS
from assembler.timeline.model import PlacedMusic, PlacedSegment, Timeline
from assembler.timing.rates import SAMPLE_RATE
from assembler.timing.timecode import clock

OVER_MUSIC_LU = 10.0
OVER_CAPTURES_LU = 15.0
SOURCE = "Torcoli et al., JAES 67(12), 2019"

_UNHEARD_S = Fraction(1, 10)
"""A gap in music that nobody notices. Common practice, no source."""
_OFF_TARGET_LU = 0.5
_OFF_LIMIT_DB = 0.05
"""What a reading to one decimal does not show."""


def music_lengths(timeline: Timeline) -> Iterator[Finding]:
    """Music that ends before the stretch that it was asked for."""
    for placed in timeline.music:
        music = placed.music
        start_s, end_s = music.start.seconds, placed.info.duration_s
        asked_s = Fraction(placed.end_sample - placed.start_sample, SAMPLE_RATE)
        if start_s >= end_s:
            what = f"'{music.file}' is played from {clock(start_s)}, but it ends at {clock(end_s)}"
            yield Finding("warning", "music-too-short", music.at("from"), what, "let it begin earlier")
        elif not music.loop and (short_s := asked_s - (end_s - start_s)) > _UNHEARD_S:
            begins_s = Fraction(placed.start_sample, SAMPLE_RATE)
            what = (
                f"'{music.file}' ends at {clock(begins_s + end_s - start_s)} of the programme, "
                f"{float(short_s):.2f} s before it was to"
            )
            mend = "let it begin anew with `loop: true`, name fewer `segments`, or leave it so if silence is meant"
            yield Finding("warning", "music-too-short", music.at("file"), what, mend)


def sound_findings(timeline: Timeline, report: MixReport) -> Iterator[Finding]:
    """What the mix shows: background too near the voice, a programme that does not reach its loudness, and peaks of
    coded sound that are over their limit."""
    by_id = {placed.segment.id: placed for placed in timeline.segments}
    for heard in report.segments:
        yield from _distance(timeline, by_id[heard.segment], heard)
    settings = timeline.storyboard.sound
    reached = report.programme_lufs
    if reached is not None and reached < report.target_lufs - _OFF_TARGET_LU:
        yield Finding(
            "warning",
            "programme-quiet",
            settings.at("loudness") or timeline.storyboard.at(),
            f"the programme reaches only {reached:.1f} LUFS of {report.target_lufs:g} LUFS",
            "record louder or raise what is quiet (gain); it is raised by 20 dB at most, so that hiss is not",
        )
    peak = report.true_peak_dbtp
    if peak is not None and peak > report.limit_dbtp + _OFF_LIMIT_DB:
        yield Finding(
            "warning",
            "peak-high",
            settings.at("peak") or timeline.storyboard.at(),
            f"the true peak of the coded sound is {peak:.1f} dBTP, above {report.limit_dbtp:g} dBTP",
            "lower what bangs (gain), or write a lower `sound: {peak: …}`; a master tries longer to keep the limit",
        )


def _distance(timeline: Timeline, placed: PlacedSegment, heard: SegmentSound) -> Iterator[Finding]:
    captures_lu, music_lu = heard.over(heard.captures_lufs), heard.over(heard.music_lufs)
    music = _music_in(timeline, placed)
    near = False
    if captures_lu is not None and captures_lu < OVER_CAPTURES_LU and placed.segment.hear:
        near = True
        hear = placed.segment.hear[0]
        names = " and ".join(f"'{each.capture}'" for each in placed.segment.hear)
        gain = f"`hear: {{capture: {hear.capture}, gain: {_lowered(hear.gain_db, OVER_CAPTURES_LU - captures_lu)}}}`"
        yield _near(timeline, placed, f"the sound of {names}", captures_lu, OVER_CAPTURES_LU, hear.at(), gain)
    if music_lu is not None and music_lu < OVER_MUSIC_LU and music is not None:
        near = True
        gain = f"`gain: {_lowered(music.music.gain_db, OVER_MUSIC_LU - music_lu)}`"
        what = f"the music '{music.music.file}'"
        yield _near(timeline, placed, what, music_lu, OVER_MUSIC_LU, music.music.at("file"), gain)
    both_lu = heard.over(heard.background_lufs)
    if not near and both_lu is not None and both_lu < OVER_MUSIC_LU and music is not None:
        gain = f"`gain: {_lowered(music.music.gain_db, OVER_MUSIC_LU - both_lu)}` or lower for the music"
        what = "captures and music together"
        yield _near(timeline, placed, what, both_lu, OVER_MUSIC_LU, music.music.at("file"), gain)


def _music_in(timeline: Timeline, placed: PlacedSegment) -> PlacedMusic | None:
    """The first music that plays in a segment."""
    per_sample = timeline.rate / SAMPLE_RATE
    for music in timeline.music:
        if music.start_sample * per_sample < placed.span.end_frame and (
            music.end_sample * per_sample > placed.span.start_frame
        ):
            return music
    return None


def _lowered(gain_db: float, short_lu: float) -> str:
    return f"{max(-60, floor(gain_db - short_lu))} dB"


def _near(
    timeline: Timeline,
    placed: PlacedSegment,
    thing: str,
    distance_lu: float,
    least_lu: float,
    place: Place | None,
    gain: str,
) -> Finding:
    duck_db = floor(timeline.storyboard.sound.duck_db - (least_lu - distance_lu))
    deeper = f", or lower everything more under speech: `sound: {{duck: {duck_db} dB}}`"
    return Finding(
        "warning",
        "background-near",
        place,
        f"{thing} lies {_distance_told(distance_lu)} the voice in '{placed.segment.id}'; for the voice to be followed "
        f"easily it should lie at least {least_lu:g} LU under it ({SOURCE})",
        f"lower it: {gain}" + (deeper if duck_db >= DUCK_LIMITS[0] else ""),
    )


def _distance_told(distance_lu: float) -> str:
    return f"{distance_lu:.1f} LU under" if distance_lu >= 0 else f"{-distance_lu:.1f} LU above"
