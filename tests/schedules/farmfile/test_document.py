"""YAML as people mean it, with the line of every value."""

import pytest

from schedules.farmfile.document import read_text
from schedules.farmfile.faults import BrokenFileError


def test_times_dates_and_small_words_stay_text() -> None:
    """YAML 1.1 would read 14:00 as 840, `no` as false and the date as an object."""
    document = read_text(b"a: 14:00\nb: 2026-03-04\nc: no\nd: on\ne: 007\nf: .inf\n", "x")

    assert document.plain() == {
        "a": "14:00",
        "b": "2026-03-04",
        "c": "no",
        "d": "on",
        "e": "007",
        "f": ".inf",
    }


def test_numbers_truth_and_nothing_are_read() -> None:
    document = read_text(b"a: -4\nb: 0.25\nc: true\nd:\ne: null\nf: '4'\n", "x")

    assert document.plain() == {"a": -4, "b": 0.25, "c": True, "d": None, "e": None, "f": "4"}


def test_every_value_knows_its_path_and_line() -> None:
    document = read_text(b"pens:\n  - key: pen-1\n    walk_m: 4\n", "farm.yaml")

    node = document.value["pens"].value[0].value["walk_m"]
    assert (node.path, node.line, node.file) == ("pens[0].walk_m", 3, "farm.yaml")


def test_anchors_and_merges_may_save_writing() -> None:
    document = read_text(b"a: &bay {area_m2: 5, pad: p}\nb: {<<: *bay, pad: q}\n", "x")

    assert document.plain()["b"] == {"area_m2": 5, "pad": "q"}


@pytest.mark.parametrize(
    "text",
    [
        b"a: &a [x, x, x, x, x, x, x, x, x, x]\n"
        + b"".join(
            b"%c: &%c [%s]\n" % (98 + n, 98 + n, b", ".join([b"*%c" % (97 + n)] * 10))
            for n in range(6)
        ),
        b"a: !!python/object:os.system x\n",
        b'a: "\\0"\n',
        b"a: 1\n---\nb: 2\n",
    ],
)
def test_what_could_harm_or_mean_two_things_is_refused(text: bytes) -> None:
    with pytest.raises(BrokenFileError):
        read_text(text, "x")
