"""The desk's addresses and its pages."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import URLPattern, path
from django.views.decorators.http import require_POST

from . import (
    actions,
    basin_actions,
    calendars,
    entry,
    look_back,
    news,
    parlor_actions,
    plan_actions,
    records,
    replan_actions,
    roster_actions,
    roster_wishes,
    sand_actions,
    set_up_file,
    standing,
    work_page,
    year_actions,
)
from .alerts import alerts_context, decide_alert
from .base import Desk, PageView, desk_view, page_context
from .basins import basins_context
from .crew import crew_context
from .farm_map import map_context
from .heat_words import heat_words
from .machines import machines_context
from .pens import pens_context
from .plan import plan_context
from .problems import problems_context
from .roster import roster_context
from .sand import sand_context
from .sand_lane import lane_context
from .sheet import day_sheet
from .sheet_pads import pad_sheet
from .sheet_services import service_sheet
from .sheet_week import week_sheet
from .status import EVERY_S, status_context
from .today import today_board
from .wall import wall_context
from .water_page import water_context
from .weather import foretell, weather_context
from .week import week_context
from .year import year_context


@desk_view
def today(desk: Desk) -> HttpResponse:
    return _today(desk, is_whole=False)


@desk_view
def day_list(desk: Desk) -> HttpResponse:
    return _today(desk, is_whole=True)


def _today(desk: Desk, *, is_whole: bool) -> HttpResponse:
    board = today_board(desk, is_whole=is_whole)
    context = page_context(desk, "today") | {
        "board": board,
        "heat": heat_words(desk),
        "is_whole": is_whole,
        "every_s": EVERY_S,
        "day_words": desk.day(board.local_date),
    }
    return render(desk.request, "desk/today.html", context)


@desk_view
def alerts(desk: Desk) -> HttpResponse:
    context = page_context(desk, "alerts") | alerts_context(desk)
    return render(desk.request, "desk/alerts.html", context)


@desk_view
def farm_map(desk: Desk) -> HttpResponse:
    context = page_context(desk, "map") | map_context(desk)
    return render(desk.request, "desk/farm_map.html", context)


@desk_view
def wall(desk: Desk) -> HttpResponse:
    context = page_context(desk, "wall") | wall_context(desk) | {"every_s": EVERY_S}
    return render(desk.request, "desk/wall.html", context)


@desk_view
def problems(desk: Desk) -> HttpResponse:
    context = page_context(desk, "problems") | problems_context(desk)
    return render(desk.request, "desk/problems.html", context)


@desk_view
def status(desk: Desk) -> HttpResponse:
    context = page_context(desk, "status") | status_context(desk) | {"every_s": EVERY_S}
    return render(desk.request, "desk/status.html", context)


@desk_view
def week(desk: Desk) -> HttpResponse:
    context = page_context(desk, "week") | week_context(desk)
    return render(desk.request, "desk/week.html", context)


@desk_view
def plan(desk: Desk) -> HttpResponse:
    context = page_context(desk, "plan") | plan_context(desk)
    return render(desk.request, "desk/plan.html", context)


@desk_view
def pens(desk: Desk) -> HttpResponse:
    context = page_context(desk, "pens") | pens_context(desk)
    return render(desk.request, "desk/pens.html", context)


@desk_view
def crew(desk: Desk) -> HttpResponse:
    context = page_context(desk, "crew") | crew_context(desk)
    return render(desk.request, "desk/crew.html", context)


@desk_view
def roster(desk: Desk) -> HttpResponse:
    context = page_context(desk, "roster") | roster_context(desk)
    return render(desk.request, "desk/roster.html", context)


@desk_view
def sand(desk: Desk) -> HttpResponse:
    context = page_context(desk, "sand") | sand_context(desk)
    return render(desk.request, "desk/sand.html", context)


@desk_view
def lane(desk: Desk) -> HttpResponse:
    context = page_context(desk, "lane") | lane_context(desk)
    return render(desk.request, "desk/sand_lane.html", context)


@desk_view
def water(desk: Desk) -> HttpResponse:
    context = page_context(desk, "water") | water_context(desk)
    return render(desk.request, "desk/water_page.html", context)


@desk_view
def basins(desk: Desk) -> HttpResponse:
    context = page_context(desk, "basins") | basins_context(desk)
    return render(desk.request, "desk/basins.html", context)


@desk_view
def machines(desk: Desk) -> HttpResponse:
    context = page_context(desk, "machines") | machines_context(desk)
    return render(desk.request, "desk/machines.html", context)


@desk_view
def back(desk: Desk) -> HttpResponse:
    context = page_context(desk, "look-back") | look_back.look_back_context(desk)
    return render(desk.request, "desk/look_back.html", context)


@desk_view
def year(desk: Desk) -> HttpResponse:
    context = page_context(desk, "year") | year_context(desk)
    return render(desk.request, "desk/year.html", context)


@desk_view
def weather(desk: Desk) -> HttpResponse:
    context = page_context(desk, "weather") | weather_context(desk)
    return render(desk.request, "desk/weather.html", context)


def _act(route: str, view: PageView, name: str) -> URLPattern:
    """Give the address of a form: POST only."""
    return path(f"farm/<slug:slug>/{route}", require_POST(view), name=name)


urlpatterns = [
    *set_up_file.urlpatterns,
    *records.urlpatterns,
    *replan_actions.urlpatterns,
    path("", entry.begin, name="begin"),
    path("sign-in/", entry.SignIn.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("speak/", entry.set_language, name="set-language"),
    path("farm/<slug:slug>/news/", news.news, name="site-news"),
    path("farm/<slug:slug>/today/", today, name="today"),
    path("farm/<slug:slug>/day/", day_list, name="day-list"),
    path("farm/<slug:slug>/day/sheet.pdf", day_sheet, name="day-sheet"),
    path("farm/<slug:slug>/week/sheet.pdf", week_sheet, name="week-sheet"),
    path("farm/<slug:slug>/sand/sheet.pdf", pad_sheet, name="pad-sheet"),
    path("farm/<slug:slug>/machines/sheet.pdf", service_sheet, name="service-sheet"),
    path("farm/<slug:slug>/alerts/", alerts, name="alerts"),
    path("farm/<slug:slug>/map/", farm_map, name="map"),
    path("farm/<slug:slug>/wall/", wall, name="wall"),
    path("farm/<slug:slug>/problems/", problems, name="problems"),
    path("farm/<slug:slug>/status/", status, name="status"),
    path("farm/<slug:slug>/week/", week, name="week"),
    path("farm/<slug:slug>/plan/", plan, name="plan"),
    path("farm/<slug:slug>/pens/", pens, name="pens"),
    path("farm/<slug:slug>/crew/", crew, name="crew"),
    path("farm/<slug:slug>/roster/", roster, name="roster"),
    path("farm/<slug:slug>/sand/", sand, name="sand"),
    path("farm/<slug:slug>/lane/", lane, name="lane"),
    path("farm/<slug:slug>/water/", water, name="water"),
    path("farm/<slug:slug>/weather/", weather, name="weather"),
    path("farm/<slug:slug>/basins/", basins, name="basins"),
    path("farm/<slug:slug>/machines/", machines, name="machines"),
    path("farm/<slug:slug>/look-back/", back, name="look-back"),
    path("farm/<slug:slug>/look-back/pens.csv", look_back.pens_table, name="look-back-pens"),
    path("farm/<slug:slug>/look-back/weeks.csv", look_back.weeks_table, name="look-back-weeks"),
    path("farm/<slug:slug>/year/", year, name="year"),
    path("farm/<slug:slug>/standing-orders/", standing.standing_orders, name="standing-orders"),
    path("farm/<slug:slug>/work/<int:pk>/", work_page.work_order, name="work-order"),
    _act("alerts/<int:pk>/decide/", decide_alert, "decide-alert"),
    _act("work/<int:pk>/give/", work_page.reassign_order, "reassign-order"),
    _act("work/<int:pk>/free/", work_page.free_order, "free-order"),
    _act("work/<int:pk>/cancel/", work_page.cancel_order, "cancel-order"),
    _act("work/<int:pk>/settle/", work_page.settle_order, "settle-order"),
    _act("work/<int:pk>/tell/<slug:said>/", work_page.tell_order, "tell-order"),
    _act("standing-orders/<int:pk>/edit/", standing.edit, "edit-standing-order"),
    _act("standing-orders/<int:pk>/retire/", standing.retire, "retire-standing-order"),
    _act("standing-orders/<int:pk>/take-over/", standing.take_over, "take-over-content"),
    _act("problems/<int:pk>/answer/", actions.answer, "answer-problem"),
    _act("locks/on/", actions.lock_on, "put-lock"),
    _act("locks/<int:pk>/off/", actions.lock_off, "take-off-lock"),
    _act("crew/<int:pk>/sick/", actions.sick, "call-in-sick"),
    _act("crew/<int:pk>/here/", actions.here, "mark-here"),
    _act("crew/<int:pk>/pair/", actions.pairing, "pairing-code"),
    _act("crew/shared/<int:pk>/pair/", actions.pairing_shared, "pairing-code-shared"),
    _act("calendars/link/", calendars.link, "calendar-link"),
    _act("calendars/<int:pk>/end/", calendars.end, "end-calendar"),
    _act("pens/order/", parlor_actions.milking_order, "milking-order"),
    _act("milkings/<int:pk>/end/", parlor_actions.milking_end, "end-milking"),
    _act("crew/pens/", actions.pens_to_crew, "give-pens"),
    _act("roster/make/", roster_actions.make, "make-roster"),
    _act("roster/<int:pk>/publish/", roster_actions.publish, "publish-roster"),
    _act("roster/<int:pk>/give-up/", roster_actions.give_up, "give-up-roster"),
    _act("roster/put/", roster_actions.put, "put-shift"),
    _act("roster/wish/", roster_wishes.say_wish, "say-wish"),
    _act("swaps/ask/", roster_actions.ask_swap, "ask-swap"),
    _act("swaps/<int:pk>/settle/", roster_actions.settle_swap, "settle-swap"),
    _act("phones/<int:pk>/revoke/", actions.revoke, "revoke-phone"),
    _act("batches/<int:pk>/test/", sand_actions.moisture, "moisture-test"),
    _act("batches/<int:pk>/hold/", sand_actions.hold_batch, "hold-batch"),
    _act("batches/<int:pk>/<slug:step>/", sand_actions.batch_step, "batch-step"),
    _act("weather/foretell/", foretell, "foretell-day"),
    _act("sand/delivery/", sand_actions.delivery, "sand-delivery"),
    _act("basins/<int:pk>/level/", basin_actions.level, "basin-level"),
    _act("basins/<int:pk>/gate/", basin_actions.gate, "basin-gate"),
    _act("basins/<int:pk>/clean-out/", basin_actions.clean_out, "basin-clean-out"),
    _act("basins/<int:pk>/analysis/", basin_actions.analysis, "basin-analysis"),
    _act("fields/<int:pk>/application/", basin_actions.application, "field-application"),
    _act("holds/<int:pk>/clear/", actions.clear, "clear-hold"),
    _act("machines/<int:pk>/reading/", actions.reading, "add-reading"),
    _act("machines/<int:pk>/service/", actions.service, "record-service"),
    _act("machines/<int:pk>/down/", actions.repair_start, "start-repair"),
    _act("repairs/<int:pk>/end/", actions.repair_end, "end-repair"),
    _act("plan/search/", plan_actions.ask, "ask-search"),
    _act("plan/search/stop/", plan_actions.stop, "stop-search"),
    _act("year/ask/", year_actions.ask, "ask-year"),
    _act("year/<int:pk>/stop/", year_actions.stop, "stop-year"),
    _act("year/<int:pk>/go-on/", year_actions.resume, "resume-year"),
    _act("defects/<int:pk>/close/", actions.defect_close, "close-defect"),
]
