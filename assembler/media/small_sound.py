"""A short piece of sound as a small file in memory, to put into a page."""

from __future__ import annotations

import io
import wave

import av
import numpy as np
import numpy.typing as npt

RATE = 24_000
_BIT_RATE = 56_000


def small_sound(samples: npt.NDArray[np.float32], rate: int = RATE) -> tuple[str, bytes]:
    """Mono sound as MIME type and bytes: MP3 where the codec is there, else 16-bit WAV."""
    whole = np.clip(np.round(samples.astype(np.float64) * 32767), -32768, 32767).astype("<i2")
    try:
        return "audio/mpeg", _mp3(whole, rate)
    except (av.FFmpegError, ValueError):
        return "audio/wav", _wav(whole, rate)


def _mp3(whole: npt.NDArray[np.int16], rate: int) -> bytes:
    file = io.BytesIO()
    with av.open(file, "w", format="mp3") as container:
        stream = container.add_stream("libmp3lame", rate=rate, layout="mono")
        stream.bit_rate = _BIT_RATE
        frame = av.AudioFrame.from_ndarray(whole[None, :], format="s16", layout="mono")
        frame.sample_rate = rate
        fifo = av.AudioFifo()
        fifo.write(frame)
        size = stream.codec_context.frame_size or 576
        planar = av.AudioResampler(format="s16p", layout="mono", rate=rate)
        while (part := fifo.read(size, partial=True)) is not None:
            part.pts = None
            for made in planar.resample(part):
                container.mux(stream.encode(made))
        container.mux(stream.encode(None))
    return file.getvalue()


def _wav(whole: npt.NDArray[np.int16], rate: int) -> bytes:
    file = io.BytesIO()
    with wave.open(file, "wb") as written:
        written.setnchannels(1)
        written.setsampwidth(2)
        written.setframerate(rate)
        written.writeframes(whole.tobytes())
    return file.getvalue()
