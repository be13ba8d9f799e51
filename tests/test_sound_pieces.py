"""Sound coded by pieces is as good as coded in one go, is heard as it is, and is coded again only where it changed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assembler.media.coded_pieces import LEAD, decode_packets
from assembler.media.sound_coder import FRAME, SoundCoding, code_sound
from assembler.sound import listening, pieces
from assembler.sound.delivery import Delivery, deliver
from assembler.sound.hearing import Heard, Listener
from assembler.sound.levels import measure
from assembler.sound.limiter import Bounds
from assembler.sound.pieces import Pieces
from assembler.sound.spool import Spool
from assembler.sound.stems import Stems
from assembler.sound.truepeak import REACH
from assembler.sound.windows import SAMPLES, coded_windows, windows
from assembler.timeline.model import Timeline
from assembler.timing.spans import Span
from tests.sound_maker import RATE, Array, babble, ebur128, game_sound, hear, spoken, timeline

QUICK = SoundCoding(256_000, quick=True)


def blocks(sound: Array, length: int = RATE) -> Iterator[Array]:
    return (sound[first : first + length] for first in range(0, len(sound), length))


def made_sound(kind: str, samples: int) -> Array:
    random, at = np.random.default_rng(11), np.arange(samples)
    if kind == "noise":
        mono = 0.2 * random.standard_normal(samples)
    elif kind == "tone":
        mono = 0.4 * np.sin(2 * np.pi * 440 * at / RATE)
    elif kind == "drums":
        mono = random.standard_normal(samples) * 0.6 * np.exp(-(at % 7001) / 400)
    elif kind == "clicks":
        mono = 0.8 * (at % 701 == 0)
    else:  # quiet, and a bang at each seam
        near = np.abs((at + SAMPLES // 2) % SAMPLES - SAMPLES // 2) < 1500
        mono = random.standard_normal(samples) * np.where(near, 0.5, 0.001)
    return np.stack((mono, 0.5 * mono), axis=1).astype(np.float32)


def decoded(path: Path) -> Array:
    with av.open(str(path)) as container:
        stream = container.streams.audio[0]
        packets = [bytes(packet) for packet in container.demux(stream) if packet.size]
        header = bytes(stream.codec_context.extradata or b"")
    return decode_packets(header, packets)[FRAME:]


# --- coding ---


@pytest.mark.parametrize("kind", ["noise", "tone", "drums", "clicks", "bangs at the seams"])
def test_seams_are_as_close_to_what_went_in_as_when_all_is_coded_in_one_go(kind: str, tmp_path: Path) -> None:
    # Common practice, no source: nobody may hear where two pieces meet.
    sound = made_sound(kind, 2 * SAMPLES + 30_000)
    with Pieces(None, QUICK, 2.0) as coder:
        coder.code(blocks(sound), len(sound))
        coder.write(tmp_path / "pieces.m4a")
    code_sound(blocks(sound), tmp_path / "whole.m4a", QUICK)
    off, off_whole = (decoded(tmp_path / f"{name}.m4a")[: len(sound)] - sound for name in ("pieces", "whole"))
    assert len(off) == len(off_whole) == len(sound)

    def strength(error: Array, frame: int) -> float:
        return float(np.sqrt(np.square(error[frame * FRAME : (frame + 1) * FRAME], dtype=np.float64).mean()))

    for seam in (SAMPLES // FRAME, 2 * SAMPLES // FRAME):
        for frame in range(seam - 3, seam + 4):
            assert strength(off, frame) <= 1.2 * strength(off_whole, frame) + 1e-5


@pytest.mark.parametrize(
    "samples", [1, 500, FRAME, SAMPLES - 1, SAMPLES, SAMPLES + 1, SAMPLES + FRAME + 1, 2 * SAMPLES, 2 * SAMPLES + 777]
)
def test_pieces_hold_the_sound_to_the_sample_and_what_is_heard_of_them_is_what_a_player_decodes(
    samples: int, tmp_path: Path
) -> None:
    sound = made_sound("drums", samples)
    limit = 0.5
    with Pieces(None, QUICK, limit) as coder:
        heard = coder.code(blocks(sound, 7001), samples)
        coder.write(tmp_path / "a.m4a")
    with av.open(str(tmp_path / "a.m4a")) as container:
        packets = [packet for packet in container.demux(container.streams.audio[0]) if packet.size]
    assert packets[-1].pts + packets[-1].duration == samples
    assert packets[0].pts == -FRAME
    whole = Listener(limit)
    whole.add(decoded(tmp_path / "a.m4a")[:samples])
    expected = whole.end()
    np.testing.assert_allclose(heard.power, expected.power, rtol=1e-5, atol=1e-12)
    np.testing.assert_array_equal(heard.places, expected.places)
    np.testing.assert_allclose(heard.peaks, expected.peaks, rtol=1e-6)
    assert heard.highest == pytest.approx(expected.highest, rel=1e-6)
    assert heard.places.size or samples < 5_000
    kept = Heard.of_bytes(heard.as_bytes())
    for name in ("power", "places", "peaks"):
        assert getattr(kept, name).tobytes() == getattr(heard, name).tobytes()
    assert kept.highest == heard.highest


def test_windows_hold_each_sample_once_and_what_lies_around() -> None:
    samples = 2 * SAMPLES + 5
    sound = np.arange(samples, dtype=np.float32)[:, None]
    cut = list(coded_windows(blocks(sound, 10_007), samples))
    own = np.concatenate([window.sound[window.first : window.end] for window in cut])
    np.testing.assert_array_equal(own, sound)
    assert [window.first for window in cut] == [0, LEAD * FRAME, LEAD * FRAME]
    assert [window.last for window in cut] == [False, False, True]
    assert all(len(window.sound) == window.end + (0 if window.last else FRAME) for window in cut)
    assert cut[1].sound[0, 0] == SAMPLES - LEAD * FRAME
    assert list(coded_windows(blocks(sound[:0]), 0)) == []


# --- what is kept ---


def hum(seconds: int, level: float) -> Array:
    """Noise without the high part that the coder drops, so that it is as loud coded as before."""
    white = np.random.default_rng(1).standard_normal((seconds * RATE + 15, 2))
    return (level * sum(white[at : at + seconds * RATE] for at in range(16))).astype(np.float32)


class Counted:
    """How often pieces are coded and heard."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.coded = self.heard = self.listened = 0
        code, listen, before = pieces.code_piece, pieces.hear_part, listening._rows

        def coding(*told: object, **named: object) -> object:
            self.coded += 1
            return code(*told, **named)  # type: ignore[arg-type]

        def hearing(*told: object) -> object:
            self.heard += 1
            return listen(*told)  # type: ignore[arg-type]

        def rows(*told: object) -> object:
            self.listened += 1
            return before(*told)  # type: ignore[arg-type]

        patch.setattr(pieces, "code_piece", coding)
        patch.setattr(pieces, "hear_part", hearing)
        patch.setattr(listening, "_rows", rows)

    def take(self) -> tuple[int, int, int]:
        """Pieces listened to before they were mixed, coded, and heard again, since this was last asked for."""
        told = self.listened, self.coded, self.heard
        self.coded = self.heard = self.listened = 0
        return told


def programme(folder: Path, *, second: int = 1, seconds: int = 60) -> Timeline:
    """A minute of the same sentence, but for the one from 32 s on, over a capture's sound."""
    game = game_sound(folder, hum(seconds, 0.003))
    one, other = spoken(folder, "one", babble(2), 0), spoken(folder, f"other {second}", babble(2, seed=second), 0)
    starts = range(2, seconds - 4, 5)
    lines = [replace(other if start == 32 else one, start_sample=start * RATE) for start in starts]
    return timeline(folder, seconds * 60, lines=lines, heard=[hear(0, seconds * RATE)], game=game)


def delivered(made: Timeline, path: Path, kept: Path | None, stems: Path) -> bytes:
    stored = Stems(stems)
    levels = measure(made, stems=stored, pieces=kept)
    deliver(made, Span(0, made.frames), levels, stored, Delivery(QUICK, 4, 0.2, 0.2), path, pieces=kept)
    return path.read_bytes()


def test_only_pieces_in_which_something_changes_are_coded_again_and_the_file_is_that_of_a_clean_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted = Counted(monkeypatch)
    kept, stems = tmp_path / "pieces", tmp_path / "stems"
    first = delivered(programme(tmp_path), tmp_path / "a.m4a", kept, stems)
    assert counted.take() == (8, 8, 8)
    assert delivered(programme(tmp_path), tmp_path / "b.m4a", kept, stems) == first
    assert counted.take() == (0, 0, 0)
    changed = delivered(programme(tmp_path, second=2), tmp_path / "c.m4a", kept, stems)
    # The sentence at 32 to 34 s lies in the piece from 32 to 40 s, near enough to its beginning for the one before it
    # and for what is heard of that to change.
    listened, coded, heard = counted.take()
    assert 1 <= listened <= 2
    assert 1 <= coded <= 2
    assert 1 <= heard <= 3
    assert changed != first
    clean = delivered(programme(tmp_path, second=2), tmp_path / "d.m4a", None, tmp_path / "other stems")
    assert clean == changed


def test_a_damaged_piece_is_made_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    counted = Counted(monkeypatch)
    kept, stems = tmp_path / "pieces", tmp_path / "stems"
    first = delivered(programme(tmp_path), tmp_path / "a.m4a", kept, stems)
    counted.take()
    for kind in (".aac", ".heard", ".rows"):
        path = sorted(kept.glob(f"*{kind}"))[3]
        data = bytearray(path.read_bytes())
        data[len(data) // 2] ^= 1
        path.write_bytes(data)
    sorted(kept.glob("*.aac"))[0].write_bytes(b"")
    assert delivered(programme(tmp_path), tmp_path / "b.m4a", kept, stems) == first
    assert counted.take() == (1, 2, 1)


def test_peaks_brought_under_the_limit_have_only_their_pieces_coded_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    random = np.random.default_rng(4)
    seconds = 40
    sound = hum(seconds, 0.02)
    for start in np.arange(17.0, 23.0, 0.4):  # bangs of noise, which the coder makes higher
        place = int(start * RATE)
        sound[place : place + 600] = np.clip(2.0 * random.standard_normal((600, 2)), -1, 1)
    game = game_sound(tmp_path, sound)
    made = timeline(tmp_path, seconds * 60, heard=[hear(0, len(sound))], game=game)
    stems = Stems(tmp_path / "stems")
    levels = replace(measure(made, stems=stems), margin_db=0.3, bounds=Bounds())
    counted = Counted(monkeypatch)
    path = tmp_path / "a.m4a"
    found = deliver(made, Span(0, made.frames), levels, stems, Delivery(QUICK, 4, 0.2, 0.2), path)
    assert found.rounds > 1
    # The first time all five pieces, then the one of the bangs.
    assert counted.take()[1] == 5 + (found.rounds - 1)
    # Source: ITU-R BS.1770-5's true peak as the ebur128 filter of imageio-ffmpeg's program reads it.
    assert ebur128(path)[1] <= -1.0


def cut(made: Timeline, *lengths: int) -> Timeline:
    """The same in segments of so many frames."""
    ends = np.cumsum(lengths).tolist()
    spans = [Span(end - length, end) for end, length in zip(ends, lengths, strict=True)]
    (only,) = made.segments
    empty = replace(only, lines=(), heard=())
    return replace(made, segments=(replace(only, span=spans[0]), *(replace(empty, span=span) for span in spans[1:])))


@pytest.mark.parametrize("longer", [3, 1, 7])
def test_what_follows_a_longer_segment_is_not_listened_to_again(
    longer: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = [spoken(tmp_path, f"line {number}", babble(3, seed=number), 0) for number in range(5)]

    def made(first: int) -> Timeline:
        starts = [RATE, *((first + at * 300 + 60) * 800 for at in range(4))]
        lines = [replace(line, start_sample=start) for line, start in zip(said, starts, strict=True)]
        return cut(timeline(tmp_path, first + 1200, lines=lines), first, 300, 300, 300, 300)

    counted = Counted(monkeypatch)
    kept = tmp_path / "pieces"
    measure(made(300), pieces=kept)
    assert counted.take()[0] == 5
    again = measure(made(300 + longer), pieces=kept)
    assert counted.take()[0] <= 2  # the longer one, and what begins before its sound is forgotten
    clean = measure(made(300 + longer))
    assert again.gain_db == clean.gain_db
    assert again.report == clean.report
    for name in ("power", "peaks"):
        found, expected = getattr(again, name), getattr(clean, name)
        assert found.read(0, found.size).tobytes() == expected.read(0, expected.size).tobytes()


@given(lengths=st.lists(st.integers(1, 40), min_size=1, max_size=6), seed=st.integers(0, 9))
@settings(max_examples=30, deadline=None)
def test_rows_of_pieces_that_begin_anywhere_are_those_of_the_whole(lengths: list[int], seed: int) -> None:
    # By hand: the energy is the same, shared out by the time, and no peak is told lower than it is.
    samples = sum(lengths) * 800
    sound = np.random.default_rng(seed).standard_normal((samples, 5)).astype(np.float32) * np.float32(0.1)
    edges = np.cumsum([0, *(length * 800 for length in lengths)]).tolist()
    rows = []
    for cuts in ([0, samples], edges):
        found = listening.Listened(Spool(), Spool(), Spool(4))
        grid = listening._Grid(found)
        for window, end in zip(windows(blocks(sound, 7001), cuts, 9600, REACH), cuts[1:], strict=True):
            grid.add(end, *listening._rows(window, 0.0))
        grid.end()
        rows.append([each.read(0, each.size) for each in (found.whole, found.peaks)])
    (power, peaks), (power_cut, peaks_cut) = rows
    assert power_cut.size == power.size == samples // 48
    assert peaks_cut.size == peaks.size == -(-samples // 48)
    assert power_cut.sum() == pytest.approx(power.sum(), rel=0.02)
    assert (peaks_cut >= peaks * (1 - 1e-6)).all()
    around = np.maximum(peaks, np.maximum(np.append(peaks[1:], 0), np.append(0, peaks[:-1])))
    assert (peaks_cut <= around * (1 + 1e-6)).all()


@pytest.mark.parametrize("step_db", [0.0, 0.2])
def test_the_gain_goes_in_whole_steps_where_they_are_asked_for(step_db: float, tmp_path: Path) -> None:
    made = programme(tmp_path, seconds=10)
    levels = measure(made)
    stepped = levels.stepped(step_db)
    assert abs(stepped.gain_db - levels.gain_db) <= step_db / 2 + 1e-9
    if step_db:
        assert Fraction(stepped.gain_db / step_db).limit_denominator(1000).denominator == 1
    else:
        assert stepped is levels
    assert stepped.report.gain_db == stepped.gain_db
