"""Clients made from our description by others' generators, at work against a running server."""

import importlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pytest_django.live_server_helper import LiveServer

from config.gates import SCHEMA
from schedules.work.models import Problem, StandingOrder, WorkOrder
from tests.farm import Farm
from tests.nodes import node_tools

pytestmark = pytest.mark.django_db(transaction=True)

HERE = Path(__file__).parent
TIME_LIMIT_S = 300  # a guard for a machine under load
Count = Callable[[str, object], None]


@pytest.fixture
def farm(db: None) -> Farm:
    return Farm("ours")


def run(*command: str | Path, cwd: Path, **more: str) -> str:
    done = subprocess.run(
        command,
        cwd=cwd,
        env={**os.environ, **more},
        check=False,
        capture_output=True,
        text=True,
        timeout=TIME_LIMIT_S,
    )
    assert done.returncode == 0, f"{command}\n{done.stdout[-4000:]}\n{done.stderr[-4000:]}"
    return done.stdout


# Python -----------------------------------------------------------------------------------------


@pytest.fixture
def penround(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], Any]:
    """The client that openapi-python-client makes, without a single warning; gives its modules."""
    run(
        Path(sys.executable).with_name("openapi-python-client"),
        *("generate", "--path", str(SCHEMA), "--meta", "none", "--fail-on-warning"),
        *("--config", str(HERE / "python_client.yaml")),
        *("--output-path", str(tmp_path / "penround_client")),
        cwd=tmp_path,
    )
    monkeypatch.syspath_prepend(tmp_path)
    return lambda name: importlib.import_module(f"penround_client.{name}")


def _pages(client: Any, listing: Any, slug: str) -> list[int]:
    """Follow a list by its cursor to the end."""
    seen: list[int] = []
    more: dict[str, Any] = {}
    while True:
        page = listing.sync(slug, client=client, page_size=7, **more)
        seen += [row.id for row in page.results]
        if not page.next_:
            return seen
        more = {"cursor": page.next_.partition("cursor=")[2].partition("&")[0]}
        more["cursor"] = more["cursor"].replace("%3D", "=")


def test_python_client_signs_in_lists_creates_once_and_edits_by_version(
    farm: Farm, live_server: LiveServer, penround: Callable[[str], Any], record_property: Count
) -> None:
    models, base_url = penround("models"), live_server.url
    anybody = penround("client").Client(base_url=base_url)
    signed_in = penround("client").AuthenticatedClient(base_url=base_url, token=farm.manager_token)
    with anybody, signed_in as client:
        refused = penround("api.sites.sites_list").sync(client=anybody)
        assert (refused.status, refused.code) == (401, "not_authenticated")

        listing = penround("api.work_orders.sites_work_orders_list")
        seen = _pages(client, listing, farm.slug)
        assert sorted(seen) == sorted(WorkOrder.objects.values_list("pk", flat=True))

        report = penround("api.problems.sites_problems_create").sync
        asked = {"client": client, "idempotency_key": "smoke-1"}
        bent = models.ProblemInputRequest(text="gate bent")
        first, again = (report(farm.slug, body=bent, **asked) for _time in range(2))
        assert first.id == again.id == Problem.objects.latest("pk").pk
        other = report(farm.slug, body=models.ProblemInputRequest(text="gate broken"), **asked)
        assert (other.status, other.code) == (422, "idempotency_key_reused")

        _edit_by_version(farm, client, models, penround)
    record_property("count", f"Python client: {len(seen)} rows listed, 1 made, 1 edited")


def _edit_by_version(farm: Farm, client: Any, models: Any, penround: Callable[[str], Any]) -> None:
    read = penround("api.standing_orders.sites_standing_orders_retrieve").sync_detailed
    edit = penround("api.standing_orders.sites_standing_orders_partial_update").sync_detailed
    key = farm.rule.pk
    etag = read(farm.slug, key, client=client).headers["ETag"]
    assert read(farm.slug, key, client=client, if_none_match=etag).status_code == 304
    change = models.PatchedStandingOrderInputRequest(priority=2)
    assert edit(farm.slug, key, client=client, body=change, if_match=etag).status_code == 200
    stale = edit(farm.slug, key, client=client, body=change, if_match=etag)
    assert (stale.status_code, stale.parsed.code) == (412, "stale")


# TypeScript -------------------------------------------------------------------------------------


@pytest.mark.node
def test_typescript_client_compiles_strictly_and_does_the_same(
    farm: Farm, live_server: LiveServer, tmp_path: Path, record_property: Count
) -> None:
    for name in ("package.json", "tsconfig.json", "smoke.ts"):
        shutil.copy(HERE / name, tmp_path)
    (tmp_path / "node_modules").symlink_to(node_tools(HERE) / "node_modules")
    there = sorted(WorkOrder.objects.values_list("pk", flat=True))
    tools = tmp_path / "node_modules" / ".bin"
    typed = ("--default-non-nullable", "false", "-o", "schema.d.ts")  # a default need not be sent
    run(tools / "openapi-typescript", str(SCHEMA), *typed, cwd=tmp_path)
    run(tools / "tsc", "-p", ".", cwd=tmp_path)

    said = run(
        *("node", "smoke.js"),
        cwd=tmp_path,
        PENROUND_URL=live_server.url,
        PENROUND_TOKEN=farm.manager_token,
        PENROUND_SITE=farm.slug,
    )

    told = json.loads(said)
    assert sorted(told["seen"]) == there
    assert Problem.objects.filter(text="gate bent", pk=told["problem"]).exists()
    assert not Problem.objects.filter(text="gate broken").exists()
    assert StandingOrder.objects.filter(priority=2).exists()
    record_property("count", f"TypeScript client: {len(told['seen'])} rows, 1 made, 1 edited")
