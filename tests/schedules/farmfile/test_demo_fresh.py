"""What a first load of the demo farm leaves, each time from nothing."""

from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from stat import S_IMODE

import pytest
import time_machine
from django.core.management import call_command

from equipment.site.models import Site, User
from schedules.farmfile.demo.services import load_demo
from schedules.sand.models import Batch, Stage
from schedules.sand.queries import bays_with_batches

AT = datetime(2026, 11, 25, 15, tzinfo=UTC)  # a Wednesday, 08:00 at the farm

pytestmark = pytest.mark.django_db


def test_in_the_wet_farm_pads_back_up() -> None:
    load_demo(at=AT, overlay="wet", solve_s=1)
    site = Site.objects.get()

    waiting = Batch.objects.filter(
        stage=Stage.DRAINING, closed_at__lt=AT - timedelta(hours=36), ended_at=None
    )
    assert all(batch is not None for _bay, batch in bays_with_batches(site.pk))
    assert waiting.count() >= 3


def test_the_password_is_kept_where_only_the_owner_reads_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PENROUND_DATA", str(tmp_path))
    out, err = StringIO(), StringIO()

    with time_machine.travel(AT, tick=False):
        call_command("load_demo", stdout=out, stderr=err)

    file = tmp_path / "sign-in.txt"
    password, names = file.read_text().splitlines()
    assert S_IMODE(file.stat().st_mode) == 0o600
    assert User.objects.get(username="manager").check_password(password)
    assert "manager" in names.split()
    assert password not in out.getvalue() + err.getvalue()
    assert str(file) in err.getvalue()
