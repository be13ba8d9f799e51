"""The command line as a person meets it: what is refused, in what words, with which exit code, on which stream."""

from __future__ import annotations

import errno
import json
import os
import re
import shlex
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from assembler.cli.main import main
from assembler.cli.output import Patience

ROOT = Path(__file__).resolve().parent.parent

CARD = """\
storyboard: 1
title: t
canvas: {size: 160x90, rate: 30}
segments:
  - {id: one, lasts: fit, say: Hello there., show: {card: Hello}}
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    folder = tmp_path / "project"
    folder.mkdir()
    (folder / "storyboard.yaml").write_text(CARD, encoding="utf-8")
    return folder


def test_a_project_that_may_not_be_written_to_can_be_checked(
    project: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = os.access

    def read_only(path: str | Path, mode: int) -> bool:
        return asked(path, mode) and not (mode & os.W_OK and Path(path).is_relative_to(project))

    monkeypatch.setattr(os, "access", read_only)
    assert main(["check", str(project)]) == 0
    assert "1 segment" in capsys.readouterr().out
    assert [path.name for path in project.iterdir()] == ["storyboard.yaml"]


def test_retime_says_when_its_folder_cannot_be_made(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (project / "out").write_text("a file where a folder should be")
    assert main(["retime", str(project)]) == 4
    said = capsys.readouterr().err
    assert "could not be written" in said and "fault in assembler" not in said


ASSEMBLER = (sys.executable, "-m", "assembler.cli.main")


def run(*arguments: str, **more: Any) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own, as a shell starts it."""
    return subprocess.run([*ASSEMBLER, *arguments], capture_output=True, text=True, timeout=60, check=False, **more)


@pytest.mark.parametrize(
    "arguments",
    [["check", "nowhere"], ["check", "--bad"], ["check", "a", "b"], ["draft", "nowhere", "--size"], ["retime", "x"],
     ["explain", "nothing.like.it"], ["new"], ["doctor", "x"], ["schema", "x"], ["chek"], []],
)  # fmt: skip
def test_whatever_is_wrong_json_is_all_that_comes_on_stdout(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([*arguments, "--json"]) == 2
    shown = capsys.readouterr()
    (problem,) = json.loads(shown.out)["problems"]
    assert problem["severity"] == "error" and problem["what"] and problem["mend"]
    assert problem["what"] in shown.err


@pytest.mark.parametrize("arguments", [["schema"], ["explain", "segments.say"], ["new", "a folder"], ["doctor"]])
def test_every_command_can_answer_in_json(
    arguments: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([*arguments, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["chek"], "there is no command 'chek'\n  mend: did you mean `check`?"),
        (["nonsense"], "the commands are: new, check"),
        ([], "no command was given\n  mend: the commands are: new, check"),
        (["check", "--jsn"], "`assembler check` has no option --jsn\n  mend: did you mean --json?"),
        (["check", "--jso"], "has no option --jso\n  mend: did you mean --json?"),
        (["check", "a", "b"], "`assembler check` has no use for 'b'\n  mend: see `assembler check --help`"),
        (["draft", "--size"], "--size needs a value\n  mend: see `assembler draft --help`"),
    ],
)
def test_a_slip_on_the_command_line_is_named_with_the_word_that_was_meant(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    assert words in capsys.readouterr().err


def test_a_reader_that_stops_reading_changes_neither_the_work_nor_the_exit_code(project: Path) -> None:
    (project / "storyboard.yaml").write_text(CARD.replace("lasts: fit", "lasts: 1 f"), encoding="utf-8")
    for command, code in (("check", 1), ("draft", 0)):
        with subprocess.Popen(
            [*ASSEMBLER, command, str(project)], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        ) as process:
            assert process.stdout is not None and process.stderr is not None
            process.stdout.close()
            process.stderr.close()
            assert process.wait(60) == code
    assert (project / "out" / "draft.mp4").is_file()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("command", [["schema"], ["explain"]])
def test_a_result_that_cannot_be_written_is_not_called_a_fault_of_ours(command: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*ASSEMBLER, *command], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 3
    assert done.stderr.startswith("error: the result could not be written: ")
    assert len(done.stderr.splitlines()) == 2


def test_words_that_the_terminal_cannot_show_do_not_end_a_command(project: Path) -> None:
    folder = project.rename(project.with_name("Brücke 🎬"))
    narrow = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    text = run("retime", str(folder), env=narrow)
    # A slow machine is told besides what is going on.
    said = [line for line in text.stderr.splitlines() if not line.startswith("voicing")]
    assert (text.returncode, len(said)) == (0, 1)
    answer = run("retime", str(folder), "--json", env=narrow)
    assert answer.returncode == 0
    assert json.loads(answer.stdout)["written"][0] == str(folder / "out" / "draft.srt")


def test_a_command_without_any_stream_still_does_its_work(project: Path) -> None:
    shell = shlex.join([*ASSEMBLER, "retime", str(project)]) + " >&- 2>&-"
    assert subprocess.run(["sh", "-c", shell], check=False, timeout=60).returncode == 0
    assert (project / "out" / "draft.srt").is_file()


def test_what_project_code_prints_does_not_mix_with_the_result(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = "def clip(width, height, rate, seconds):\n    print('noise')\n    raise KeyError('x')\n"
    (project / "noisy.py").write_text(code, encoding="utf-8")
    made = CARD.replace("{card: Hello}", "{made: {file: noisy.py}}")
    (project / "storyboard.yaml").write_text(made, encoding="utf-8")
    assert main(["draft", str(project), "--allow-code", "--json"]) == 4
    shown = capsys.readouterr()
    assert json.loads(shown.out)["problems"] and "noise" in shown.err


def test_new_overwrites_nothing_and_leaves_nothing_when_it_refuses(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "storyboard.schema.json").write_text("mine")
    assert main(["new", str(tmp_path)]) == 0
    assert (tmp_path / "storyboard.schema.json").read_text() == "mine"
    other = tmp_path / "other"
    other.mkdir()
    (other / "storyboard.yaml").write_text("mine")
    assert main(["new", str(other)]) == 2
    assert "exists already; nothing was changed" in capsys.readouterr().err
    assert [path.name for path in other.iterdir()] == ["storyboard.yaml"]


def test_new_leaves_no_half_written_storyboard_on_a_full_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    assert main(["new", str(tmp_path / "project")]) == 3
    assert "no room left on the disk" in capsys.readouterr().err
    assert not list(tmp_path.rglob("storyboard.*"))


def test_the_next_command_that_new_prints_can_be_pasted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for folder in ("two words", "-dash", "it's"):
        assert main(["new", "--", folder]) == 0
        (line,) = re.findall(r"^next: assembler (.*)$", capsys.readouterr().out, re.MULTILINE)
        assert main(["check", *shlex.split(line)[1:]]) == 0
        capsys.readouterr()


def test_doctor_looks_for_every_package_that_is_needed(capsys: pytest.CaptureFixture[str]) -> None:
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    needed = {
        name[0]
        for line in settings["project"]["dependencies"]
        if (name := re.match(r"[\w-]+", line)) and ("3.13" not in line or sys.version_info >= (3, 13))
    }
    assert main(["doctor", "--json"]) == 0
    looked = {check["name"] for check in json.loads(capsys.readouterr().out)["checks"]}
    assert needed <= looked


@pytest.mark.parametrize(("command", "words"), [("doctor", "encoder libx264"), ("retime", "not installed")])
def test_a_package_that_is_not_there_is_said_to_be_missing(project: Path, command: str, words: str) -> None:
    folder = [str(project)] if command == "retime" else []
    code = "import sys; sys.modules['av'] = None; from assembler.cli.main import main; "
    code += f"sys.exit(main({[command, *folder]!r}))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 3
    assert words in done.stdout + done.stderr and "fault in assembler" not in done.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--from", "2 f", "--to", "1 f"], "nothing lies between 00:00.067 and 00:00.033"),
        (["--from", "99 s"], "nothing lies between 01:39.000 and the end"),
        (["--to", "0 f"], "nothing lies between the start and 00:00.000"),
        (["--size", "101x100"], "both sides must be even"),
        (["--size", "88x100"], "from 90 to 8192 pixels"),
        (["--size", "1280"], "write width x height, such as 1280x720"),
    ],
)
def test_a_piece_or_size_that_cannot_be_made_is_refused_in_plain_words(
    project: Path, options: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["draft", str(project), "--dry-run", *options]) == 2
    said = capsys.readouterr().err
    assert words in said and "None" not in said
    if "--size" not in options:
        assert re.search(r"choose times between 00:00\.000 and 00:0\d\.\d{3}$", said.strip())


def test_a_size_may_be_written_with_a_capital(project: Path) -> None:
    assert main(["draft", str(project), "--dry-run", "--size", "160X90"]) == 0


def test_one_thing_is_not_counted_as_several(project: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (project / "storyboard.yaml").write_text(CARD.replace("lasts: fit, say: Hello there.", "lasts: 1 f"))
    assert main(["check", str(project)]) == 0
    assert main(["retime", str(project)]) == 0
    assert main(["draft", str(project)]) == 0
    said = "".join(capsys.readouterr())
    assert "storyboard.yaml: 1 segment, " in said and "00:00.033, 1 frame, " in said and "1 of 1 part made" in said


def test_empty_ground_between_segments_is_not_counted_as_one(
    project: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    later = "  - {id: two, at: 9 s, lasts: 1 s, show: {card: Hello}}\n"
    (project / "storyboard.yaml").write_text(CARD + later, encoding="utf-8")
    assert main(["check", str(project)]) == 0
    assert "storyboard.yaml: 2 segments, " in capsys.readouterr().out


def test_a_long_wait_is_explained_and_a_short_one_is_not() -> None:
    now, said = [0.0], list[str]()
    say = Patience(said.append, now=lambda: now[0])
    for second in range(25):
        now[0] = float(second)
        say(f"line {second}")
    assert said == ["line 2", "line 12", "line 22"]


def test_voicing_many_lines_tells_how_far_it_has_come(
    project: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(Patience, "FIRST_S", 0.0)
    assert main(["check", str(project)]) == 0
    assert "voicing the narration: line 1 of 1" in capsys.readouterr().err
    assert main(["check", str(project), "--json"]) == 0
    assert capsys.readouterr().err == ""
