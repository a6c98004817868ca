"""A run by parts: stopped, gone on with, killed, told apart from one of other code or weather."""

from datetime import UTC, datetime
from unittest.mock import patch

import pytest

from equipment.site.models import TaskRun
from equipment.site.runs import poll_slow
from equipment.weather.models import WeatherDay
from schedules.errors import NoYearError, YearStateError
from schedules.outlook import services
from schedules.outlook.facts import climate_before
from schedules.outlook.models import OutlookRun, OutlookState
from schedules.outlook.queries import latest_result, runs_of
from tests.farm import Farm
from tests.schedules.outlook.years import history, scenario

AT = datetime(2026, 1, 1, 18, tzinfo=UTC)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def small_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    past = history()
    monkeypatch.setattr(services, "CHUNK", 2)
    monkeypatch.setattr("schedules.outlook.chunks.SETTING_MEMBERS", 2)
    monkeypatch.setattr(services, "climate_before", lambda _site, _on: past)


def begin(farm: Farm, seed: int = 3, *, in_background: bool = False) -> OutlookRun:
    fewer = services.Compared("dry", scenario(rain_factor=0.5))
    return services.begin_run(
        site_id=farm.site.pk,
        compared=[services.Compared("", scenario()), fewer],
        seed=seed,
        n_members=5,
        at=AT,
        in_background=in_background,
    )


def finish(run: OutlookRun) -> OutlookRun:
    while services.do_part(run=run, at=AT):
        pass
    return run


def test_stopped_and_gone_on_with_gives_the_same_bits(farm: Farm) -> None:
    whole = finish(begin(farm))
    run = begin(farm)
    assert run.pk != whole.pk
    services.do_part(run=run, at=AT)
    services.stop_run(site_id=farm.site.pk, run_id=run.pk, at=AT)
    assert not services.do_part(run=run, at=AT)
    assert [row.n_parts_done for row in runs_of(farm.site.pk) if row == run] == [1]  # type: ignore[attr-defined]
    services.resume_run(site_id=farm.site.pk, run_id=run.pk, at=AT)
    finish(run)
    assert run.state == OutlookState.DONE
    assert run.digest == whole.digest
    assert run.result == whole.result
    assert latest_result(farm.site.pk) == run
    assert finish(begin(farm, seed=4)).digest != whole.digest
    with pytest.raises(YearStateError):
        services.stop_run(site_id=farm.site.pk, run_id=run.pk, at=AT)


def test_the_same_what_if_differs_by_nothing(farm: Farm) -> None:
    run = services.begin_run(
        site_id=farm.site.pk,
        compared=[services.Compared("", scenario()), services.Compared("same", scenario())],
        seed=1,
        n_members=4,
        at=AT,
        in_background=False,
    )
    finish(run)
    assert run.result is not None
    told = run.result["compared"][1]["outcomes"]
    assert all(one["difference"] == 0 == one["difference_se"] for one in told.values())


def test_other_code_or_weather_is_not_gone_on_with(farm: Farm) -> None:
    run = begin(farm)
    services.do_part(run=run, at=AT)
    other = patch.object(services, "climate_before", lambda _site, _on: history(seed=2))
    with other, pytest.raises(NoYearError):
        services.do_part(run=run, at=AT)
    run.refresh_from_db()
    assert run.state == OutlookState.FAILED
    assert run.error


def test_the_worker_finishes_it_from_the_row_alone(farm: Farm) -> None:
    run = begin(farm, in_background=True)
    now = datetime.now(UTC)
    while TaskRun.objects.filter(kind=services.RUN_KIND, state="waiting").exists():
        assert poll_slow(now=now) == 1
    run.refresh_from_db()
    assert run.state == OutlookState.DONE


def test_without_weather_nothing_is_invented(farm: Farm, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(services, "climate_before", climate_before)
    WeatherDay.objects.filter(site=farm.site).delete()
    with pytest.raises(NoYearError):
        begin(farm)
