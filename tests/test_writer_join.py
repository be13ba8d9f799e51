"""Parts and joins: every picture where it belongs, sound in step, and never half a file."""

from __future__ import annotations

import errno
import itertools
import os
import signal
import subprocess
import sys
import textwrap
import threading
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

import av
import imageio_ffmpeg
import numpy as np
import pytest
from media_maker import click_track, number_in, number_picture

from assembler.errors import MissingPartError, RenderError
from assembler.media.join import Chapter, join_parts
from assembler.media.landing import landing
from assembler.media.planes import Planes, blank
from assembler.media.writer import EncoderSettings, PartWriter, clock_of, count_pictures, frame_planes
from assembler.render.draft import QUICK as DRAFT

QUICK = EncoderSettings(preset="ultrafast")
WITH_B = EncoderSettings(preset="veryfast")  # pictures decoded in another order than shown
WIDTH, HEIGHT = 162, 90
RATES = [Fraction(60), Fraction(60_000, 1_001), Fraction(24_000, 1_001), Fraction(25)]


def write_part(
    path: Path, numbers: Sequence[int], *, rate: Fraction = Fraction(60), settings: EncoderSettings = QUICK
) -> Path:
    with PartWriter(path, width=WIDTH, height=HEIGHT, rate=rate, settings=settings) as writer:
        for number in numbers:
            canvas = writer.canvas()
            canvas.y[:] = number_picture(number, WIDTH, HEIGHT, bits=settings.bits)
            canvas.u[:] = canvas.v[:] = 128 << (settings.bits - 8)
            writer.submit()
    return path


def write_parts(folder: Path, lengths: Sequence[int], **how: object) -> list[Path]:
    parts, first = [], 0
    for place, length in enumerate(lengths):
        numbers = range(first, first + length)
        parts.append(write_part(folder / f"part{place}.mp4", numbers, **how))  # type: ignore[arg-type]
        first += length
    return parts


def decoded(path: Path) -> list[av.VideoFrame]:
    with av.open(str(path)) as container:
        return list(container.decode(video=0))


def silence(frames: int, rate: Fraction) -> Iterator[np.ndarray]:
    samples = -(-frames * 48_000 * rate.denominator // rate.numerator)
    for start in range(0, samples, 48_000):
        yield np.zeros((min(48_000, samples - start), 2), np.float32)


@pytest.mark.parametrize("rate", RATES)
def test_a_part_holds_each_picture_at_its_exact_time(tmp_path: Path, rate: Fraction) -> None:
    part = write_part(tmp_path / "a.mp4", range(40), rate=rate, settings=WITH_B)
    frames = decoded(part)
    assert [number_in(frame_planes(frame, 8).y) for frame in frames] == list(range(40))
    # Source: picture k of an even clock shows at k / rate.
    assert [frame.pts * frame.time_base for frame in frames] == [k / rate for k in range(40)]
    assert frames[0].key_frame


@pytest.mark.parametrize("settings", [WITH_B, EncoderSettings(codec="libx265", preset="ultrafast", bits=10)])
def test_a_part_says_how_its_codes_mean_light(tmp_path: Path, settings: EncoderSettings) -> None:
    part = write_part(tmp_path / "a.mp4", range(5), settings=settings)
    # Source: Rec. ITU-T H.273: BT.709 is 1 for primaries, transfer and matrix; FFmpeg's 1 is limited range.
    for frame in decoded(part):
        assert (frame.color_primaries, frame.color_trc, frame.colorspace, frame.color_range) == (1, 1, 1, 1)
        assert frame.format.name == settings.pixel_format
    with av.open(str(part)) as container:
        assert container.streams.video[0].codec_context.profile in ("High", "Main 10")
        assert [number_in(frame_planes(f, settings.bits).y) for f in container.decode(video=0)] == list(range(5))


@pytest.mark.skipif(sys.platform != "linux", reason="uses a switch of the GNU C library")
def test_the_same_pictures_make_the_same_part_whatever_was_in_memory_before(tmp_path: Path) -> None:
    script = """
        import sys
        from fractions import Fraction
        from pathlib import Path
        import numpy as np
        from scipy.ndimage import gaussian_filter
        from assembler.media.writer import PartWriter
        noise = [gaussian_filter(np.random.default_rng(1).normal(size=(360, 640)), blur) for blur in (2, 5)]
        noise = [np.rint((n - n.min()) / (n.max() - n.min()) * 219 + 16).astype(np.uint8) for n in noise]
        with PartWriter(Path(sys.argv[1]), width=320, height=180, rate=Fraction(60)) as writer:
            for k in range(30):  # two pictures that move, and cuts between them
                canvas = writer.canvas()
                canvas.y[:] = noise[k % 5 == 0][3 * k : 3 * k + 180, 7 * k : 7 * k + 320]
                canvas.u[:] = canvas.v[:] = 128
                writer.submit()
    """
    made = set()
    for filling in ("0", "85", "170"):  # Source: mallopt(3): memory handed out is filled with this
        path = tmp_path / f"{filling}.mp4"
        subprocess.run(
            [sys.executable, "-c", textwrap.dedent(script), str(path)],
            env={**os.environ, "MALLOC_PERTURB_": filling},
            check=True,
        )
        made.add(path.read_bytes())
    assert len(made) == 1


def test_a_part_can_be_written_from_planes_made_elsewhere(tmp_path: Path) -> None:
    plain = blank(WIDTH, HEIGHT)
    with PartWriter(tmp_path / "a.mp4", width=WIDTH, height=HEIGHT, rate=Fraction(30), settings=QUICK) as writer:
        for number in range(12):
            writer.write(Planes(number_picture(number, WIDTH, HEIGHT), plain.u, plain.v))
    assert [number_in(frame_planes(frame, 8).y) for frame in decoded(tmp_path / "a.mp4")] == list(range(12))


@pytest.mark.parametrize(
    ("rate", "clock"),
    [(Fraction(60), (Fraction(1, 15_360), 256)), (Fraction(60_000, 1_001), (Fraction(1, 60_000), 1_001))],
)
def test_the_clock_is_exact_and_is_the_one_the_file_keeps(rate: Fraction, clock: tuple[Fraction, int]) -> None:
    # Source: arithmetic: ticks a picture x tick = 1 / rate.
    assert clock_of(rate) == clock
    assert clock[0] * clock[1] == 1 / rate


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("settings", [QUICK, WITH_B, DRAFT])
def test_joined_parts_of_any_length_keep_every_picture(
    tmp_path: Path, rate: Fraction, settings: EncoderSettings
) -> None:
    lengths = [1, 2, 37, 1, 61, 1, 1, 2]
    parts = write_parts(tmp_path, lengths, rate=rate, settings=settings)
    out = tmp_path / "out.mp4"
    assert join_parts(parts, out, rate=rate, sound=silence(sum(lengths), rate)) == sum(lengths)
    frames = decoded(out)
    assert [number_in(frame_planes(frame, 8).y) for frame in frames] == list(range(sum(lengths)))
    assert [frame.pts * frame.time_base for frame in frames] == [k / rate for k in range(sum(lengths))]
    # A stream copy: each decoded picture is the part's own, bit for bit.
    alone = [frame for part in parts for frame in decoded(part)]
    for joined, own in zip(frames, alone, strict=True):
        assert np.array_equal(frame_planes(joined, 8).y, frame_planes(own, 8).y)


@pytest.mark.parametrize("settings", [WITH_B, DRAFT])
def test_decoding_times_rise_and_another_decoder_finds_no_fault(tmp_path: Path, settings: EncoderSettings) -> None:
    parts = write_parts(tmp_path, [1, 2, 37, 61, 1], settings=settings)
    out = tmp_path / "out.mp4"
    join_parts(parts, out, rate=Fraction(60), sound=silence(102, Fraction(60)))
    with av.open(str(out)) as container:
        for kind in ("video", "audio"):
            container.seek(0)
            stream = getattr(container.streams, kind)[0]
            packets = [packet for packet in container.demux(stream) if packet.size]
            times = [packet.dts for packet in packets]
            assert all(a < b for a, b in itertools.pairwise(times))
            assert all(packet.pts >= packet.dts for packet in packets)
    # Source: an independent build of FFmpeg, told to stop at the first fault and to print warnings.
    run = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "warning", "-xerror", "-err_detect", "explode"]
    done = subprocess.run([*run, "-i", str(out), "-f", "null", "-"], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_ten_bit_parts_join_as_well(tmp_path: Path) -> None:
    settings = EncoderSettings(codec="libx265", preset="ultrafast", bits=10)
    parts = write_parts(tmp_path, [1, 1, 2, 12, 1, 1, 5], settings=settings)
    join_parts(parts, tmp_path / "out.mp4", rate=Fraction(60), sound=None)
    assert [number_in(frame_planes(f, 10).y) for f in decoded(tmp_path / "out.mp4")] == list(range(23))


def test_parts_of_another_quality_join_and_of_another_preset_do_not(tmp_path: Path) -> None:
    first = write_part(tmp_path / "a.mp4", range(9), settings=EncoderSettings(crf=18))
    softer = write_part(tmp_path / "b.mp4", range(9, 18), settings=EncoderSettings(crf=30, keyint_s=Fraction(1, 10)))
    other = write_part(tmp_path / "c.mp4", range(9, 18), settings=QUICK)
    out = tmp_path / "out.mp4"
    assert join_parts([first, softer], out, rate=Fraction(60), sound=None) == 18
    assert [number_in(frame_planes(frame, 8).y) for frame in decoded(out)] == list(range(18))
    with pytest.raises(RenderError, match="codec headers differ"):
        join_parts([first, other], tmp_path / "no.mp4", rate=Fraction(60), sound=None)
    assert not (tmp_path / "no.mp4").exists()


def test_a_part_at_another_rate_or_damaged_is_refused_by_name(tmp_path: Path) -> None:
    good = write_part(tmp_path / "good.mp4", range(9))
    slow = write_part(tmp_path / "slow.mp4", range(9), rate=Fraction(25))
    broken = tmp_path / "broken.mp4"
    broken.write_bytes(good.read_bytes()[:500])
    for bad in (slow, broken):
        with pytest.raises(RenderError, match=bad.name):
            join_parts([good, bad], tmp_path / "out.mp4", rate=Fraction(60), sound=None)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["broken.mp4", "good.mp4", "slow.mp4"]


@pytest.mark.parametrize("rate", [Fraction(60), Fraction(60_000, 1_001)])
def test_sound_stays_in_step(tmp_path: Path, rate: Fraction) -> None:
    frames = 190
    parts = write_parts(tmp_path, [95, 95], rate=rate)
    samples = -(-frames * 48_000 * rate.denominator // rate.numerator)
    clicks = click_track([Fraction(1, 10), Fraction(1), Fraction(3)], seconds=Fraction(samples, 48_000))
    blocks = (clicks[start : start + 5_000] for start in range(0, samples, 5_000))  # not the codec's size
    join_parts(parts, tmp_path / "out.mp4", rate=rate, sound=blocks)
    with av.open(str(tmp_path / "out.mp4")) as container:
        heard = list(container.decode(audio=0))
    wave = np.abs(np.concatenate([frame.to_ndarray() for frame in heard], axis=1)[0])
    origin = heard[0].pts * heard[0].time_base
    for time in (Fraction(1, 10), Fraction(1), Fraction(3)):
        place = round((time - origin) * 48_000)
        window = wave[place - 2_000 : place + 2_000]
        # Source: ITU-R BT.1359 lets sound lead by tens of ms; we ask 5 ms.
        assert abs(int(window.argmax()) - 2_000) < 240
        assert window.max() > 0.3


def test_sound_that_is_not_as_long_as_the_pictures_is_refused(tmp_path: Path) -> None:
    parts = write_parts(tmp_path, [60])
    for samples in (47_900, 48_100):
        with pytest.raises(RenderError, match="samples long"):
            join_parts(parts, tmp_path / "out.mp4", rate=Fraction(60), sound=[np.zeros((samples, 2), np.float32)])
    assert not (tmp_path / "out.mp4").exists()
    assert not list(tmp_path.glob("*partial*"))


def test_chapters_and_title_are_read_back(tmp_path: Path) -> None:
    rate = Fraction(60_000, 1_001)
    parts = write_parts(tmp_path, [60, 60], rate=rate)
    chapters = [Chapter("Öffnung & <more>", 0, 40), Chapter("終わり", 40, 120)]
    out = tmp_path / "out.mp4"
    join_parts(parts, out, rate=rate, sound=None, chapters=chapters, title="Two machines")
    with av.open(str(out)) as container:
        found = container.chapters()
        assert container.metadata["title"] == "Two machines"
    assert [chapter["metadata"]["title"] for chapter in found] == ["Öffnung & <more>", "終わり"]
    # Source: arithmetic: frame 40 begins at 40 x 1001 / 60000 s, which no millisecond is.
    places = [(chapter["start"] * chapter["time_base"], chapter["end"] * chapter["time_base"]) for chapter in found]
    assert places == [(0, 40 / rate), (40 / rate, 120 / rate)]


def test_the_chapter_list_never_points_before_a_chapters_first_picture(tmp_path: Path) -> None:
    rate = Fraction(24_000, 1_001)
    parts = write_parts(tmp_path, [1, 9], rate=rate)
    out = tmp_path / "out.mp4"
    join_parts(parts, out, rate=rate, sound=None, chapters=[Chapter("a", 0, 1), Chapter("b", 1, 10)])
    data = out.read_bytes()
    # Source: the layout of `chpl`, from memory: 9 bytes, then for each chapter its start in units of 100 ns
    # (8 bytes), the title's length (1 byte) and the title.
    place = data.index(b"chpl") + 4 + 9 + 8 + 1 + len("a")
    start = Fraction(int.from_bytes(data[place : place + 8], "big"), 10_000_000)
    assert 0 <= start - 1 / rate < Fraction(1, 10_000_000)


def test_pixels_are_said_to_be_square_in_parts_and_joined(tmp_path: Path) -> None:
    parts = write_parts(tmp_path, [3, 3])
    out = tmp_path / "out.mp4"
    join_parts(parts, out, rate=Fraction(60), sound=None)
    for path in (*parts, out):
        with av.open(str(path)) as container:
            assert container.streams.video[0].sample_aspect_ratio == 1
        # Source: ISO/IEC 14496-12: `pasp` gives the spacing across, then down, 4 bytes each.
        data = path.read_bytes()
        place = data.index(b"pasp") + 4
        assert data[place : place + 8] == bytes([0, 0, 0, 1, 0, 0, 0, 1])


def test_the_index_lies_before_the_pictures(tmp_path: Path) -> None:
    out = tmp_path / "out.mp4"
    join_parts(write_parts(tmp_path, [30]), out, rate=Fraction(60), sound=None)
    data = out.read_bytes()
    # Source: ISO/IEC 14496-12: `moov` is the index, `mdat` the pictures.
    assert 0 < data.index(b"moov") < data.index(b"mdat")


def test_a_thousand_parts_join_with_few_files_open(tmp_path: Path) -> None:
    part = write_part(tmp_path / "part.mp4", range(2))
    script = """
        import resource, sys
        from fractions import Fraction
        from pathlib import Path
        resource.setrlimit(resource.RLIMIT_NOFILE, (40, 40))
        from assembler.media.join import join_parts
        print(join_parts([Path(sys.argv[1])] * 1000, Path(sys.argv[2]), rate=Fraction(60), sound=None))
    """
    run = [sys.executable, "-c", textwrap.dedent(script), str(part), str(tmp_path / "out.mp4")]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    assert (done.stdout.strip(), done.stderr) == ("2000", "")
    assert count_pictures(tmp_path / "out.mp4") == 2000


def test_an_error_while_painting_leaves_nothing_and_keeps_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "a.mp4"
    path.write_bytes(b"older")
    with (
        pytest.raises(ZeroDivisionError),
        PartWriter(path, width=64, height=64, rate=Fraction(60), settings=QUICK) as writer,
    ):
        for _ in range(20):
            writer.canvas().y[:] = 99
            writer.submit()
        raise ZeroDivisionError
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("a.mp4", b"older")]


def test_an_error_in_the_encoder_thread_reaches_the_caller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer = PartWriter(tmp_path / "a.mp4", width=64, height=64, rate=Fraction(60), settings=QUICK)

    class Full:
        def mux(self, packets: object) -> None:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        def close(self) -> None:
            return None

    real = writer._container
    monkeypatch.setattr(writer, "_container", Full())
    with pytest.raises(MissingPartError, match="no room left"), writer:
        for _ in range(500):
            writer.canvas().y[:] = 50
            writer.submit()
    real.close()
    assert writer._submitted < 500
    assert list(tmp_path.glob("a*")) == []


def test_a_part_that_comes_out_short_never_gets_its_name(tmp_path: Path) -> None:
    writer = PartWriter(tmp_path / "a.mp4", width=64, height=64, rate=Fraction(60), settings=QUICK)
    writer.canvas().y[:] = 50
    writer.submit()
    writer._submitted += 1  # as if the encoder had swallowed one
    with pytest.raises(RenderError, match="2 pictures were encoded but 1 can be read back"):
        writer.close()
    assert list(tmp_path.iterdir()) == []


def test_odd_sizes_and_unknown_presets_are_refused(tmp_path: Path) -> None:
    with pytest.raises(RenderError, match="even"):
        PartWriter(tmp_path / "a.mp4", width=63, height=64, rate=Fraction(60), settings=QUICK)
    with pytest.raises(MissingPartError, match="libx264"):
        PartWriter(tmp_path / "a.mp4", width=64, height=64, rate=Fraction(60), settings=EncoderSettings(preset="no"))
    assert list(tmp_path.iterdir()) == []
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("encode")]


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs a signal that cannot be caught")
def test_a_killed_writer_leaves_nothing_under_the_parts_name(tmp_path: Path) -> None:
    script = """
        import sys
        from fractions import Fraction
        from pathlib import Path
        from assembler.media.writer import PartWriter
        writer = PartWriter(Path(sys.argv[1]), width=320, height=180, rate=Fraction(60))
        for number in range(100000):
            writer.canvas().y[:] = number % 200
            writer.submit()
            if number == 100:
                print("going", flush=True)
    """
    path = tmp_path / "a.mp4"
    run = [sys.executable, "-c", textwrap.dedent(script), str(path)]
    with subprocess.Popen(run, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "going\n"
        process.kill()
        process.wait()
    assert not path.exists()


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of 1 MiB, where the system lets us make one."""
    folder = tmp_path / "small"
    folder.mkdir()
    made = sys.platform == "linux" and os.geteuid() == 0
    made = made and not subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)], capture_output=True, check=False
    ).returncode
    if not made:
        pytest.skip("no right to mount a small file system here")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def noise(canvas: Planes, seed: int) -> None:
    canvas.y[:] = np.random.default_rng(seed).integers(16, 235, canvas.y.shape, np.uint8)
    canvas.u[:] = canvas.v[:] = 128


def test_a_full_disk_ends_a_part_with_one_clear_error(small_disk: Path) -> None:
    with (
        pytest.raises(MissingPartError, match="no room left on the disk") as caught,
        PartWriter(small_disk / "a.mp4", width=320, height=180, rate=Fraction(60), settings=QUICK) as writer,
    ):
        for seed in range(200):
            noise(writer.canvas(), seed)
            writer.submit()
    assert caught.value.exit_code == 3
    assert list(small_disk.iterdir()) == []


def test_a_full_disk_ends_a_join_and_keeps_the_file_before(tmp_path: Path, small_disk: Path) -> None:
    part = tmp_path / "big.mp4"
    with PartWriter(part, width=320, height=180, rate=Fraction(60), settings=QUICK) as writer:
        for seed in range(60):
            noise(writer.canvas(), seed)
            writer.submit()
    assert part.stat().st_size > 1 << 20
    out = small_disk / "draft.mp4"
    out.write_bytes(b"older")
    with pytest.raises(MissingPartError, match="no room left"):
        join_parts([part], out, rate=Fraction(60), sound=silence(60, Fraction(60)))
    assert [(p.name, p.read_bytes()) for p in small_disk.iterdir()] == [("draft.mp4", b"older")]


def test_a_disk_that_fails_at_the_last_step_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("assembler.media.landing.os.fsync", full)
    with pytest.raises(MissingPartError, match="no room left"):
        write_part(tmp_path / "a.mp4", range(3))
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_may_not_be_written_to_is_named(tmp_path: Path) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.write_bytes(b"")
    with pytest.raises(RenderError, match="file"), landing(in_the_way / "a.mp4"):
        pass


def test_stopping_a_join_from_its_progress_leaves_no_file(tmp_path: Path) -> None:
    parts = write_parts(tmp_path, [150])

    def stop(done: int, total: int) -> None:
        assert total == 150
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        join_parts(parts, tmp_path / "out.mp4", rate=Fraction(60), sound=None, progress=stop)
    assert [path.name for path in tmp_path.iterdir()] == ["part0.mp4"]
