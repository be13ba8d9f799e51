"""Masters: what is made, what is found in it, and what is said when it is not what it was to be."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import imageio_ffmpeg
import numpy as np
import pytest
from media_maker import Sound, number_in, tone, write_sound
from render_maker import NumberTools, Scene, cue, programme, with_tools

from assembler.cli.main import main
from assembler.errors import UsageError
from assembler.media.boxes import layout_of
from assembler.media.finished import read_finished
from assembler.media.join import join_parts
from assembler.media.sound_coder import SoundCoding
from assembler.media.writer import PartWriter, frame_planes
from assembler.render.classes import frame_for
from assembler.render.draft import DraftOptions, plan_draft, render_draft
from assembler.render.master import MasterOptions, MasterResult, plan_master, render_master, settings_for
from assembler.render.verify import Wanted, verify
from assembler.sound.report import MixReport
from assembler.timeline.model import Timeline
from assembler.timing.spans import Span

SCENES = [Scene("a", [40, 1]), Scene("b", [20], dissolve=4), Scene("c", [3])]
FRAMES = 64
CUES = (cue(3, 20, "One."), cue(25, 60, "Two & <three>."))
H264 = MasterOptions(preset="superfast")
HEVC = MasterOptions(codec="hevc", preset="superfast")

# Source: BS.1770 (two channels in phase, 997 Hz, K gain such that 0 dBFS in one is -3.01): 20 lg of the level.
LEVEL = 10 ** (-14 / 20)
REPORT = MixReport(-14.0, -1.0, -14.0, -14.0, None, None, None, None, None, None, 0.0, 0.0)


class Hum:
    """A tone at -14 LUFS, as long as a span, or `louder` by some decibels than is told of it."""

    louder_db = 0.0

    def __init__(self, timeline: Timeline, span: Span, tell: Callable[[float, float], None]) -> None:
        samples = round(span.frames * 48_000 / timeline.rate)
        wave = LEVEL * 10 ** (self.louder_db / 20) * np.sin(2 * np.pi * 997 * np.arange(samples) / 48_000)
        self.wave = np.repeat(wave[:, None], 2, axis=1).astype(np.float32)
        self.report = REPORT

    def blocks(self) -> Iterator[np.ndarray]:
        yield from np.array_split(self.wave, 5)


class Hiss(Hum):
    """Noise, which a coder has no use for fewer bits in."""

    def __init__(self, *told: object) -> None:
        super().__init__(*told)  # type: ignore[arg-type]
        self.wave = np.random.default_rng(3).normal(0, 0.1, self.wave.shape).astype(np.float32)


class TooLoud(Hum):
    louder_db = 3.0


class OverThePeak(Hum):
    louder_db = 13.9  # a sine's peak: -0.1 dBFS

    def __init__(self, *told: object) -> None:
        super().__init__(*told)  # type: ignore[arg-type]
        self.report = replace(REPORT, programme_lufs=-0.1)


def master(timeline: Timeline, options: MasterOptions = H264, mix: type[Hum] = Hum, **more: object) -> MasterResult:
    return render_master(
        timeline, CUES, options, open_tools=with_tools(NumberTools()), mix_sound=mix, cancelled=lambda: False, **more
    )  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("options", "told"),
    [(H264, "h264 High level 3 (avc1)"), (HEVC, "hevc Main 10 level 3 (hvc1)")],
    ids=["h264", "hevc"],
)
@pytest.mark.parametrize("rate", [Fraction(30), Fraction(60_000, 1_001)])
def test_a_master_is_whole_and_another_decoder_finds_no_fault(
    tmp_path: Path, options: MasterOptions, told: str, rate: Fraction
) -> None:
    result = master(programme(tmp_path, SCENES, rate), options)
    points = {point.name: point for point in result.verified.points}
    assert {point.state for point in result.verified.points} == {"ok"}, result.verified.points
    assert points["codec"].found == told
    assert points["captions"].found == "2, eng"
    assert result.path == tmp_path / "out" / "master.mp4"
    assert not list(result.path.parent.glob("*unverified*"))
    bits = 8 if options is H264 else 10
    with av.open(str(result.path)) as container:
        shown = [(number_in(frame_planes(f, bits).y), f.pts * f.time_base) for f in container.decode(video=0)]
    assert [number for number, _ in shown[:41]] == list(range(41))
    # Source: picture k of an even clock shows at k / rate.
    assert [time for _, time in shown] == [k / rate for k in range(FRAMES)]
    # Source: an independent build of FFmpeg, told to stop at the first fault and to print warnings.
    run = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "warning", "-xerror", "-err_detect", "explode"]
    run += ["-i", str(result.path), "-f", "null", "-"]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_what_the_file_says_of_itself_is_what_the_standards_write(tmp_path: Path) -> None:
    result = master(programme(tmp_path, SCENES))
    raw = result.path.read_bytes()
    assert 0 < raw.index(b"moov") < raw.index(b"mdat")
    # Source: ISO/IEC 14496-12 12.1.5 and Rec. ITU-T H.273: BT.709, narrow range: 19 bytes in all.
    assert bytes.fromhex("00000013 636f6c72 6e636c78 0001 0001 0001 00") in raw
    # Source: ISO/IEC 14496-15 5.3.3.1: version 1, profile 100 (High), no constraints, level_idc 30.
    assert bytes.fromhex("61766343 01 64 00 1e") in raw
    report = json.loads(result.report.read_text(encoding="utf-8"))
    assert (report["passed"], report["file"]) == (True, "master.mp4")
    assert (report["codec"], report["class"]) == ("h264", "720p30")
    assert report["pictures"] == FRAMES
    # Source: arithmetic: the hum is -14 LUFS and its peak -14 dBFS.
    assert report["sound"]["loudness_lufs"] == pytest.approx(-14, abs=0.1)
    assert report["sound"]["true_peak_dbtp"] == pytest.approx(-14, abs=0.3)


def test_a_sound_track_is_of_full_quality(tmp_path: Path) -> None:
    result = master(programme(tmp_path, [Scene("a", [90])]), mix=Hiss)
    with av.open(str(result.path)) as container:
        assert container.streams.audio[0].codec_context.bit_rate == pytest.approx(384_000, rel=0.1)


def test_a_second_run_keeps_every_part_and_the_master_before(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    first = master(timeline)
    before = first.path.read_bytes()
    again = master(timeline)
    assert (first.before, again.draft.made) == (None, 0)
    assert again.before == tmp_path / "out" / "master.before.mp4"
    assert again.before.read_bytes() == before == again.path.read_bytes()


def test_masters_and_drafts_keep_their_own_parts(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    master(timeline)
    tools = with_tools(NumberTools())
    options = DraftOptions(marks=False, burn_captions=False, soft_captions=False)
    render_draft(timeline, CUES, options, open_tools=tools, mix_sound=Hum, cancelled=lambda: False)
    assert {part.why for part in plan_master(timeline, CUES, H264)} == {"nothing changed"}
    assert {part.state for part in plan_master(timeline, CUES, HEVC)} == {"made"}
    tens = plan_master(programme(tmp_path, [Scene("long", [30 * 25])]), (), H264)
    # Source: arithmetic: a shot of 25 s in pieces of 10 s, the rest of 5 s is half a piece.
    assert [part.frames for part in tens] == [300, 300, 150]


def test_captions_are_burnt_in_only_when_asked_for(tmp_path: Path) -> None:
    timeline = programme(tmp_path, SCENES)
    assert timeline.storyboard.captions.burn
    tools = NumberTools()
    render_master(timeline, CUES, H264, open_tools=with_tools(tools), mix_sound=Hum, cancelled=lambda: False)
    assert not tools.captions and not tools.marks
    burnt = replace(H264, burn_captions=True)
    render_master(timeline, CUES, burnt, open_tools=with_tools(tools), mix_sound=Hum, cancelled=lambda: False)
    assert set(tools.captions) == {("One.",), ("Two & <three>.",)} and not tools.marks


def test_a_class_gives_size_and_cap(tmp_path: Path) -> None:
    result = master(programme(tmp_path, [Scene("a", [12])]), replace(H264, upload="720p60"))
    found = {point.name: point.found for point in result.verified.points}
    assert (found["size"], found["codec"]) == ("1280x720 yuv420p", "h264 High level 3.1 (avc1)")
    assert result.frame.cap == 8_000_000


def noisy(timeline: Timeline, options: MasterOptions) -> MasterResult:
    """A programme that cannot be coded within any cap at that quality."""

    class Noise(NumberTools):
        pass

    random = np.random.default_rng(7)

    def spoil(canvas: object, *_: object) -> None:
        canvas.y[:] = random.integers(16, 235, canvas.y.shape)  # type: ignore[attr-defined]

    tools = Noise()
    tools.draw_over = spoil  # type: ignore[method-assign]
    return render_master(
        timeline, (cue(0, timeline.frames, "x"),), replace(options, burn_captions=True),
        open_tools=with_tools(tools), mix_sound=Hum, cancelled=lambda: False,
    )  # fmt: skip


@pytest.mark.parametrize("name", ["film.mp4", "x.mp4", "y.mp4"])
def test_no_name_a_master_may_have_takes_the_place_of_footage(tmp_path: Path, name: str) -> None:
    timeline = programme(tmp_path, [Scene("a", [5])])
    film = timeline.captures["film"].path
    used = {"x.mp4": "x.before.mp4", "y.mp4": "y.failed.mp4"}.get(name, name)
    moved = film.rename(film.with_name(used))
    timeline = replace(timeline, captures={"film": replace(timeline.captures["film"], path=moved)})
    with pytest.raises(UsageError, match="this master would take its place"):
        master(timeline, replace(H264, out=moved.with_name(name)))
    assert [path.name for path in film.parent.iterdir()] == [used]


@pytest.mark.parametrize("options", [H264, HEVC], ids=["h264", "hevc"])
def test_the_cap_holds_where_the_picture_asks_for_more(tmp_path: Path, options: MasterOptions) -> None:
    timeline = programme(tmp_path, [Scene("a", [40]), Scene("b", [40])])
    timeline = replace(timeline, storyboard=replace(
        timeline.storyboard, canvas=replace(timeline.storyboard.canvas, width=320, height=180)))  # fmt: skip
    free = noisy(timeline, replace(options, upload=None, quality=1))
    cap = free.frame.cap
    sizes = read_finished(free.path).sizes
    # Source: the leaky bucket: what n seconds may hold is n caps and what the buffers began with, half a buffer a part.
    allowed = cap * Fraction(80, 30) + free.frame.buffer * Fraction(2, 2)
    assert sum(sizes) * 8 <= allowed * Fraction(103, 100)
    assert sum(sizes) * 8 > cap * 2, "the pictures ask for too little to show anything"
    states = {point.name: point.state for point in free.verified.points}
    assert states["level's buffer"] == "ok"


@pytest.mark.parametrize("options", [H264, HEVC], ids=["h264", "hevc"])
def test_a_capped_part_is_the_same_each_time_however_busy_the_machine_is(
    tmp_path: Path, options: MasterOptions
) -> None:
    frame = frame_for((256, 144), Fraction(30), options.codec)
    cap = frame.cap // 5  # so little that it is met by every picture
    frame = replace(frame, cap=cap, buffer=cap)
    settings = settings_for(frame, options)
    noise = np.random.default_rng(5).integers(60, 120, (24, 144, 256)) << (settings.bits - 8)

    def write(path: Path) -> None:
        with PartWriter(path, width=256, height=144, rate=Fraction(30), settings=settings) as writer:
            for picture in noise:
                canvas = writer.canvas()
                canvas.y[:] = picture
                canvas.u[:] = canvas.v[:] = 128 << (settings.bits - 8)
                writer.submit()

    paths = [tmp_path / f"{number}.mp4" for number in range(8)]
    with ThreadPoolExecutor(8) as crowd:  # they are in each other's way
        list(crowd.map(write, paths))
    assert len({path.read_bytes() for path in paths}) == 1


# --- what is not as it was to be -------------------------------------------------------------------


def test_sound_that_is_not_as_mixed_fails_and_the_file_says_so(tmp_path: Path) -> None:
    timeline = programme(tmp_path, [Scene("a", [40])])
    good = master(timeline)
    before = good.path.read_bytes()
    result = master(timeline, mix=TooLoud)
    assert [point.name for point in result.verified.failed] == ["loudness"]
    assert result.path == tmp_path / "out" / "master.failed.mp4" and result.path.exists()
    assert good.path.read_bytes() == before, "the master before stays"
    report = json.loads((tmp_path / "out" / "master.failed.report.json").read_text(encoding="utf-8"))
    assert (report["passed"], report["file"]) == (False, "master.failed.mp4")
    assert not list(result.path.parent.glob("*unverified*"))
    assert not master(timeline).verified.failed
    assert not list(result.path.parent.glob("*failed*")), "a later run that passes takes it away"


def test_a_peak_over_the_limit_fails_and_loudness_off_target_is_told(tmp_path: Path) -> None:
    result = master(programme(tmp_path, [Scene("a", [40])]), mix=OverThePeak)
    states = {point.name: point.state for point in result.verified.points if point.state != "ok"}
    assert states == {"true peak": "failed", "loudness": "warning"}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[MasterResult, Wanted]:
    """A good master, and what it was to be."""
    timeline = programme(tmp_path_factory.mktemp("project"), SCENES)
    seen: list[Wanted] = []

    def spy(path: Path, wanted: Wanted, *more: object) -> object:
        seen.append(wanted)
        return verify(path, wanted, *more)  # type: ignore[arg-type]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("assembler.render.master.verify", spy)
        return master(timeline), seen[0]


def failed(path: Path, wanted: Wanted) -> set[str]:
    return {point.name for point in verify(path, wanted).failed}


def rejoin(made: tuple[MasterResult, Wanted], out: Path, **changes: object) -> Path:
    """The same programme joined again, with something about it changed."""
    result, wanted = made
    hum = Hum(programme(out.parent, SCENES), Span(0, FRAMES), lambda a, b: None)
    given = {
        "parts": wanted.parts, "rate": wanted.rate, "sound": hum.blocks(), "chapters": wanted.chapters,
        "title": wanted.title, "sound_coding": SoundCoding(384_000), "captions": result.draft.captions, **changes,
    }  # fmt: skip
    join_parts(given.pop("parts"), out, **given)  # type: ignore[arg-type]
    return out


def test_a_rejoined_master_passes_and_each_lack_is_named(made: tuple[MasterResult, Wanted], tmp_path: Path) -> None:
    wanted = made[1]
    assert failed(rejoin(made, tmp_path / "same.mp4"), wanted) == set()
    assert failed(rejoin(made, tmp_path / "untold.mp4", chapters=()), wanted) == {"chapters"}
    assert failed(rejoin(made, tmp_path / "mute.mp4", sound=None), wanted) == {"sound"}
    assert failed(rejoin(made, tmp_path / "plain.mp4", captions=None), wanted) == {"captions"}
    assert failed(rejoin(made, tmp_path / "other.mp4", title="Another"), wanted) == {"title"}
    short = rejoin(made, tmp_path / "short.mp4", parts=wanted.parts[:-1], sound=None)
    assert {"pictures", "copy", "sound"} <= failed(short, wanted)


def test_other_encoder_settings_than_wanted_are_named(made: tuple[MasterResult, Wanted]) -> None:
    result, wanted = made
    slower = replace(wanted, rate=Fraction(25))
    assert {"times", "length"} <= failed(result.path, slower)
    assert failed(result.path, replace(wanted, settings=replace(wanted.settings, matrix=9))) == {"colour tags"}
    assert failed(result.path, replace(wanted, settings=replace(wanted.settings, keyint_s=Fraction(1, 10)))) == {
        "key pictures"
    }
    other = replace(wanted.frame, level=replace(wanted.frame.level, name="4.2", idc=42))
    assert failed(result.path, replace(wanted, frame=other)) == {"codec"}
    tiny = replace(wanted.frame, level=replace(wanted.frame.level, max_rate=1_000, max_buffer=1_000))
    assert failed(result.path, replace(wanted, frame=tiny)) == {"level's buffer"}


def test_an_index_after_the_media_and_a_missing_colour_box_are_seen(
    made: tuple[MasterResult, Wanted], tmp_path: Path
) -> None:
    result, wanted = made
    late = tmp_path / "late.mp4"
    run = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-i", str(result.path), "-map", "0:v", "-map", "0:a"]
    subprocess.run([*run, "-c", "copy", str(late)], check=True)  # without +faststart the index comes last
    assert not layout_of(late).index_first
    assert "index" in failed(late, wanted)
    raw = result.path.read_bytes()
    bare = tmp_path / "bare.mp4"
    bare.write_bytes(raw.replace(b"colrnclx", b"freenclx"))  # of the same length: every other box stays where it is
    assert failed(bare, wanted) == {"colour tags"}


@pytest.mark.parametrize("where", [0.3, 0.6, 0.9])
def test_damage_in_the_pictures_is_found(made: tuple[MasterResult, Wanted], tmp_path: Path, where: float) -> None:
    result, wanted = made
    raw = bytearray(result.path.read_bytes())
    start = raw.index(b"mdat")
    place = start + int((len(raw) - start) * where)
    raw[place : place + 64] = bytes(value ^ 0x5A for value in raw[place : place + 64])
    bad = tmp_path / "bad.mp4"
    bad.write_bytes(raw)
    assert failed(bad, wanted) & {"copy", "decoding", "sound decoding", "loudness"}


# --- the command -----------------------------------------------------------------------------------

BOARD = """\
storyboard: 1
title: t
canvas: {size: 320x180, rate: 30}
narration: {voice: scratch}
segments:
  - {id: one, lasts: 2 s, say: Hello there., show: {card: Hello}}
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    (tmp_path / "storyboard.yaml").write_text(BOARD, encoding="utf-8")
    return tmp_path


def record(project: Path) -> None:
    (project / "takes").mkdir()
    write_sound(project / "takes" / "one-1.wav", Sound(tone(300, seconds=1.0, level=0.3)))


def test_the_command_makes_a_master_of_takes_with_its_files(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record(project)
    assert main(["master", str(project), "--preset", "superfast"]) == 0
    shown = capsys.readouterr().out
    assert "ok      pictures        60 decoded\n" in shown and "FAILED" not in shown
    names = {path.name for path in (project / "out").iterdir()}
    assert names == {"master.mp4", "master.srt", "master.vtt", "master.ttml", "master.report.json"}
    assert main(["master", str(project), "--preset", "superfast", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["verified"]["passed"] and told["parts_made"] == 0 and told["before"].endswith("master.before.mp4")


def test_lines_without_a_take_are_refused_unless_allowed(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("espeakng_loader", reason="the scratch voice is not installed")
    assert main(["master", str(project)]) == 1
    said = capsys.readouterr().err
    assert "storyboard.yaml:6:" in said and "line 1 of 'one' is spoken by the scratch voice" in said
    assert "record takes/one-1.wav" in said
    assert not (project / "out").exists()
    assert main(["master", str(project), "--scratch", "--preset", "superfast"]) == 0
    assert "warning: line 1 of 'one'" in capsys.readouterr().err


def test_errors_of_check_stand_in_the_way_and_are_named(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record(project)
    board = BOARD.replace("lasts: 2 s", "lasts: 0.5 s")
    (project / "storyboard.yaml").write_text(board, encoding="utf-8")
    assert main(["master", str(project), "--json"]) == 1
    shown = capsys.readouterr()
    told = json.loads(shown.out)
    assert told["made"] is None
    assert "narration-cut" in {found["code"] for found in told["findings"]}
    assert "narration-cut" in shown.err and "no master was made" in shown.err
    assert not (project / "out").exists()


def test_a_file_that_fails_ends_with_4_and_says_which_point(
    project: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    record(project)
    monkeypatch.setattr("assembler.render.verify._PEAK_DB", -60.0)  # no sound is so low
    assert main(["master", str(project), "--preset", "superfast"]) == 4
    shown = capsys.readouterr()
    assert "FAILED  true peak" in shown.out and "(wanted: at most -1.0 dBTP)" in shown.out
    assert "is not what it was to be: true peak" in shown.err
    names = {path.name for path in (project / "out").iterdir()}
    assert names == {"master.failed.mp4", "master.failed.report.json"}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--class", "8k"], "there is no class '8k'"),
        (["--codec", "mpeg2"], "invalid choice"),
        (["--quality", "60"], "not a whole number from 0 to 51"),
        (["--out", "x.mkv"], "a master is an MP4 file"),
    ],
)
def test_what_cannot_be_asked_for_is_refused(
    project: Path, arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    record(project)
    assert main(["master", str(project), *arguments]) == 2
    assert said in capsys.readouterr().err


def test_a_dry_run_tells_the_parts_and_writes_nothing(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    record(project)
    assert main(["master", str(project), "--dry-run", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["command"] == "master" and not (project / "out").exists()


def test_a_master_reads_captures_themselves_where_a_draft_reads_proxies(tmp_path: Path) -> None:
    timeline = programme(tmp_path, [Scene("a", [600])])
    large = replace(timeline.captures["film"], width=3840, height=2160, codec="hevc")
    timeline = replace(timeline, captures={"film": large})
    drafted = plan_draft(timeline, CUES, DraftOptions(proxies=True, size=(320, 180)))
    assert any(part.job.by_proxy for part in drafted), "nothing here is worth a proxy, so nothing is shown"
    assert not any(part.job.by_proxy for part in plan_master(timeline, CUES, H264))
