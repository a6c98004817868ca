"""The demo farm's year: what-ifs by overlay, and killed and gone on with to the same bits."""

from collections.abc import Iterator
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import pytest
import time_machine
from django.core.management import call_command
from django.db import transaction

from equipment.site.models import Site
from schedules.farmfile.demo.services import load_demo
from schedules.farmfile.document import read_document
from schedules.farmfile.whatif import compare_with
from schedules.outlook import chunks, services
from schedules.outlook.chunks import Part
from schedules.outlook.models import OutlookRun, OutlookState

AT = datetime(2026, 11, 25, 18, tzinfo=UTC)
OVERLAYS = Path(__file__).parents[3] / "fixtures" / "overlays"

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: object) -> Iterator[Site]:
    """The demo farm, loaded once for the module and taken back after it."""
    with django_db_blocker.unblock():  # type: ignore[attr-defined]
        outer = transaction.atomic()
        outer.__enter__()
        load_demo(at=AT)
        yield Site.objects.get(slug="three-cairns")
        transaction.set_rollback(True)
        outer.__exit__(None, None, None)


def test_overlays_change_what_they_name_and_leave_the_site_alone(demo: Site) -> None:
    names = ("more_cows", "one_pad_fewer")
    what_ifs = [(name, [read_document(OVERLAYS / f"{name}.yaml")]) for name in names]
    plain, cows, pad = (c.scenario for c in compare_with(demo, what_ifs, AT))
    assert plain.use.use_kg_d == 3_844 * 22
    assert cows.use.use_kg_d == (3_844 + 300) * 22
    assert cows.basins.solids_m3_d > plain.basins.solids_m3_d
    assert cows.hours.people_base_h_d > plain.hours.people_base_h_d
    assert cows.yard == plain.yard
    assert [len(s.yard.bays) for s in (plain, cows, pad)] == [12, 12, 8]
    assert pad.use == plain.use
    assert compare_with(demo, [], AT)[0].scenario == plain


def test_a_killed_year_goes_on_to_the_same_bits(
    demo: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "CHUNK", 3)
    monkeypatch.setattr("schedules.outlook.chunks.SETTING_MEMBERS", 3)
    args = ("year_ahead", "--members", "9", "--seed", "5")
    overlay = ("--overlay", str(OVERLAYS / "one_pad_fewer.yaml"))
    reckon, n_calls = chunks.reckon_part, 0

    def die_at_second(*a: object, **k: object) -> Part:
        nonlocal n_calls
        n_calls += 1
        if n_calls == 2:
            raise KeyboardInterrupt
        return reckon(*a, **k)  # type: ignore[arg-type]

    monkeypatch.setattr(services, "reckon_part", die_at_second)
    with time_machine.travel(AT, tick=False):
        with pytest.raises(KeyboardInterrupt):
            call_command(*args, *overlay)
        begun = OutlookRun.objects.get()
        assert begun.state == OutlookState.RUNNING
        assert [chunk.done_at is not None for chunk in begun.chunks.all()] == [True, False, False]
        out = StringIO()
        call_command(*args, *overlay, stdout=out)
        begun.refresh_from_db()
        assert begun.state == OutlookState.DONE
        assert n_calls == 4
        assert begun.digest[:12] in out.getvalue()
        assert "one pad fewer" in out.getvalue()
        call_command(*args, *overlay, "--json", stdout=StringIO())
    first, again = OutlookRun.objects.order_by("pk")
    assert again.digest == first.digest
    assert again.result == first.result
    assert again.inputs_hash == first.inputs_hash
