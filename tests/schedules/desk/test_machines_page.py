"""Machines: what the page says of dates, money, buckets and stops."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client

from equipment.attachments.models import SubjectKind
from equipment.attachments.services import attach
from equipment.machines.figures import machine_figures
from equipment.machines.models import Defect, MachinePractice
from equipment.machines.queries import machine_views
from schedules.desk.machine_figures import say_money, visit_lines
from schedules.desk.ranges import RangeBar, draw_ranges
from tests.farm import Farm

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("subject", [SubjectKind.DEFECT, SubjectKind.MACHINE])
def test_defect_and_look_round_show_their_photos(
    farm: Farm, manager: Client, subject: SubjectKind
) -> None:
    defect = Defect.objects.filter(site=farm.site, closed_at=None).earliest("pk")
    of = defect.pk if subject == SubjectKind.DEFECT else defect.machine_id
    file = f"/api/v1/sites/{farm.site.slug}/attachments/{farm.attachment.pk}/"
    assert file not in page(manager, farm)

    attach(attachment_ids=[farm.attachment.pk], subject_kind=subject, subject_id=of, **farm.who())

    seen = page(manager, farm)
    about = defect.text if subject == SubjectKind.DEFECT else defect.machine.name
    assert f'<a href="{file}"><img src="{file}" width="4" height="3"' in seen
    assert f'alt="Photo: {about}"' in seen


def page(client: Client, farm: Farm) -> str:
    return client.get(f"/farm/{farm.site.slug}/machines/").content.decode()


def test_what_is_not_in_the_farm_file_is_said_to_be_not_known(farm: Farm, manager: Client) -> None:
    text = page(manager, farm)
    assert "give visit_cost and shop_cost_per_h" in text
    assert "gives no prices, life and interest" in text
    assert "Not known whether it may lift this." in text
    assert "This is thin evidence" in text


def test_a_bucket_above_the_rated_load_is_flagged_with_a_caution(
    farm: Farm, manager: Client
) -> None:
    # 3.0 m³ x 0.95 x 1,920 kg/m³ = 5,472 kg = 12,064 lb of 0.45359237 kg
    loader = farm.machines[1]
    loader.rated_load_kg = 5_000
    loader.save()
    text = page(manager, farm)
    assert "12,064 lb" in text
    assert "Above its rated load: fill less." in text


def test_costs_name_their_row_and_their_sources(farm: Farm, manager: Client) -> None:
    loader = farm.machines[1]
    loader.price, loader.list_price, loader.salvage = Decimal(130_000), Decimal(150_000), 34_500
    loader.worth_now, loader.life_y, loader.power_kw = Decimal(60_000), 15, 134
    loader.repair_row = "tractor_2wd"
    loader.save()
    MachinePractice.objects.create(
        site=farm.site, interest_frac=0.08, fuel_price_per_l=Decimal("0.95"),
        visit_cost=90, shop_cost_per_h=60, manned_h_d=10,
    )  # fmt: skip
    text = page(manager, farm)
    assert "Two-wheel-drive tractor (ASAE D497)" in text
    assert "Iowa State A3-29" in text
    assert "loader hours a day" in text
    # 0.223 L/h for each of 134 kW at 0.95, whatever it runs: 28.39 an hour; 15 % of it is 4.26
    assert ">28.39<" in text
    assert ">4.26<" in text
    assert "Worth falls to 0.68 of the price at once (the farm's setting" in text


def test_what_a_machine_saves_is_said_once(farm: Farm) -> None:
    views = machine_views(farm.site.pk)
    figures, _stops, _practice = machine_figures(farm.site.pk, views, farm.now)
    due = views[1].dues[0]
    on = farm.now.date()
    both = ((on, (due, due), 0.0), (on, (due,), 0.0), (on + timedelta(days=30), (due, due), 0.0))
    lines = visit_lines("en", [replace(figures[1], visits=both, saved=75.0)])
    assert [line.saves for line in lines] == ["75", ""]


def test_money_is_rounded_to_even_and_grouped() -> None:
    assert say_money(12_345.5) == "12,346"
    assert say_money(0.125, 2) == "0.12"
    assert say_money(None) == "–"


def test_a_range_without_a_late_day_reaches_the_edge() -> None:
    bars = [RangeBar("Loader 1", 2, 5, None, "Oil"), RangeBar("Loader 2", 1, 10, 20, "Axle")]
    svg = draw_ranges(key="k", bars=bars, title="t", desc="d")
    assert svg.count('class="bar soft"') == 2
    assert "Loader 2" in svg
