"""Charts: safe with any name, agreeing with their tables, small."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from schedules.desk import charts
from schedules.desk.charts import (
    HELD,
    LABEL_W,
    Block,
    DotColumn,
    Span,
    TimeRow,
    draw_dots,
    draw_pipeline,
    draw_time_rows,
)
from schedules.desk.ranges import RangeBar, draw_ranges

HOSTILE = "</svg><script>alert(1)</script>\"'&<b onload=x>"
START = datetime(2026, 3, 4, 13, tzinfo=UTC)
HOUR = timedelta(hours=1)
SVG = "{http://www.w3.org/2000/svg}"
DENVER = ZoneInfo("America/Denver")
MOST_BYTES = 60_000


def _parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1))


def _hour(at: datetime) -> str:
    return at.astimezone(DENVER).strftime("%H")


def _time_rows(*rows: TimeRow, hours: int = 12, now: datetime = START) -> str:
    return draw_time_rows(
        key="pens",
        rows=rows,
        start=START,
        end=START + hours * HOUR,
        now=now,
        zone=DENVER,
        hour=_hour,
        title=HOSTILE,
        desc=HOSTILE,
    )


def _drawn() -> dict[str, str]:
    span = Span(START, START + HOUR, "job to-do", HOSTILE, f"/x?{HOSTILE}")
    return {
        "time rows": _time_rows(TimeRow(HOSTILE, (span,))),
        "pipeline": draw_pipeline(
            key="p", stages=[(HOSTILE, [Block(HOSTILE, 5, url=HOSTILE)])], title=HOSTILE,
            desc=HOSTILE, unit=HOSTILE,
        ),
        "dots": draw_dots(
            key="d", columns=[DotColumn(HOSTILE, HOSTILE, HOSTILE, 3)], title=HOSTILE, desc=HOSTILE
        ),
        "ranges": draw_ranges(
            key="r", bars=[RangeBar(HOSTILE, 1, 2, 3, HOSTILE)], title=HOSTILE, desc=HOSTILE
        ),
    }  # fmt: skip


@pytest.mark.parametrize("name", ["time rows", "pipeline", "dots", "ranges"])
def test_hostile_name_stays_text(name: str) -> None:
    """The drawing is well-formed XML with our elements only, and says the name as it is."""
    drawing = _parsed(_drawn()[name])

    ours = {"svg", "title", "desc", "defs", "pattern", "rect", "line", "text", "circle"}
    assert {el.tag.removeprefix(SVG) for el in drawing.iter()} <= ours
    assert not any(key.startswith("on") for el in drawing.iter() for key in el.attrib)
    assert HOSTILE in {el.text for el in drawing.iter()}


@pytest.mark.parametrize("name", ["time rows", "pipeline", "dots", "ranges"])
def test_drawing_is_an_image_with_title_and_description(name: str) -> None:
    drawing = _parsed(_drawn()[name])

    ids = (drawing.get("aria-labelledby") or "").split()
    assert drawing.get("role") == "img"
    assert ids == [drawing[0].get("id"), drawing[1].get("id")]


def test_span_lies_where_its_times_say() -> None:
    """One hour of twelve, from the third on: a twelfth of the width, after two twelfths."""
    span = Span(START + 2 * HOUR, START + 3 * HOUR, "job to-do")
    drawing = _parsed(_time_rows(TimeRow("Pen", (span,))))
    [job] = [el for el in drawing.iter(f"{SVG}rect") if el.get("class") == "job to-do"]
    width = float(drawing.get("width") or 0) - LABEL_W - 10

    assert float(job.get("width") or 0) == pytest.approx(width / 12, abs=0.1)
    assert float(job.get("x") or 0) == pytest.approx(LABEL_W + width / 6, abs=0.1)


def test_span_that_reaches_over_the_edge_is_cut_there_and_one_beyond_is_left_out() -> None:
    over = Span(START - HOUR, START + HOUR, "away")
    beyond = Span(START - 3 * HOUR, START - HOUR, "window")
    drawing = _parsed(_time_rows(TimeRow("Pen", (over, beyond))))

    [away] = [el for el in drawing.iter(f"{SVG}rect") if el.get("class") == "away"]
    assert float(away.get("x") or 0) == LABEL_W
    assert not [el for el in drawing.iter(f"{SVG}rect") if el.get("class") == "window"]


@pytest.mark.parametrize(("now", "n"), [(START + HOUR, 1), (START - HOUR, 0)])
def test_now_is_drawn_while_it_is_in_the_picture(now: datetime, n: int) -> None:
    drawing = _parsed(_time_rows(TimeRow("Pen", ()), now=now))

    assert len([el for el in drawing.iter(f"{SVG}line") if el.get("class") == "now"]) == n


def test_whole_day_marks_every_second_even_hour() -> None:
    drawing = _parsed(_time_rows(TimeRow("Pen", ()), hours=24))

    marks = [el.text for el in drawing.iter(f"{SVG}text") if el.get("class") == "soft"]
    assert marks[:4] == ["08", "10", "12", "14"]  # 13:00 UTC is 06:00 in Denver, the edge


def test_hours_on_the_night_of_the_spring_gap_skip_the_hour_that_is_not() -> None:
    """America/Denver goes from 2:00 to 3:00 on 8 March 2026 (IANA tz database)."""
    start = datetime(2026, 3, 8, 7, tzinfo=UTC)  # midnight
    drawing = _parsed(
        draw_time_rows(
            key="pens", rows=[], start=start, end=start + 6 * HOUR, now=start, zone=DENVER,
            hour=_hour, title="t", desc="d",
        )
    )  # fmt: skip

    marks = [el.text for el in drawing.iter(f"{SVG}text")]
    assert marks == ["01", "03", "04", "05", "06"]


def test_block_is_as_wide_as_it_is_heavy() -> None:
    blocks = [Block("1", 100.0), Block("2", 300.0)]
    drawing = _parsed(
        draw_pipeline(key="p", stages=[("Drying", blocks)], title="t", desc="d", unit="t")
    )

    light, heavy = (float(el.get("width") or 0) for el in drawing.iter(f"{SVG}rect"))
    assert heavy + 2 == pytest.approx(3 * (light + 2), abs=0.2)
    assert "400 t" in {el.text for el in drawing.iter(f"{SVG}text")}


def test_held_block_brings_the_hatching_that_fills_it() -> None:
    def patterns(*blocks: Block) -> set[str | None]:
        stages = [("Drying", list(blocks))]
        svg = draw_pipeline(key="p", stages=stages, title="t", desc="d", unit="t")
        return {el.get("id") for el in _parsed(svg).iter(f"{SVG}pattern")}

    assert patterns(Block("1", 100.0)) == set()
    assert "hatch" in patterns(Block("1", 100.0), Block("2", 300.0, HELD))


def test_every_pattern_of_the_style_sheet_is_drawn() -> None:
    css = (Path(charts.__file__).parent / "static/desk/desk.css").read_text()
    drawing = _parsed(_time_rows(TimeRow("Pen", ())))

    wanted = set(re.findall(r"url\(#([\w-]+)\)", css))
    assert wanted == {el.get("id") for el in drawing.iter(f"{SVG}pattern")}


def test_there_is_a_dot_for_each_chance() -> None:
    columns = [DotColumn("Wed", "4 Mar", "Wed 4 Mar", 13), DotColumn("Thu", "5", "Thu 5 Mar", 7)]
    drawing = _parsed(draw_dots(key="d", columns=columns, title="t", desc="d"))

    assert len(list(drawing.iter(f"{SVG}circle"))) == 20


def test_a_range_is_as_long_as_its_days_on_the_scale_of_all() -> None:
    bars = [RangeBar("Loader 1", 10, 20, 30, "x"), RangeBar("Loader 2", 0, 50, 60, "y")]
    drawing = _parsed(draw_ranges(key="r", bars=bars, title="t", desc="d"))

    short, _mark, long, _mark = (float(el.get("width") or 0) for el in drawing.iter(f"{SVG}rect"))
    assert long == pytest.approx(3 * short, abs=0.3)


def test_charts_of_a_large_farm_stay_small() -> None:
    """14 pens with three visits, 400 jobs: the budget of a chart is 60 kB."""
    jobs = tuple(
        Span(START + n * HOUR / 4, START + n * HOUR / 4 + HOUR / 8, "job to-do",
             "Rake beds by hand Beds 10A, 9:30 – 9:42 am", f"/farm/three-cairns/work/{n}/")
        for n in range(16)
    )  # fmt: skip
    rows = [TimeRow(f"Pen {n}", jobs) for n in range(14)]

    assert len(_time_rows(*rows)) < MOST_BYTES


def test_no_chart_carries_style_or_script() -> None:
    """The content security policy would drop them."""
    assert not re.search(r"\bstyle=|<style|<script", "".join(_drawn().values()))
