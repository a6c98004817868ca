"""Bodies of the API: what the database cannot keep is found, however it is written."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from config.api_parser import BIGGEST, MOST_LEVELS, read_json, too_deep, unkeepable

TEXTS = st.text(st.characters(exclude_categories=["Cs"])) | st.sampled_from(
    ["\0", "\ud83d", "\udc04", "🐄", "\\u0000", "1e999", "9" * 30, "\x7f"]
)
NUMBERS = (
    st.integers(-(2**70), 2**70)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.sampled_from([BIGGEST, BIGGEST - 1, -BIGGEST, -BIGGEST - 1, 10**18 - 1, 10**18])
)
BODIES = st.recursive(
    st.none() | st.booleans() | NUMBERS | TEXTS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXTS, inner, max_size=4),
    max_leaves=8,
)


@given(BODIES)
def test_what_seems_keepable_at_the_first_look_is(body: object) -> None:
    data, is_doubtful = read_json(json.dumps(body))

    assert data == body
    assert is_doubtful or not list(unkeepable(data))


@pytest.mark.parametrize(
    "text",
    [
        '["\\u0000"]',
        '{"a\\u0000": 1}',
        '["\\ud83d"]',
        '["\\uDC04"]',
        "[1e309]",
        "[-1E+309]",
        "[9223372036854775808]",
        "[-9223372036854775809]",
        f"[1{'0' * 400}.0]",
    ],
)
def test_what_cannot_be_kept_is_doubted_and_found(text: str) -> None:
    data, is_doubtful = read_json(text)

    assert is_doubtful
    assert len(list(unkeepable(data))) == 1


def test_what_phones_send_is_not_looked_at_twice() -> None:
    sent = {"events": [{"id": "0198c0de-0e89-7000-8000-5e3100000001", "seq": 41, "text": "Portón"}]}

    assert read_json(json.dumps(sent, ensure_ascii=False)) == (sent, False)


@pytest.mark.parametrize("shape", ['{{"a": {}}}', "[{}]", '[1, {}, "[[["]'])
def test_what_stands_too_deep_is_found_and_nothing_else(shape: str) -> None:
    def nested(levels: int) -> object:
        text = "1"
        for _level in range(levels):
            text = shape.format(text)
        return json.loads(text)

    assert not list(too_deep(nested(MOST_LEVELS)))
    [fault] = too_deep(nested(MOST_LEVELS + 1))
    assert fault.code == "too_deep"
    assert not list(too_deep("[" * 99))
