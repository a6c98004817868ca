"""The page of the year ahead: what it shows of a run, and what its forms ask for."""

import pytest
from django.test import Client
from django.urls import reverse

from equipment.site.models import TaskRun
from schedules.outlook import services
from schedules.outlook.models import OutlookState
from schedules.outlook.queries import runs_of
from tests.farm import Farm
from tests.schedules.desk.conftest import NOW
from tests.schedules.outlook.years import history, scenario

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def past(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "climate_before", lambda _site, _on: history())
    monkeypatch.setattr("schedules.outlook.chunks.SETTING_MEMBERS", 2)


def test_it_shows_chances_ranges_differences_and_what_matters(farm: Farm, manager: Client) -> None:
    url = reverse("year", args=[farm.site.slug])
    assert "No year ahead has been reckoned yet" in manager.get(url).content.decode()
    run = services.begin_run(
        site_id=farm.site.pk,
        compared=[
            services.Compared("", scenario()),
            services.Compared("half the rain", scenario(rain_factor=0.5)),
        ],
        seed=1,
        n_members=3,
        at=NOW,
        in_background=False,
    )
    assert "0 of 1 parts done" in manager.get(url).content.decode()
    while services.do_part(run=run, at=NOW):
        pass
    page = manager.get(url).content.decode()
    for words in ("Of 3 possible years", "half the rain", "What matters most", run.digest[:12]):
        assert words in page
    assert page.count("<svg") >= 6


def test_a_lead_asks_and_stops(farm: Farm, manager: Client) -> None:
    posted = {"n_members": "10", "cure_d": "45", "recovery_pct": "70"}
    answer = manager.post(reverse("ask-year", args=[farm.site.slug]), posted)
    assert answer.status_code == 302
    asked = TaskRun.objects.get(kind=services.ASK_KIND)
    assert asked.args["change"] == {"cure_d": 45, "recovery_frac": 0.7}
    run = services.begin_run(
        site_id=farm.site.pk,
        compared=[services.Compared("", scenario())],
        seed=1,
        n_members=3,
        at=NOW,
    )
    manager.post(reverse("stop-year", args=[farm.site.slug, run.pk]))
    assert runs_of(farm.site.pk).get(pk=run.pk).state == OutlookState.STOPPED
    manager.post(reverse("resume-year", args=[farm.site.slug, run.pk]))
    assert runs_of(farm.site.pk).get(pk=run.pk).state == OutlookState.RUNNING
