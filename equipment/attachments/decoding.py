"""Photos and voice notes decoded and made anew, in a process of its own with narrow limits.

What comes in is never kept: only what a decoder read of it, encoded again without a word of what
was around it. Run as `python -I decoding.py TYPE` with the file on standard input; the answer is a
line of JSON and then the bytes made. No Django here, and nothing of the house but this file.
"""

import io
import json
import resource
import sys
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any

import av
from PIL import Image, ImageOps, UnidentifiedImageError

# What is taken, and by which one decoder it is read.
PHOTOS = {"image/jpeg": "JPEG", "image/png": "PNG", "image/webp": "WEBP"}
VOICES = {"audio/webm": "webm", "audio/mp4": "mp4", "audio/ogg": "ogg"}

MOST_PIXELS = 20_000_000
LONGEST_SIDE_PX = 1600
JPEG_QUALITY = 82
LONGEST_VOICE_S = 120.0
VOICE_RATE_HZ = 44_100  # any speaker of a phone or desk plays it
VOICE_BIT_RATE = 48_000  # bit/s: speech of one voice, with room for an engine's noise
MEMORY_BYTES = 1_500_000_000
PROCESSOR_S = 30


@dataclass(frozen=True, slots=True)
class Made:
    """What is kept of a file: pixels or sound made anew; else why it is refused."""

    body: bytes = b""
    width: int | None = None
    height: int | None = None
    seconds: float | None = None
    refusal: str = ""


def remake(content_type: str, body: bytes) -> Made:
    """Decode a file as the one type it says it is, and encode what was seen or heard.

    Refusals: `empty`, `not_readable` (of another type, cut short, broken), `too_many_pixels`,
    `too_long`.
    """
    if not body:
        return Made(refusal="empty")
    try:
        if content_type in PHOTOS:
            return _photo(body, PHOTOS[content_type])
        return _voice(body, VOICES[content_type])
    except (av.FFmpegError, OSError, ValueError, SyntaxError, EOFError):
        return Made(refusal="not_readable")
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        return Made(refusal="too_many_pixels")


def _photo(body: bytes, only_format: str) -> Made:
    try:
        image = Image.open(io.BytesIO(body), formats=[only_format])
    except UnidentifiedImageError:
        return Made(refusal="not_readable")
    if image.width * image.height > MOST_PIXELS:  # said by its head: nothing was unpacked yet
        return Made(refusal="too_many_pixels")
    image.draft("RGB", (LONGEST_SIDE_PX, LONGEST_SIDE_PX))  # a large JPEG is read smaller at once
    image.load()
    upright = ImageOps.exif_transpose(image)
    plain = Image.new("RGB", upright.size, "white")
    if upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info:
        see_through = upright.convert("RGBA")
        plain.paste(see_through, mask=see_through)
    else:
        plain.paste(upright.convert("RGB"))
    plain.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    plain.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return Made(out.getvalue(), width=plain.width, height=plain.height)


def _voice(body: bytes, only_format: str) -> Made:
    # Files that a container names beside itself are never opened.
    options = {"protocol_whitelist": "", "enable_drefs": "0"}
    if only_format != "mp4":
        del options["enable_drefs"]
    with av.open(io.BytesIO(body), "r", format=only_format, options=options) as given:
        if len(given.streams) != 1 or len(given.streams.audio) != 1:
            return Made(refusal="not_readable")
        return _encoded(_sound_of(given))


def _sound_of(given: Any) -> Iterator[av.AudioFrame]:
    """Give one channel at one rate, however it was recorded."""
    one_voice = av.AudioResampler(format="fltp", layout="mono", rate=VOICE_RATE_HZ)
    for frame in given.decode(audio=0):
        frame.pts = None  # gaps and leaps of time are of no use here: sound follows sound
        yield from one_voice.resample(frame)
    yield from one_voice.resample(None)


def _encoded(frames: Iterator[av.AudioFrame]) -> Made:
    out = io.BytesIO()
    n_samples = 0
    with av.open(out, "w", format="mp4", options={"fflags": "+bitexact"}) as kept:
        stream = kept.add_stream("aac", rate=VOICE_RATE_HZ, layout="mono")
        stream.bit_rate = VOICE_BIT_RATE
        for frame in frames:
            n_samples += frame.samples
            if n_samples > LONGEST_VOICE_S * VOICE_RATE_HZ:
                return Made(refusal="too_long")
            frame.pts = None
            kept.mux(stream.encode(frame))
        kept.mux(stream.encode(None))
    if not n_samples:
        return Made(refusal="not_readable")
    return Made(out.getvalue(), seconds=round(n_samples / VOICE_RATE_HZ, 2))


def main(content_type: str) -> None:
    """Read the file from standard input and answer on standard output."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (PROCESSOR_S, PROCESSOR_S))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))  # it writes no file
    av.logging.set_level(av.logging.PANIC)
    made = remake(content_type, sys.stdin.buffer.read())
    facts = asdict(replace(made, body=b""))
    del facts["body"]
    sys.stdout.buffer.write(json.dumps(facts).encode() + b"\n" + made.body)


if __name__ == "__main__":
    main(sys.argv[1])
