"""The planted captures that the cadence model is fitted on and scored by: sources in two halves, kept on disk.

    python benchmarks/measure_clips.py FOLDER         # makes those that are missing

A source belongs to one half for good; whatever is tuned may look at the first half only.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from planted import LONG_FILM, SIZE, Bools, Coder, encode, plan, scene, shown, story

PICTURES = 364


@dataclass(frozen=True)
class Source:
    name: str
    scene: str
    speed: float = 1.0
    grain: float = 0.0
    size: tuple[int, int] = SIZE


TUNED = (
    Source("bunny film", "film bigbuckbunny"),
    Source("coffee pan 1.5", "pan coffee", 1.5),
    Source("gravel pan 0.3", "pan gravel", 0.3),
    Source("rocket turn", "turn rocket", 1.0),
    Source("brick road", "road brick", 1.0),
    Source("made movers", "movers made3", 1.2),
    Source("camera pan 6 grain", "pan camera", 6.0, 2.0),
    Source("motorcycle turn slow", "turn motorcycle_left", 0.25),
    Source("gravel sway 0.8", "sway gravel", 0.8),
    Source("rocket dancers", "dancers rocket", 1.0),
    Source("camera dancers slow", "dancers camera", 0.4),
    Source("coffee movers", "movers coffee", 0.6),
    Source("made pan 0.4", "pan made21", 0.4),
    Source("long bunny film", f"film {LONG_FILM}"),
    Source("long bunny film later grain", f"film {LONG_FILM} from 340", 1.0, 2.0),
    Source("soft bunny film", "film bigbuckbunny soft"),
    Source("soft long bunny film", f"film {LONG_FILM} from 200 soft"),
    Source("dialogue film", "film dialogue from 2"),
    Source("figure film", "film figure from 250"),
    Source("trailer film", "film trailer from 600"),
    Source("tree film", "film tree"),
    Source("soft dialogue film", "film dialogue from 2 soft"),
    Source("soft trailer film", "film trailer from 600 soft"),
    Source("soft tree film", "film tree soft"),
)
SCORED = (
    Source("bikes film", "film bikes"),
    Source("carphone film", "film carphone_pristine"),
    Source("cat pan 0.8", "pan chelsea", 0.8),
    Source("made pan 0.25", "pan made11", 0.25),
    Source("astronaut turn", "turn astronaut", 1.0),
    Source("grass road", "road grass", 0.7),
    Source("coins movers", "movers coins", 0.8),
    Source("page pan 3 grain", "pan page", 3.0, 2.0),
)
FRESH = (
    Source("city film", "film city"),
    Source("walkers film", "film walkers"),
    Source("globe film", "film globe"),
)
CODERS = (
    *(Coder("libx264", "medium", crf) for crf in (16, 20, 23, 26, 30)),
    Coder("libx264", "veryfast", 23),
    Coder("libx264", "veryfast", 30),
    Coder("libx265", "fast", 28),
    Coder("libx264", "veryfast", mbits=4),
)


STORY_CODERS = tuple(c for c in CODERS if c.crf not in (20, 26) and (c.preset, c.crf) != ("veryfast", 30))
_STEADY = {("medium", 20), ("medium", 26), ("veryfast", 23), ("fast", 28)}
STEADY_CODERS = tuple(c for c in CODERS if (c.preset, c.crf) in _STEADY)
DROPS_CODERS = (Coder("libx264", "medium", 23),)
STEADY = 240


@dataclass(frozen=True)
class Clip:
    """One planted clip: a mix of cadences; a story with fades, dark, a menu and a hitch; steadily new pictures; or such
    of which a tenth is dropped."""

    source: Source
    coder: Coder
    kind: str = "mixed"

    def path(self, folder: Path) -> Path:
        kind = "" if self.kind == "mixed" else f" {self.kind}"
        return folder / f"{self.source.name}{kind} {self.coder}.mp4".replace(" ", "_").replace("/", "")


KINDS = ("mixed", "story", "steady", "drops")


def clips(sources: tuple[Source, ...], kinds: tuple[str, ...] = KINDS) -> tuple[Clip, ...]:
    coders = {"mixed": CODERS, "story": STORY_CODERS, "steady": STEADY_CODERS, "drops": DROPS_CODERS}
    return tuple(Clip(s, c, kind) for kind in kinds for c in coders[kind] for s in sources)


def planted(folder: Path, clip: Clip) -> tuple[list[np.ndarray], Bools, np.ndarray]:
    """Pictures, which are new, and the state of each."""
    drawn = renders(folder, clip.source)
    if clip.kind == "story":
        return story(drawn)
    if clip.kind == "steady":
        return list(drawn[:STEADY]), np.ones(STEADY, np.bool_), np.zeros(STEADY, np.uint8)
    if clip.kind == "drops":
        new = plan("drops", STEADY, seed=sum(clip.source.name.encode()))
        return list(shown(drawn, new)), new, np.zeros(STEADY, np.uint8)
    new = plan("mixed", PICTURES, seed=sum(clip.source.name.encode()))
    return list(shown(drawn, new)), new, np.zeros(PICTURES, np.uint8)


def made(folder: Path, clip: Clip) -> Path:
    """The file of a clip; encoded if missing."""
    path = clip.path(folder)
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        encode(path, planted(folder, clip)[0], clip.coder)
    return path


def renders(folder: Path, source: Source) -> np.ndarray:
    """A source's pictures, kept on disk: they are slow to draw."""
    path = folder / f"{source.name.replace(' ', '_')}.npy"
    if not path.exists():
        seed = sum(source.name.encode())
        np.save(
            path,
            scene(source.scene, PICTURES, size=source.size, speed=source.speed, seed=seed, grain=source.grain),
        )
    return np.load(path, mmap_mode="r")


def main() -> None:
    folder = Path(sys.argv[1])
    for clip in clips((*TUNED, *SCORED, *FRESH)):
        made(folder, clip)


if __name__ == "__main__":
    main()
