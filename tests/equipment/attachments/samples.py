"""Files as phones make them, and files that mean no good."""

import io
import struct
import zlib
from typing import Any

import av
import numpy as np
from PIL import ExifTags, Image

VOICES = {
    "audio/webm": ("webm", "libopus"),
    "audio/ogg": ("ogg", "libopus"),
    "audio/mp4": ("mp4", "aac"),
}


def photo(
    width: int = 64, height: int = 48, *, form: str = "JPEG", mode: str = "RGB", **options: Any
) -> bytes:
    """A photo of a slope from black to white."""
    slope = np.linspace(0, 255, width * height).reshape(height, width).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(slope).convert(mode).save(out, form, **options)
    return out.getvalue()


def photo_with_place(secret: str) -> bytes:
    """A photo whose Exif says where and by what it was taken, lying on its side."""
    exif = Image.Exif()
    exif[ExifTags.IFD.GPSInfo] = {1: "N", 2: (38.0, 36.0, 0.0), 3: "W", 4: (102.0, 24.0, 0.0)}
    exif[0x010F] = secret  # Make
    exif[0x0112] = 6  # Orientation: turn a quarter to the right
    return photo(64, 48, exif=exif, comment=secret.encode())


def voice(content_type: str = "audio/webm", seconds: float = 1.0, *, title: str = "") -> bytes:
    """A tone of 440 Hz as that type has it."""
    form, codec = VOICES[content_type]
    rate = 48_000
    tone = 0.3 * np.sin(2 * np.pi * 440 * np.arange(int(seconds * rate)) / rate)
    out = io.BytesIO()
    with av.open(out, "w", format=form) as file:
        file.metadata["title"] = title
        stream: Any = file.add_stream(codec, rate=rate, layout="mono")
        for start in range(0, len(tone), 960):
            part = tone[None, start : start + 960].astype(np.float32)
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout="mono")
            frame.rate, frame.pts = rate, start
            file.mux(stream.encode(frame))
        file.mux(stream.encode(None))
    return out.getvalue()


def film() -> bytes:
    """A WebM with pictures beside nothing to hear."""
    out = io.BytesIO()
    with av.open(out, "w", format="webm") as file:
        stream = file.add_stream("libvpx", rate=5)
        stream.width, stream.height, stream.pix_fmt = 32, 32, "yuv420p"
        for _n in range(3):
            black = np.zeros((32, 32, 3), np.uint8)
            file.mux(stream.encode(av.VideoFrame.from_ndarray(black, format="rgb24")))
        file.mux(stream.encode(None))
    return out.getvalue()


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png_bomb(side: int) -> bytes:
    """A PNG (W3C PNG, 11.2.1) of some kilobytes that unpacks to a square of that side."""
    row = bytes(1 + side // 8)
    packed = zlib.compressobj(9)
    rows = b"".join(packed.compress(row) for _n in range(side)) + packed.flush()
    head = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    signature = b"\x89PNG\r\n\x1a\n"
    return signature + _chunk(b"IHDR", head) + _chunk(b"IDAT", rows) + _chunk(b"IEND", b"")


SVG = b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>'
HTML = b"<!doctype html><script>alert(1)</script>"


def hostile() -> list[tuple[str, bytes]]:
    """(type it says, bytes) that must not be taken: 200 of them."""
    rng = np.random.default_rng(7)
    jpeg, png, webp = photo(), photo(form="PNG"), photo(form="WEBP")
    ogg, mp4, webm = (voice(kind) for kind in ("audio/ogg", "audio/mp4", "audio/webm"))
    photos, voices = ["image/jpeg", "image/png", "image/webp"], list(VOICES)
    every = [*photos, *voices]
    bad = [
        (kind, body) for kind in every for body in (b"", b"\0", SVG, HTML, b"GIF89a" + bytes(50))
    ]
    bad += [(kind, b"%PDF-1.7\n" + bytes(99)) for kind in every]
    bad += [(kind, b"PK\x03\x04" + bytes(99)) for kind in every]
    bad += [("image/png", png_bomb(side)) for side in (4480, 9000, 20_000)]
    bad += [("image/jpeg", png), ("image/jpeg", webp), ("image/png", jpeg), ("image/png", webp)]
    bad += [("image/webp", jpeg), ("image/webp", png)]
    bad += [(kind, jpeg) for kind in voices] + [(kind, ogg) for kind in photos]
    bad += [("audio/ogg", mp4), ("audio/webm", ogg), ("audio/mp4", webm), ("audio/webm", film())]
    bad += [("image/jpeg", photo(form=form)) for form in ("GIF", "BMP", "TIFF", "PPM")]
    for kind, body in (("image/jpeg", jpeg), ("image/png", png), ("image/webp", webp)):
        bad += [(kind, body[: int(len(body) * share)]) for share in np.linspace(0.02, 0.9, 20)]
    bad += [("audio/mp4", mp4[: int(len(mp4) * share)]) for share in np.linspace(0.02, 0.9, 10)]
    bad += [(kind, body[:40]) for kind, body in (("audio/ogg", ogg), ("audio/webm", webm))]
    bad += [
        (every[n % 6], rng.integers(0, 256, 400, np.uint8).tobytes()) for n in range(200 - len(bad))
    ]
    return bad
