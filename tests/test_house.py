"""The house rules that no single test of a room can see: who may import what, and what is shipped."""

from __future__ import annotations

import ast
import importlib.util
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "assembler"
MODULES = sorted(PACKAGE.rglob("*.py"))

# A room may import the rooms before it. `prepare` is the one file that leads through them all for the commands.
ROOMS = (
    *("timing", "errors", "storyboard", "media", "measure", "narration", "timeline", "captions"),
    *("sound", "picture", "checks", "render", "measured", "prepare", "cli"),
)

# Where a foreign library may be used; everywhere else our own names stand for it.
DOORS = {
    "av": ("media/*.py",),
    "bidi": ("picture/*.py",),
    "espeakng_loader": ("narration/voice_worker.py",),
    "freetype": ("picture/*.py",),
    "moonshine_voice": ("narration/ear.py",),
    "num2words": ("narration/*.py",),
    "numba": ("measure/blocks.py",),
    "moviepy": ("picture/cards*.py", "picture/made.py", "render/programme_clip.py"),
    "PIL": ("picture/*.py", "media/stills.py"),
    "pydub": ("media/*.py",),
    "pocketsphinx": ("narration/recogniser.py",),
    "onnxruntime": ("narration/ear.py",),
    "pyloudnorm": ("sound/*.py",),
    "pysrt": ("captions/*.py",),
    "rich": ("render/*.py", "cli/*.py"),
    "uharfbuzz": ("picture/*.py",),
    "yaml": ("storyboard/*.py",),
    # Arrays are values, not a foreign world; but time and storyboards have no use for them.
    "numpy": tuple(f"{room}/*.py" for room in ROOMS if room not in ("timing", "errors", "storyboard")),
    "scipy": tuple(f"{room}/*.py" for room in ROOMS if room not in ("timing", "errors", "storyboard")),
}

HEAVY = (
    *("av", "numba", "numpy", "moviepy", "onnxruntime", "PIL", "scipy"),
    *("yaml", "pydub", "pysrt", "freetype", "uharfbuzz", "rich"),
)


def imports(tree: ast.AST, package: str) -> Iterator[str]:
    """Every module a source names, wherever the import stands in it."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            if node.level:
                parts = package.split(".")
                base = ".".join([*parts[: len(parts) - node.level + 1], *filter(None, [node.module])])
            else:
                base = node.module or ""
            yield base
            yield from (f"{base}.{name.name}" for name in node.names if base in ("assembler", package))
        elif isinstance(node, ast.Call):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in ("import_module", "__import__") and node.args and isinstance(node.args[0], ast.Constant):
                yield str(node.args[0].value)


@cache
def imports_of(path: Path) -> tuple[str, ...]:
    package = ".".join(path.relative_to(ROOT).parts[:-1])
    return tuple(imports(ast.parse(path.read_text("utf-8")), package))


def room_of(module: str) -> str | None:
    """The room of one of our modules; None for the front door itself and for what is not a module."""
    parts = module.split(".")
    if parts[0] != "assembler" or len(parts) < 2:
        return None
    is_module = (PACKAGE / parts[1]).is_dir() or (PACKAGE / f"{parts[1]}.py").is_file()
    return parts[1] if is_module else None


def wrong_way(path: Path, modules: tuple[str, ...]) -> list[str]:
    """The imports of a module that go up the house, or in by the front door."""
    room = room_of(".".join(path.relative_to(ROOT).with_suffix("").parts))
    if room in (None, "__init__"):
        return []
    assert room in ROOMS, f"{path.name}: '{room}' has no place in the order of rooms"
    upward = [name for name in modules if (other := room_of(name)) and ROOMS.index(other) > ROOMS.index(room)]
    front = [name for name in modules if name == "assembler" and not any(room_of(other) for other in modules)]
    return upward + front


def wrong_doors(path: Path, modules: tuple[str, ...]) -> list[str]:
    """The foreign libraries a module uses without being their door."""
    inside = path.relative_to(PACKAGE).as_posix()
    foreign = {name.split(".")[0] for name in modules} - set(sys.stdlib_module_names) - {"assembler"}
    return sorted(name for name in foreign if not any(fnmatch(inside, door) for door in DOORS.get(name, ())))


def test_the_walk_sees_every_kind_of_import() -> None:
    source = """
import assembler.render.draft
from assembler import cli, errors
from . import cues
from ..picture.text import FontSet
def f():
    from moviepy import VideoClip
    importlib.import_module("av.container")
"""
    found = tuple(imports(ast.parse(source), "assembler.captions"))
    path = PACKAGE / "captions" / "files.py"
    assert wrong_way(path, found) == ["assembler.render.draft", "assembler.cli", "assembler.picture.text"]
    assert wrong_doors(path, found) == ["av", "moviepy"]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(PACKAGE).as_posix())
def test_imports_go_one_way_and_libraries_stay_at_their_doors(path: Path) -> None:
    assert wrong_way(path, imports_of(path)) == []
    assert wrong_doors(path, imports_of(path)) == []


def test_time_imports_nothing_of_ours_but_time() -> None:
    rooms = {room_of(name) for path in (PACKAGE / "timing").rglob("*.py") for name in imports_of(path)}
    assert rooms <= {"timing", None}


def test_no_two_modules_import_each_other() -> None:
    known = {".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): p for p in MODULES}
    seen: set[str] = set()

    def visit(module: str, path: tuple[str, ...]) -> None:
        assert module not in path, " imports ".join([*path[path.index(module) :], module])
        if module in seen:
            return
        for name in imports_of(known[module]):
            if name in known and name != module:
                visit(name, (*path, module))
        seen.add(module)

    for module in sorted(known):
        visit(module, ())


def test_every_library_we_use_is_asked_for_by_the_project() -> None:
    extras = project()["optional-dependencies"]
    asked = project()["dependencies"] + extras["voice"] + extras["takes"] + extras["ear"]
    names = {re.split(r"[^A-Za-z0-9_-]", line)[0].lower().replace("-", "_") for line in asked}
    modules = {name.split(".")[0] for path in MODULES for name in imports_of(path)}
    used = modules - set(sys.stdlib_module_names) - {"assembler"}
    distribution = {"PIL": "pillow", "yaml": "pyyaml", "freetype": "freetype_py", "bidi": "python_bidi"}
    assert {distribution.get(name, name) for name in used} <= names


@pytest.mark.parametrize("folder", ["assembler", "tests", "benchmarks", "projects_demo"])
def test_no_source_file_is_longer_than_500_lines(folder: str) -> None:
    sizes = {path: path.read_text("utf-8").count("\n") for path in (ROOT / folder).rglob("*.py")}
    assert {path.name: size for path, size in sizes.items() if size > 500} == {}


def test_every_module_says_what_it_is_for() -> None:
    silent = [path.name for path in MODULES if not ast.get_docstring(ast.parse(path.read_text("utf-8")))]
    assert silent == []


def run(code: str) -> str:
    done = subprocess.run([sys.executable, "-W", "error::ImportWarning", "-c", code], capture_output=True, cwd=ROOT)
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout.decode()


@pytest.mark.parametrize("module", ["assembler", "assembler.cli", "assembler.cli.main"])
def test_the_front_door_opens_without_heavy_libraries(module: str) -> None:
    if importlib.util.find_spec(module) is None:
        pytest.skip(f"{module} does not exist yet")
    loaded = run(f"import sys, {module}; print(*sys.modules)").split()
    assert module in loaded
    assert [name for name in HEAVY if name in loaded] == []


def test_importing_every_module_starts_and_says_nothing() -> None:
    names = [".".join(path.relative_to(ROOT).with_suffix("").parts) for path in MODULES]
    names = [name.removesuffix(".__init__") for name in names if not name.endswith("__main__")]
    code = f"""
import importlib, os, subprocess, threading
before = dict(os.environ)
subprocess.Popen = None
for name in {names!r}:
    importlib.import_module(name)
assert dict(os.environ) == before, "an import changed the environment"
assert threading.active_count() == 1, threading.enumerate()
"""
    # Doors for libraries that start a process at import are entered inside functions.
    assert run(code) == ""


def project() -> dict[str, object]:
    loaded = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    return dict(loaded["project"])


def data_files() -> list[Path]:
    """What the package needs besides its modules, as it lies in the checkout."""
    made = {".py", ".pyc", ".nbi", ".nbc"}  # the last two are compiled arithmetic, kept beside its source
    inside = [p for p in PACKAGE.rglob("*") if p.is_file() and p.suffix not in made]
    fonts = [path for path in (ROOT / "fonts").iterdir() if path.is_file()]
    assert any(path.suffix == ".otf" for path in fonts)
    return sorted([*inside, *fonts])


def test_every_data_file_is_under_version_control() -> None:
    try:
        listed = subprocess.run(["git", "ls-files", "-z"], capture_output=True, cwd=ROOT, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout")
    tracked = {ROOT / name for name in listed.decode().split("\0") if name}
    assert [path.name for path in data_files() if path not in tracked] == []


def test_every_module_and_data_file_is_in_the_wheel(tmp_path: Path) -> None:
    pytest.importorskip("hatchling", reason="the build backend is not installed")
    code = f"from hatchling.build import build_wheel; print(build_wheel({str(tmp_path)!r}))"
    name = run(code).strip().splitlines()[-1]
    with zipfile.ZipFile(tmp_path / name) as wheel:
        shipped = set(wheel.namelist())
    expected = {path.relative_to(ROOT).as_posix() for path in [*MODULES, *data_files()]}
    expected = {re.sub("^fonts/", "assembler/_fonts/", path) for path in expected}
    assert expected - shipped == set()
    # The fonts' licence asks to go with them.
    assert any(path.endswith("licenses/fonts/LICENSE-OFL.txt") for path in shipped)


def test_every_command_the_project_promises_can_be_imported() -> None:
    scripts = project()["scripts"]
    assert isinstance(scripts, dict)
    for target in scripts.values():
        module, function = target.split(":")
        path = ROOT / (module.replace(".", "/") + ".py")
        if not path.exists():
            pytest.skip(f"{module} does not exist yet")
        assert run(f"import {module}; print(callable({module}.{function}))").strip() == "True"


def test_the_newest_change_is_of_the_projects_version() -> None:
    changes = ROOT / "CHANGELOG.md"
    if not changes.exists():
        pytest.skip("there is no list of changes yet")
    heads = re.findall(r"^## \[?v?([^\s\]]+)", changes.read_text("utf-8"), re.MULTILINE)
    assert heads and heads[0] == project()["version"]
