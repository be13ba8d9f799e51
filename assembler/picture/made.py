"""Pictures that the project's own Python code makes, through a moviepy clip.

Code from a project runs with all the rights of the person who renders it, so only when that person
has said so; the file must lie in the project folder. Its faults are reported by file, function and line.
"""

from __future__ import annotations

import importlib.util
import math
import sys
import traceback
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import numpy.typing as npt

from assembler.errors import RenderError, UsageError
from assembler.media.planes import Planes
from assembler.picture.look import GROUND
from assembler.picture.stage import Stage
from assembler.storyboard.model import Made
from assembler.storyboard.paths import resolve_inside
from assembler.timeline.model import PlacedShot

_BAND = 64  # rows converted at a time: what is worked on stays in the processor's cache


class MadePicture:
    """A made clip at work. `function(width, height, rate, seconds, **options)` is called once."""

    def __init__(self, shot: PlacedShot, stage: Stage) -> None:
        assert isinstance(shot.arrangement, Made)
        made = shot.arrangement
        if not stage.allow_code:
            raise UsageError(
                f"this shot runs Python code of the project, '{made.file}'",
                mend="read the file, and if you trust it add --allow-code",
                place=made.at("file") or shot.place,
            )
        self._made, self._stage, self._place = made, stage, made.at("function") or shot.place
        self._path = resolve_inside(stage.folder, made.file, made.at("file"))
        seconds = float(shot.span.frames / stage.rate)
        self._clip: Any = self._guarded(lambda: self._called(seconds))
        # The last picture is held where the shot runs on beyond the clip, as under a dissolve.
        lasts = float(self._clip.duration) if self._clip.duration is not None else seconds
        pictures = math.ceil(lasts * float(stage.rate) - 1e-6)
        self._last = max(0, min(pictures, shot.span.frames) - 1)

    def paint(self, frame: int, canvas: Planes) -> None:
        """Paint the whole canvas for a frame of the shot."""
        t = float(min(frame, self._last) / self._stage.rate)
        picture, mask = self._guarded(lambda: self._pictured(t))
        wanted = (self._stage.height, self._stage.width, 3)
        if not isinstance(picture, np.ndarray) or picture.shape != wanted or picture.dtype != np.uint8:
            got = f"{picture.shape} {picture.dtype}" if isinstance(picture, np.ndarray) else type(picture).__name__
            raise self._fault(f"its clip gives {got} at {t:.3f} s, not {wanted} uint8")
        if mask is not None:
            if not isinstance(mask, np.ndarray) or mask.shape != wanted[:2]:
                raise self._fault(f"its clip's mask does not have the shape {wanted[:2]}")
            picture = _over_ground(picture, mask)
        write_rgb(picture, canvas)

    def close(self) -> None:
        """Close the clip, whatever it thinks of it."""
        self._guarded(self._clip.close)

    def _called(self, seconds: float) -> Any:
        from moviepy import VideoClip  # only made pictures pay for it

        module = _loaded(self._path)
        function = getattr(module, self._made.function, None)
        if not callable(function):
            raise self._fault("there is no such function")
        clip = function(self._stage.width, self._stage.height, float(self._stage.rate), seconds, **self._made.options)
        if not isinstance(clip, VideoClip) or clip.is_mask:
            raise self._fault(f"it returned {type(clip).__name__}, not a moviepy clip with a picture")
        return clip

    def _pictured(self, t: float) -> tuple[Any, Any]:
        mask = self._clip.mask
        return self._clip.get_frame(t), None if mask is None else mask.get_frame(t)

    def _guarded(self, work: Callable[[], Any]) -> Any:
        """Run project code; what it raises becomes an error that names its line."""
        try:
            return work()
        except (RenderError, KeyboardInterrupt):
            raise
        except SystemExit as error:
            raise self._fault("it tried to end the program", error) from error
        except Exception as error:
            raise self._fault(f"{type(error).__name__}: {error}", error) from error

    def _fault(self, what: str, error: BaseException | None = None) -> RenderError:
        lines = [
            frame.lineno
            for frame in traceback.extract_tb(error.__traceback__ if error else None)
            if Path(frame.filename) == self._path
        ]
        if isinstance(error, SyntaxError) and error.filename and Path(error.filename) == self._path:
            lines.append(error.lineno)
        at = f", line {lines[-1]}" if lines and lines[-1] else ""
        return RenderError(
            f"'{self._made.file}', function '{self._made.function}'{at}: {what}",
            mend="mend the function; it takes width, height, rate and seconds, and returns a moviepy clip",
            place=self._place,
        )


def _loaded(path: Path) -> ModuleType:
    """Run a file as a module of its own, under a name that cannot meet another's."""
    name = f"_assembler_made_{path.stem}_{abs(hash(path)):x}"
    spec = importlib.util.spec_from_file_location(name, path)
    if spec is None or spec.loader is None:
        raise ImportError("it is not a Python file")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up while it is being run
    try:
        spec.loader.exec_module(module)
    except BaseException:
        del sys.modules[name]
        raise
    return module


def _over_ground(picture: npt.NDArray[np.uint8], mask: npt.NDArray[Any]) -> npt.NDArray[np.uint8]:
    """The picture where its mask is 1, the page's ground where it is 0."""
    share = np.clip(mask, 0, 1).astype(np.float32)[..., None]
    mixed = picture * share + np.array(GROUND, np.float32) * (1 - share)
    return np.asarray(mixed + np.float32(0.5), np.uint8)


def write_rgb(picture: npt.NDArray[np.uint8], canvas: Planes) -> None:
    """Write R'G'B' (height, width, 3) uint8, full range, onto a canvas of the same size: BT.709, limited
    range. Chroma is the mean of each 2 by 2 pixels, as it is for everything drawn. Rounded to the
    nearest code. Source: Rec. ITU-R BT.709, items 3.2 to 3.5."""
    one = 1 << 22  # as fine as 32-bit sums allow: 255 * 2**22 is half of what they hold
    shift = 22 if canvas.bits == 8 else 20  # 10-bit codes are four times the 8-bit ones
    luma = [round(k * 219 / 255 * one) for k in (0.2126, 0.7152, 0.0722)]
    blue = [round(k / 1.8556 * 224 / 255 * one / 4) for k in (-0.2126, -0.7152, 1 - 0.0722)]
    red = [round(k / 1.5748 * 224 / 255 * one / 4) for k in (1 - 0.2126, -0.7152, -0.0722)]
    half = 1 << (shift - 1)
    for top in range(0, canvas.height, _BAND):
        band = picture[top : top + _BAND]
        parts = [np.ascontiguousarray(band[..., i]).astype(np.int32) for i in range(3)]
        canvas.y[top : top + _BAND] = _mixed(parts, luma, 16 * one + half) >> shift
        small = []
        for part in parts:
            rows = part[0::2] + part[1::2]
            small.append(rows[:, 0::2] + rows[:, 1::2])
        lines = slice(top // 2, (top + _BAND) // 2)
        canvas.u[lines] = _mixed(small, blue, 128 * one + half) >> shift
        canvas.v[lines] = _mixed(small, red, 128 * one + half) >> shift


def _mixed(parts: list[npt.NDArray[np.int32]], shares: list[int], start: int) -> npt.NDArray[np.int32]:
    total = parts[0] * np.int32(shares[0])
    total += parts[1] * np.int32(shares[1])
    total += parts[2] * np.int32(shares[2])
    total += np.int32(start)
    return total
