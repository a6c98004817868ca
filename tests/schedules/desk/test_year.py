"""The page of the year ahead: what it shows of a run, and what its forms ask for."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from equipment.sandyard.models import Pad
from equipment.site.models import Place, TaskRun
from schedules.outlook import services
from schedules.outlook.models import OutlookState
from schedules.outlook.queries import runs_of
from tests.farm import Farm
from tests.schedules.desk.conftest import NOW
from tests.schedules.desk.reading import rows, words
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
    for told in ("Of 3 possible years", "half the rain", "What matters most", run.digest[:12]):
        assert told in page
    assert page.count("<svg") >= 6
    token = r'name="csrfmiddlewaretoken" value="\w+"'
    plain = re.sub(rf"<svg.*?</svg>|bits|[0-9a-f]{{12}}|{token}", "", page)
    assert not re.search(r"\d[eE][+-]?\d", plain)


def test_it_speaks_in_the_units_of_the_farm(farm: Farm, manager: Client) -> None:
    """A short ton is 907.18474 kg: NIST Handbook 44, appendix C."""
    run = services.begin_run(
        site_id=farm.site.pk,
        compared=[services.Compared("", scenario())],
        seed=1,
        n_members=3,
        at=NOW,
        in_background=False,
    )
    while services.do_part(run=run, at=NOW):
        pass
    stored = runs_of(farm.site.pk).get(pk=run.pk).result
    assert stored is not None
    missing_t = stored["compared"][0]["outcomes"]["missing_t"]["mean"]
    assert missing_t > 0
    shown = {}
    for units in ("si", "us"):
        farm.site.units = units
        farm.site.save(update_fields=["units"])
        page = manager.get(reverse("year", args=[farm.site.slug]))
        shown[units] = next(r for r in rows(page.content.decode()) if "bought or lacking" in r[0])
    assert shown["si"][0].endswith(", t")
    assert shown["si"][1].startswith(f"{missing_t:,.1f} ±")
    assert shown["us"][0].endswith(", tons")
    assert shown["us"][1].startswith(f"{missing_t / 0.90718474:,.1f} ±")


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


def test_the_only_pad_is_not_left_out(farm: Farm, manager: Client) -> None:
    kept, *others = Pad.objects.filter(site=farm.site).select_related("place")
    Place.objects.filter(pk__in=[pad.pk for pad in others]).update(retired_at=NOW)
    posted = {"n_members": "10", "without_pad": kept.place.key}
    answer = manager.post(reverse("ask-year", args=[farm.site.slug]), posted)
    assert answer.status_code == 400
    assert "It is the only pad" in words(answer)
    assert not TaskRun.objects.filter(kind=services.ASK_KIND).exists()
