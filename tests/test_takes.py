"""`assembler takes` as a whole: made-up sessions searched, chosen from, used in the draft; and hostile recordings.

Truth comes from the generator (tests/take_sessions.py), which lays every piece down itself.
"""

from __future__ import annotations

import html.parser
import json
import wave
from pathlib import Path

import numpy as np
import pytest

from assembler.cli.main import main
from assembler.narration import ear, recogniser, scratch, take_listen
from assembler.narration.lines import voice
from assembler.narration.recogniser import Heard, Sound
from assembler.storyboard import load_storyboard
from tests.take_sessions import RATE, Samples, close_voices, scratch_say

TEXTS = (
    "Two machines, one harbour at dusk.",
    "Shadows are softer on the desktop.",
    "The water is drawn with fewer waves.",
)
needs_voice = pytest.mark.skipif(
    not (recogniser.available() and scratch.available()), reason="the recogniser or the scratch voice is not installed"
)

needs_ear = pytest.mark.skipif(not ear.available(), reason="the listener that knows no script (extra ear) is missing")

OURS = {"take-text-changed", "take-recording-changed", "take-unusable", "take-flagged", "take-not-found"}


def project(folder: Path, texts: tuple[str, ...] = TEXTS, language: str = "en") -> Path:
    (folder / "takes").mkdir(parents=True)
    says = "".join(f'      - "{text}"\n' for text in texts)
    (folder / "storyboard.yaml").write_text(
        f"storyboard: 1\ntitle: Quay <b>\nlanguage: {language}\ncanvas: {{size: 320x180, rate: 30}}\n"
        "subjects:\n  ash: {name: Ash}\nsegments:\n"
        f"  - id: quay\n    lasts: fit\n    say:\n{says}    show: {{card: {{title: Quay}}}}\n",
        "utf-8",
    )
    return folder


def write(path: Path, samples: Samples, rate: int = RATE, channels: int = 1) -> Path:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(channels)
        file.setsampwidth(2)
        file.setframerate(rate)
        whole = np.clip(np.round(samples * 32767), -32768, 32767).astype("<i2")
        file.writeframes(np.repeat(whole, channels).tobytes())
    return path


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, tuple[float, float]]]:
    """A project with one recording: line 1 read twice, line 2 broken off and then read, line 3 left out; and where
    the good takes lie."""
    from random import Random

    folder = project(tmp_path_factory.mktemp("takes") / "project")
    say, dice = scratch_say("en-us"), Random(5)
    rng = np.random.default_rng(5)
    pieces: list[Samples] = []
    spans: list[tuple[float, float]] = []
    for text in (TEXTS[0], "Sorry, once more.", TEXTS[0], "Shadows are softer", TEXTS[1]):
        pieces.append(np.zeros(round(0.8 * RATE), np.float32))
        start = sum(piece.size for piece in pieces)
        pieces.append(say(text, dice))
        spans.append((start / RATE, (start + pieces[-1].size) / RATE))
    pieces.append(np.zeros(RATE, np.float32))
    close_voices()
    sound = 0.5 * np.concatenate(pieces)
    write(folder / "takes" / "session.wav", sound + 0.001 * rng.standard_normal(sound.size).astype(np.float32))
    return folder, {"quay-1": spans[2], "quay-2": spans[4]}


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["takes", *words])
    told = capsys.readouterr()
    return code, told.out, told.err


@needs_voice
@pytest.mark.parametrize("by_ear", [False, pytest.param(True, marks=needs_ear)])
def test_the_last_good_take_of_each_line_is_found_chosen_and_spoken(
    by_ear: bool,
    session: tuple[Path, dict[str, tuple[float, float]]],
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    folder, truth = session
    if not by_ear:
        monkeypatch.setattr(ear, "available", lambda: False)
    (folder / "takes" / "choices.yaml").unlink(missing_ok=True)
    recording = folder / "takes" / "session.wav"
    before = recording.read_bytes()
    page = tmp_path / "page.html"
    code, out, _ = run(capsys, str(recording), "--project", str(folder), "--json", "--page", str(page))
    assert code == 0
    told = json.loads(out)
    lines = {line["line"]: line for line in told["lines"]}
    assert [lines[f"quay-{n}"]["verdict"] for n in (1, 2, 3)] == ["proposed", "proposed", "missing"]
    for key, (start, end) in truth.items():
        take = lines[key]["candidates"][lines[key]["take"] - 1]
        # Nothing said is cut off (30 ms: the softest end of a last sound), and the cuts lie near the speech.
        assert take["in_s"] <= start + 0.03 and take["out_s"] >= end - 0.03, key
        assert start - 0.3 < take["in_s"] and take["out_s"] < end + 0.4, key
    assert recording.read_bytes() == before  # nothing of a recording is changed
    _page_is_sound(page)

    board = load_storyboard(folder / "storyboard.yaml")
    with monkeypatch.context() as alone:  # when the words are said is tried elsewhere
        alone.setattr(recogniser, "available", lambda: False)
        voiced = voice(board, folder, folder / ".assembler")
    assert [voiced.speech["quay", n].kind for n in (1, 2, 3)] == ["take", "take", "scratch"]
    assert voiced.speech["quay", 1].source == recording
    assert OURS & {found.code for found in voiced.findings} == {"take-not-found"}

    code, out, _ = run(capsys, "--project", str(folder), "--choose", "quay-1=1", "--choose", "quay-2=none")
    assert code == 0 and "by hand" in out
    with monkeypatch.context() as alone:
        alone.setattr(recogniser, "available", lambda: False)
        voiced = voice(board, folder, folder / ".assembler")
    assert [voiced.speech["quay", n].kind for n in (1, 2)] == ["take", "scratch"]
    # A new search leaves alone what was decided, and is quick: everything heard was kept.
    kept = (folder / "takes" / "choices.yaml").read_bytes()
    run(capsys, str(recording), "--project", str(folder))
    assert (folder / "takes" / "choices.yaml").read_bytes() == kept


def _page_is_sound(page: Path) -> None:
    """It is whole, names nothing outside itself, and shows text as text."""
    text = page.read_text("utf-8")
    seen: dict[str, int] = {}
    sources: list[str] = []

    class Parser(html.parser.HTMLParser):
        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            seen[tag] = seen.get(tag, 0) + 1
            told = dict(attrs)
            sources.extend(value or "" for name, value in attrs if name in ("src", "href"))
            assert not any(name.startswith("on") for name in told), "a handler that the policy forbids"

    Parser().feed(text)
    assert seen["section"] == 3 and seen["audio"] == seen["svg"] == seen["figure"] >= 4
    assert "b" in seen and "Quay &lt;b&gt;" in text and "Quay <b>" not in text
    assert all(source.startswith(("data:audio/", "#")) for source in sources)
    assert "default-src &#x27;none&#x27;" in text
    assert "http" not in text.replace("http-equiv", "")


class Deaf:
    """Stands for the recogniser: hears line 1 wherever it listens, and counts how often it is asked."""

    asked = 0
    words = ("two", "machines", "one", "harbour", "at", "dusk")

    def decode(self, pcm: Samples, sentences: object, added: object, leave: float) -> tuple[Heard, ...]:
        Deaf.asked += 1
        if pcm.size < 8000:
            return ()
        return tuple(Heard(word, 0.3 * n + 0.3, 0.3 * n + 0.55, -2.0) for n, word in enumerate(self.words))

    def align(self, pcm: object, words: tuple[str, ...], added: object) -> tuple[Heard, ...]:
        Deaf.asked += 1
        return tuple(Heard(word, 0.3 * n + 0.3, 0.3 * n + 0.55, -2.0) for n, word in enumerate(words))

    def sounds(self, pcm: object, words: tuple[str, ...], added: object) -> tuple[Sound, ...]:
        Deaf.asked += 1
        return tuple(Sound("AH", n, 0.3 * n + 0.3, 0.3 * n + 0.55, -3.0) for n in range(len(words)))

    def close(self) -> None:
        pass


@pytest.fixture
def deaf(monkeypatch: pytest.MonkeyPatch) -> None:
    Deaf.asked = 0
    monkeypatch.setattr(take_listen, "Recogniser", Deaf)
    monkeypatch.setattr(ear, "available", lambda: False)


def bursts(seconds: float, every: float = 3.0) -> Samples:
    """Noise that stands for speech: two seconds in every three."""
    rng = np.random.default_rng(1)
    at = np.arange(round(seconds * RATE)) / RATE
    loud = np.where(at % every < every - 1.0, 0.2, 0.0005)
    return (loud * rng.standard_normal(at.size)).astype(np.float32)


def test_a_stopped_search_goes_on_where_it_was(
    deaf: None, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = project(tmp_path / "p")
    path = write(folder / "takes" / "long.wav", bursts(95.0))
    whole = Deaf.decode

    def third_time(self: Deaf, *words: object, **more: object) -> tuple[Heard, ...]:
        if Deaf.asked == 2:
            raise KeyboardInterrupt
        return whole(self, *words, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(Deaf, "decode", third_time)
    assert run(capsys, str(path), "--project", str(folder))[0] == 130
    assert not (folder / "takes" / "choices.yaml").exists()
    monkeypatch.setattr(Deaf, "decode", whole)
    Deaf.asked = 0
    assert run(capsys, str(path), "--project", str(folder))[0] == 0
    first = Deaf.asked
    assert run(capsys, str(path), "--project", str(folder))[0] == 0
    assert Deaf.asked == first  # the third run asks nothing at all
    kept = list((folder / ".assembler" / "takes").rglob("*.json"))
    assert len(kept) == first + 2 + 1  # what the stopped run had asked, and the sheet


HOSTILE = {
    "empty.wav": (b"", "is empty"),
    "text.wav": (b"this is no sound at all, only words " * 40, "not a media file"),
    "list.wav": (b"#EXTM3U\nhttp://example.org/a.wav\n", "is a list of other files"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_recording_that_cannot_be_read_is_one_clear_error(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = project(tmp_path / "p")
    data, words = HOSTILE[name]
    (folder / "takes" / name).write_bytes(data)
    code, out, err = run(capsys, str(folder / "takes" / name), "--project", str(folder))
    assert code == 4 and words in err and "Traceback" not in err and not out
    assert err.count("error:") == 1


def odd_recordings(folder: Path) -> dict[str, Path]:
    rng = np.random.default_rng(2)
    sound = bursts(5.0)
    eight = bursts(5.0)[::6]
    made = {
        "short": write(folder / "short.wav", sound[: RATE // 10]),
        "silent": write(folder / "silent.wav", np.zeros(3 * RATE, np.float32)),
        "clipped": write(folder / "clipped.wav", 40 * sound),
        "8 kHz": write(folder / "eight.wav", eight, 8000),
        "5.1": write(folder / "six.wav", sound, channels=6),
        "quiet": write(folder / "quiet.wav", 0.004 * sound),
        "steady": write(folder / "steady.wav", (0.1 * rng.standard_normal(3 * RATE)).astype(np.float32)),
    }
    from scipy.io import wavfile

    wavfile.write(folder / "float.wav", RATE, 3.0 * sound)
    with wave.open(str(folder / "deep.wav"), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(3)
        file.setframerate(RATE)
        whole = np.round(np.clip(sound, -1, 1) * (2**23 - 1)).astype("<i4")
        file.writeframes(whole[:, None].view(np.uint8).reshape(-1, 4)[:, :3].tobytes())
    return {**made, "float": folder / "float.wav", "24-bit": folder / "deep.wav"}


def test_odd_recordings_each_give_a_result(deaf: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = project(tmp_path / "p")
    for name, path in odd_recordings(folder / "takes").items():
        code, out, err = run(capsys, str(path), "--project", str(folder), "--dry-run", "--json")
        assert code == 0, (name, err)
        told = json.loads(out)
        notes = " ".join(told["recordings"][0]["notes"])
        heard = sum(len(line["candidates"]) for line in told["lines"])
        assert (heard > 0) is (name not in ("short", "silent")), name
        assert ("nothing is to be heard" in notes) is (name == "silent"), (name, notes)
        assert ("shorter than half a second" in notes) is (name == "short"), (name, notes)
        assert ("clipped" in notes) is (name == "clipped"), (name, notes)
    assert not (folder / "takes" / "choices.yaml").exists()  # --dry-run wrote nothing


def test_a_constant_on_all_samples_is_no_sound(tmp_path: Path) -> None:
    # Some converters add one. By hand: what is heard and how loud it is stay as they are without it.
    from assembler.media.recording import read_levels
    from assembler.narration.recogniser import pcm16k
    from assembler.narration.take_listen import stretches

    sound = bursts(9.0)
    plain = read_levels(write(tmp_path / "plain.wav", sound))
    offset = read_levels(write(tmp_path / "offset.wav", 0.1 * sound + np.float32(0.7)))
    assert len(stretches(plain)) == 3 and stretches(offset) == stretches(plain)
    assert abs(pcm16k(0.1 * sound + np.float32(0.7)).astype(int) - pcm16k(sound).astype(int)).max() <= 20


def test_a_recording_that_was_cut_off_in_copying_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = project(tmp_path / "p")
    path = write(folder / "takes" / "a.wav", bursts(4.0))
    path.write_bytes(path.read_bytes()[:200_000])
    code, _, err = run(capsys, str(path), "--project", str(folder))
    assert code == 4 and "is cut off" in err and err.count("error:") == 1


def test_a_damaged_recording_is_read_or_refused_in_one_line(
    deaf: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from assembler.media.small_sound import small_sound

    folder = project(tmp_path / "p")
    dice = np.random.default_rng(3)
    kind, data = small_sound(bursts(6.0)[::2])
    assert kind == "audio/mpeg"
    for n in range(4):
        broken = bytearray(data)
        for at in dice.integers(200, len(broken), 300 * (n + 1)):
            broken[at] ^= 0x5A
        (folder / "takes" / f"b{n}.mp3").write_bytes(broken)
        words = (str(folder / "takes" / f"b{n}.mp3"), "--project", str(folder), "--dry-run", "--json")
        code, out, err = run(capsys, *words)
        assert code in (0, 4), err
        assert "lines" in json.loads(out) if code == 0 else err.count("error:") == 1


def test_values_that_are_no_numbers_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from scipy.io import wavfile

    folder = project(tmp_path / "p")
    sound = bursts(2.0)
    sound[5000:5100] = np.nan
    wavfile.write(folder / "takes" / "nan.wav", RATE, sound)
    code, _, err = run(capsys, str(folder / "takes" / "nan.wav"), "--project", str(folder))
    assert code == 4 and "not numbers" in err


def test_lines_in_a_script_without_known_sounds_are_missing_and_say_why(
    deaf: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = project(tmp_path / "p", ("Δύο μηχανές, ένα λιμάνι.", "二台の機械。"), "el")
    path = write(folder / "takes" / "a.wav", bursts(4.0))
    code, out, err = run(capsys, str(path), "--project", str(folder), "--json")
    assert code == 0, err
    told = json.loads(out)
    assert {line["verdict"] for line in told["lines"]} == {"missing"}
    assert all("no English pronunciation" in line["why"] for line in told["lines"])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["nowhere.wav"], "there is no recording"),
        (["takes"], "is a folder"),
        (["--choose", "quay-1"], "cannot be read"),
        (["--choose", "quay-1=2"], "no recording has been searched yet"),
        ([], "no recording has been searched yet"),
    ],
)
def test_what_cannot_be_asked_is_told(
    words: list[str], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(project(tmp_path / "p"))
    code, _, err = run(capsys, *words)
    assert code == 2 and told in err and "mend:" in err


def test_choices_that_no_longer_fit_are_findings_and_not_used_in_silence(
    deaf: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = project(tmp_path / "p")
    path = write(folder / "takes" / "a.wav", bursts(3.0, every=2.9))
    assert run(capsys, str(path), "--project", str(folder))[0] == 0

    def found() -> tuple[str, set[str]]:
        voiced = voice(load_storyboard(folder / "storyboard.yaml"), folder, folder / ".assembler")
        codes = {each.code for each in voiced.findings if "line 1 " in each.what}
        return voiced.speech["quay", 1].kind, codes & OURS

    assert found() == ("take", set())
    story = (folder / "storyboard.yaml").read_text("utf-8")
    (folder / "storyboard.yaml").write_text(story.replace("Two machines", "Three machines"), "utf-8")
    kind, codes = found()
    assert kind != "take" and codes == {"take-text-changed"}
    (folder / "storyboard.yaml").write_text(story, "utf-8")
    write(path, bursts(3.2, every=2.9))
    kind, codes = found()
    assert kind != "take" and codes == {"take-recording-changed"}
    path.unlink()
    kind, codes = found()
    assert kind != "take" and codes == {"take-unusable"}
