"""Lists as tables, read back by a library that knows nothing of us by their own description.

CSV as RFC 4180 has it; its description as CSV on the Web does (W3C Recommendations of 2015-12-17:
Model for Tabular Data, Metadata Vocabulary), read by the package csvw; guards against formulas as
OWASP's page on CSV injection lists them.
"""

import csv
import io
import json
import re
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from csvw import CSVW
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from equipment.site import tables
from equipment.site.models import Place
from schedules.work.models import Problem
from tests.config.calls import path_of
from tests.config.test_conditional import LISTS, OF_STATE
from tests.config.test_foreign_keys import send
from tests.farm import Farm

pytestmark = pytest.mark.django_db

ALL = (*LISTS, "sites/")


def fetch(client: Client, path: str, form: str = "csv", **query: str) -> tuple[Any, str]:
    answer = client.get(path, {"format": form, **query})
    body = answer.getvalue()
    assert answer.status_code == 200, body
    return answer, body.decode()


def links_of(answer: Any) -> dict[str, str]:
    found = re.findall(r'<([^>]*)>; rel="(\w+)"', answer.headers.get("Link", ""))
    return {rel: url for url, rel in found}


def read_by_its_description(client: Client, path: str, folder: Path) -> list[dict[str, Any]]:
    """Follow the link to the description, as section 5.2 of the model has it, and read by it."""
    answer, text = fetch(client, path)
    described = client.get(links_of(answer)["describedby"])
    assert described["Content-Type"] == "application/csvm+json"
    document = described.json()
    assert document["url"].endswith(f"{path}?format=csv")
    file = folder / "table.csv"
    file.write_bytes(text.encode())
    description = folder / "table.csv-metadata.json"
    description.write_text(json.dumps({**document, "url": file.name}))
    read = CSVW(str(description), validate=True)
    assert read.is_valid, [str(warning.message) for warning in read.warnings]
    [table] = read.tables
    return [dict(row) for row in table.iterdicts()]


def plain(value: Any) -> Any:
    """Give a value in one spelling, whether JSON or the library read it."""
    match value:
        case None | "" | []:
            return None
        case str() if re.fullmatch(r"\d{4}-\d\d-\d\dT.*", value):
            return datetime.fromisoformat(value)
        case datetime():
            return value if value.tzinfo else value.date().isoformat()  # it reads dates as times
        case int() | float() if not isinstance(value, bool):
            return float(value)
        case list():
            return [plain(item) for item in value]
        case dict():
            return {name: plain(item) for name, item in value.items()}
    return value


def in_row(row: dict[str, Any], path: tuple[str, ...]) -> Any:
    value: Any = row
    for name in path:
        value = value[name] if value is not None else None
    return value


def test_every_list_reads_back_as_it_is(
    farm: Farm,
    as_manager: APIClient,
    tmp_path: Path,
    record_property: Callable[[str, object], None],
) -> None:
    n_cells = 0
    for route in ALL:
        path = path_of(route, farm, farm.slug)
        rows = as_manager.get(path, {"page_size": "200"}).json()["results"]
        read = read_by_its_description(as_manager, path, tmp_path)
        assert len(read) == len(rows), route
        columns = _columns(route, as_manager, path)
        key = tuple(columns["id"]) if "id" in columns else ()
        if key:
            rows = sorted(rows, key=lambda row: str(in_row(row, key)))
            read = sorted(read, key=lambda row: str(row["id"]))
        for one, other in zip(rows, read, strict=True):
            for name, where in columns.items():
                assert plain(other[name]) == plain(in_row(one, where)), (route, name)
                n_cells += 1
    record_property("count", f"tables: {len(ALL)} lists read by their description, {n_cells} cells")


def _columns(route: str, client: Client, path: str) -> dict[str, tuple[str, ...]]:
    """Where each column's value is in the JSON, by names alone."""
    described = client.get(path, {"format": "csvm"}).json()["tableSchema"]["columns"]
    names = [column["name"] for column in described]
    assert len(names) == len(set(names)), route
    rows = client.get(path, {"page_size": "200"}).json()["results"]
    found: dict[str, tuple[str, ...]] = {}
    for row in rows:
        _walk(row, (), set(names), found)
    return found


def _walk(
    row: dict[str, Any], above: tuple[str, ...], names: set[str], found: dict[str, tuple[str, ...]]
) -> None:
    for key, value in row.items():
        path = (*above, key)
        name = "_".join(path)
        if name in names:
            found[name] = path
        elif value is not None:
            assert isinstance(value, dict), f"{name} is in no column"
            _walk(value, path, names, found)


UNITS = re.compile(
    r"_(m|mm|km|m2|m3|kg|t|s|min|h|d|min_h|m_s|m3_s|m3_d|mm_h|kg_t|kg_ha|kg_m3|kg_d|degc|deg|kwh|frac"
    r"|m_min|ha|rh|pct|min_per_h|mj_m2_d|kpa|mj_m2)$"
    r"|(^|_)cost$"  # in the farm's own currency, or as minutes of walking
)


def test_number_with_a_unit_says_it_in_its_name(farm: Farm, as_manager: APIClient) -> None:
    nameless = {
        (route, column["name"])
        for route in ALL
        for column in as_manager.get(path_of(route, farm, farm.slug), {"format": "csvm"}).json()[
            "tableSchema"
        ]["columns"]
        if column["datatype"] in ("double", "decimal") and not UNITS.search(column["name"])
    }
    assert nameless == set()


@pytest.mark.parametrize("text", ["=1+1", "+1", "-2 kg", "@SUM(A1)", "\t=1", "\r=1", "\n=1"])
def test_text_is_no_formula_and_a_number_stays_one(
    farm: Farm, as_manager: APIClient, tmp_path: Path, text: str
) -> None:
    Place.objects.filter(pk=farm.lane.pk).update(x_m=-3.5)
    Problem.objects.create(
        site=farm.site, text=text, reported_at=farm.now, reported_by=farm.manager.actor
    )

    _answer, table = fetch(as_manager, "/api/v1/sites/ours/problems/")
    texts = [row["text"] for row in csv.DictReader(io.StringIO(table, newline=""))]
    assert "'" + text in texts

    places = read_by_its_description(as_manager, "/api/v1/sites/ours/places/", tmp_path)
    assert [p["x_m"] for p in places if p["id"] == farm.lane.pk] == [-3.5]


def test_table_for_a_spreadsheet_begins_with_the_mark_of_utf_8(as_manager: APIClient) -> None:
    path = "/api/v1/sites/ours/machines/"

    _plain, plain_text = fetch(as_manager, path)
    _sheet, sheet = fetch(as_manager, path, "sheet")

    assert sheet.encode()[:3] == b"\xef\xbb\xbf"  # RFC 3629, section 6
    assert sheet.encode().decode("utf-8-sig") == plain_text
    assert plain_text.count("\r\n") == plain_text.count("\n")  # RFC 4180, section 2


def test_table_is_asked_for_by_accept_as_well(as_manager: APIClient) -> None:
    answer = as_manager.get("/api/v1/sites/ours/machines/", headers={"Accept": "text/csv"})

    assert answer["Content-Type"] == "text/csv; charset=utf-8; header=present"  # RFC 4180, 3
    assert "ours-machines.csv" in answer["Content-Disposition"]
    assert "Accept" in answer["Vary"]
    assert answer.getvalue() == fetch(as_manager, "/api/v1/sites/ours/machines/")[1].encode()


def test_table_has_all_rows_read_some_at_a_time(
    as_manager: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tables, "ROWS_A_TIME", 7)
    with CaptureQueriesContext(connection) as queries:
        _answer, table = fetch(as_manager, "/api/v1/sites/ours/work-orders/")
    keys = [int(row["id"]) for row in csv.DictReader(io.StringIO(table))]

    n_rows = len(set(keys))
    assert n_rows == len(keys) > 14
    assert keys == sorted(keys)
    assert len(queries) == 1 + n_rows // 7 + 1 + bool(n_rows % 7)


def test_table_is_narrowed_and_refused_as_the_list_is(farm: Farm, as_manager: APIClient) -> None:
    path = "/api/v1/sites/ours/work-orders/"

    answer, table = fetch(as_manager, path, status="IN-PROCESS")
    assert len(list(csv.DictReader(io.StringIO(table)))) == 4
    assert "status=IN-PROCESS" in links_of(answer)["describedby"]

    refused = as_manager.get(path, {"format": "csv", "status": "DONE"})
    assert refused.status_code == 400
    assert refused["Content-Type"] == "application/problem+json"


def test_table_that_still_stands_is_not_written(farm: Farm, as_manager: APIClient) -> None:
    for route in ALL:
        path = path_of(route, farm, farm.slug)
        first = as_manager.get(path, {"format": "csv"})
        again = as_manager.get(
            path, {"format": "csv"}, headers={"If-None-Match": first.headers["ETag"]}
        )
        assert again.status_code == 304, route
    machines = "/api/v1/sites/ours/machines/"
    assert "machines/" in OF_STATE
    old = fetch(as_manager, machines)[0]["ETag"]
    hold = ("POST", "machines/<key:pk>/hold/")
    send(as_manager, hold, path_of(hold[1], farm, farm.slug), {"reason": "brakes"}, "k-1")
    assert fetch(as_manager, machines)[0]["ETag"] != old
