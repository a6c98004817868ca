"""One look at the farm reads a thing once; outside of it each read is anew."""

import pytest

from equipment.site.looks import aside, know, once_a_look, one_look
from equipment.site.queries import site_of
from tests.factories import make_site


def counted() -> tuple[list[tuple[int, str]], object]:
    asked: list[tuple[int, str]] = []

    @once_a_look
    def read(pk: int, of: str = "a") -> int:
        asked.append((pk, of))
        return len(asked)

    return asked, read


def test_within_a_look_the_same_question_is_asked_once() -> None:
    asked, read = counted()
    assert callable(read)
    with one_look():
        assert [read(1), read(1), read(1, of="b"), read(2), read(1)] == [1, 1, 2, 3, 1]
        with one_look():
            assert read(1) == 1
        assert read(1) == 1
    assert asked == [(1, "a"), (1, "b"), (2, "a")]


def test_outside_of_a_look_and_in_the_next_one_it_is_asked_anew() -> None:
    asked, read = counted()
    assert callable(read)
    assert [read(1), read(1)] == [1, 2]
    for n in (3, 4):
        with one_look():
            assert [read(1), read(1)] == [n, n]
    assert len(asked) == 4


def test_aside_of_a_look_is_asked_anew_and_the_look_stays_as_it_was() -> None:
    asked, read = counted()
    assert callable(read)
    with one_look():
        assert read(1) == 1
        with aside():
            assert [read(1), read(1)] == [2, 3]
            with one_look():
                assert [read(1), read(1)] == [4, 4]
        assert read(1) == 1
    assert len(asked) == 4


def test_what_fails_is_not_remembered() -> None:
    asked = []

    @once_a_look
    def read() -> int:
        asked.append(1)
        if len(asked) == 1:
            raise LookupError
        return 7

    with one_look():
        with pytest.raises(LookupError):
            read()
        assert read() == 7


@pytest.mark.django_db
def test_what_is_at_hand_is_told_to_the_look(django_assert_num_queries: object) -> None:
    site = make_site("ours")
    assert callable(django_assert_num_queries)
    with one_look(), django_assert_num_queries(0):
        know(site_of, site, site.pk)
        assert site_of(site.pk) is site
    with django_assert_num_queries(1):
        know(site_of, site, site.pk)  # no look: nothing is kept
        assert site_of(site.pk) == site
