"""What is made of photos and voice notes, and what is not taken for one."""

import io

import av
import numpy as np
import pytest
from PIL import Image

from equipment.attachments.decoding import LONGEST_SIDE_PX, remake
from tests.equipment.attachments.samples import (
    HTML,
    VOICES,
    hostile,
    photo,
    photo_with_place,
    png_bomb,
    voice,
)


@pytest.mark.parametrize(
    ("content_type", "form"),
    [("image/jpeg", "JPEG"), ("image/png", "PNG"), ("image/webp", "WEBP")],
)
def test_photo_becomes_a_jpeg_of_what_was_seen(content_type: str, form: str) -> None:
    made = remake(content_type, photo(form=form))

    assert made.refusal == ""
    seen = Image.open(io.BytesIO(made.body))
    assert (seen.format, seen.mode, seen.size) == ("JPEG", "RGB", (made.width, made.height))
    grey = np.asarray(seen.convert("L"), dtype=float)
    assert np.abs(grey - np.linspace(0, 255, 64 * 48).reshape(48, 64)).mean() < 3


def test_large_photo_is_made_smaller_and_keeps_its_sides() -> None:
    made = remake("image/jpeg", photo(4000, 3000))

    assert (made.width, made.height) == (LONGEST_SIDE_PX, 1200)


def test_small_photo_is_not_blown_up() -> None:
    assert remake("image/jpeg", photo(64, 48)).width == 64


def test_nothing_of_the_sender_is_left_in_a_photo_and_it_stands_upright() -> None:
    secret = "Serial 4711"
    sent = photo_with_place(secret)
    assert secret.encode() in sent

    made = remake("image/jpeg", sent)

    assert secret.encode() not in made.body
    assert b"Exif" not in made.body
    assert not Image.open(io.BytesIO(made.body)).getexif()
    assert (made.width, made.height) == (48, 64)  # Exif 2.32, tag 0x0112, value 6


def test_what_is_see_through_becomes_white() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (8, 8), (255, 0, 0, 0)).save(out, "PNG")

    made = remake("image/png", out.getvalue())

    assert Image.open(io.BytesIO(made.body)).getpixel((4, 4)) == (255, 255, 255)


@pytest.mark.parametrize("mode", ["CMYK", "L", "1"])
def test_photo_of_any_colours_is_taken(mode: str) -> None:
    assert remake("image/jpeg", photo(mode="L" if mode == "1" else mode)).refusal == ""


@pytest.mark.parametrize("tail", [HTML, b"PK\x03\x04payload", b"<?php evil(); ?>"])
def test_second_file_hidden_in_a_photo_is_gone(tail: bytes) -> None:
    made = remake("image/jpeg", photo(comment=tail) + tail)

    assert made.refusal == ""
    assert tail not in made.body


@pytest.mark.parametrize("content_type", VOICES)
def test_voice_note_becomes_the_same_tone_in_mp4_without_its_words(content_type: str) -> None:
    made = remake(content_type, voice(content_type, 2.0, title="Serial 4711"))

    assert made.seconds == pytest.approx(2.0, abs=0.05)
    assert b"4711" not in made.body
    with av.open(io.BytesIO(made.body), "r", format="mp4") as heard:
        assert [stream.type for stream in heard.streams] == ["audio"]
        assert heard.streams.audio[0].codec_context.name == "aac"
        rate = heard.streams.audio[0].rate or 0
        sound = np.concatenate([frame.to_ndarray()[0] for frame in heard.decode(audio=0)])
    loudest = np.fft.rfftfreq(len(sound), 1 / rate)[np.abs(np.fft.rfft(sound)).argmax()]
    assert loudest == pytest.approx(440, abs=2)  # Hz


def test_voice_note_of_two_minutes_is_taken_and_a_longer_one_refused() -> None:
    assert remake("audio/ogg", voice("audio/ogg", 119.9)).refusal == ""
    assert remake("audio/ogg", voice("audio/ogg", 121)).refusal == "too_long"


def test_photo_that_unpacks_to_more_than_twenty_megapixels_is_refused_by_its_head() -> None:
    bomb = png_bomb(20_000)
    assert len(bomb) < 100_000

    assert remake("image/png", bomb).refusal == "too_many_pixels"


def test_none_of_two_hundred_hostile_files_is_taken() -> None:
    files = hostile()
    assert len(files) == 200

    taken = [(kind, body[:20]) for kind, body in files if not remake(kind, body).refusal]

    assert taken == []
