"""Events that are plainly in their shape are read as the serializer reads them, and no others."""

import json
from datetime import datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rest_framework.exceptions import ValidationError
from rest_framework.renderers import JSONRenderer

from equipment.site.restfields import BIGGEST_KEY
from schedules.phone import handlers, handlers_lead, handlers_more  # noqa: F401  each registers its kinds
from schedules.phone.api import AnswersOutput, shown
from schedules.phone.envelope import EventsInput, plain_events, read_events
from schedules.phone.intake import MAX_EVENTS, Answer, Told
from schedules.phone.registry import HANDLERS

GOOD: dict[str, Any] = {
    "id": "0198c0de-0000-7000-8000-000000000001",
    "kind": "load",
    "payload": {"work_order": 7},
    "client_at": "2026-03-04T05:10:00.123Z",
    "seq": 1,
    "schema_version": 1,
}
# Of each part what phones send, what the serializer takes besides, and what it refuses.
ODD: dict[str, list[Any]] = {
    "id": [
        *("0198C0DE-0000-7000-8000-00000000000A", "0198c0de000070008000000000000001"),
        *("urn:uuid:0198c0de-0000-7000-8000-000000000001", "", "x", 7, None, [], True),
    ],
    "kind": ["start", " load ", "unheard_of", "", "x" * 41, 7, None, [], True],
    "payload": [{}, {"a": None, "b": [1, {"c": ""}]}, [], "x", None, 7],
    "client_at": [
        *(
            "2026-03-04T05:10:00-07:00",
            "2026-03-04T05:10:00",
            "2026-03-04 05:10Z",
            "20260304T0510Z",
        ),
        *("2026-03-04T05:10:00.1234567Z", "2026-02-30T05:10:00Z", "2026-03-04T24:00:00Z"),
        *("0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "2026-03-04T05:10:00+24:00"),
        *("2026-03-04T05:10:00,5Z", "2026-03-04t05:10:00z", "", 7, None, [], True),
    ],
    "seq": [BIGGEST_KEY, BIGGEST_KEY + 1, 0, -1, "3", 3.0, 3.5, None, True, [], ""],
    "schema_version": [100, 101, 0, "2", 2.0, None, True],
    "worker": [5, BIGGEST_KEY, BIGGEST_KEY + 1, 0, "5", 5.0, None, True, {}],
    "more": [1],
}


@st.composite
def events(draw: st.DrawFn) -> Any:
    """A good event with some parts odd, or left out."""
    event = dict(GOOD)
    for name in draw(st.sets(st.sampled_from(sorted(ODD)), max_size=2)):
        event[name] = draw(st.sampled_from(ODD[name]))
    for name in draw(st.sets(st.sampled_from(sorted(GOOD)), max_size=1)):
        event.pop(name, None)
    return event


def by_the_serializer(data: Any) -> list[Told] | None:
    form = EventsInput(data=data)
    if not form.is_valid():
        return None
    return [Told(**event) for event in form.validated_data["events"]]


def as_sent(data: Any) -> Any:
    return json.loads(json.dumps(data))


@given(st.lists(events() | st.sampled_from([None, 7, "x", []]), max_size=3))
def test_what_is_read_plainly_is_what_the_serializer_reads(told: list[Any]) -> None:
    data = as_sent({"events": told})

    plain = plain_events(data)

    assert plain is None or plain == by_the_serializer(data)


@pytest.mark.parametrize("name", ODD)
def test_each_odd_part_is_read_as_the_serializer_reads_it_or_left_to_it(name: str) -> None:
    for value in ODD[name]:
        data = as_sent({"events": [{**GOOD, name: value}]})
        assert plain_events(data) in (None, by_the_serializer(data)), value


@pytest.mark.parametrize("data", [None, [], {}, {"events": {}}, {"events": []}, {"events": "x"}])
def test_what_is_no_list_of_events_is_left_to_the_serializer(data: Any) -> None:
    assert plain_events(data) is None
    with pytest.raises(ValidationError):
        read_events(data)


def test_what_phones_send_is_read_plainly() -> None:
    """Else all of it would go the long way, and nobody would notice."""
    for kind in HANDLERS:
        sent = {"events": [{**GOOD, "kind": kind, "worker": None}, GOOD]}
        assert plain_events(as_sent(sent)) == by_the_serializer(sent)


def test_more_events_than_a_call_may_have_are_refused_by_the_serializer() -> None:
    with pytest.raises(ValidationError):
        read_events({"events": [GOOD] * (MAX_EVENTS + 1)})


def test_answers_are_written_as_their_description_says() -> None:
    [told] = read_events({"events": [GOOD]})
    answers = [
        Answer(told.id, "applied", result={"loads": 1, "x": None}, version=4),
        Answer(told.id, "applied", result={}, version=4),
        Answer(told.id, "refused", "invalid", "Número «1»", version=4),
        Answer(told.id, "gap", "gap", "Send", 12),
    ]
    described = AnswersOutput({"answers": answers, "epoch": "a"}).data
    plain = {"answers": [shown(answer) for answer in answers], "epoch": "a"}

    assert JSONRenderer().render(plain) == JSONRenderer().render(described)


def test_time_is_the_phones_whatever_its_offset() -> None:
    [told] = read_events({"events": [{**GOOD, "client_at": "2026-03-04T05:10:00-07:00"}]})

    assert told.client_at == datetime.fromisoformat("2026-03-04T12:10:00+00:00")
