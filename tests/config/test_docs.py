"""The API's description and the page that shows it: our own files, nothing inline."""

import jsonschema
import pytest
import yaml
from django.test import Client
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from config.api_examples import CALLS
from config.gates import SCHEMA

pytestmark = pytest.mark.django_db

# A repeat is known by the code, the events' ids, the old token, the file's id, the phone itself.
KNOWN_BY_THEMSELVES = (
    *("/pair/", "/events/", "/phone/token/", "/attachments/{attachment_id}/", "/nudges/"),
)


def test_description_is_served_as_it_was_committed(client: Client) -> None:
    served = client.get("/api/v1/schema/")

    assert served.status_code == 200
    assert yaml.safe_load(served.content) == yaml.safe_load(SCHEMA.read_text())


def test_every_operation_says_what_it_may_refuse() -> None:
    paths = yaml.safe_load(SCHEMA.read_text())["paths"]
    for path, operations in paths.items():
        for method, operation in operations.items():
            assert {"400", "404", "405"} <= operation["responses"].keys(), (method, path)
            names = {parameter["name"] for parameter in operation.get("parameters", [])}
            is_known_by_itself = path.endswith(KNOWN_BY_THEMSELVES)
            needs_key = method == "post" and not is_known_by_itself
            assert ("Idempotency-Key" in names) == needs_key, path
            needs_version = method in ("put", "patch", "delete") and not is_known_by_itself
            assert ("If-Match" in names) == needs_version, path


def test_examples_are_in_both_languages_and_what_the_description_allows() -> None:
    """JSON Schema 2020-12, which OpenAPI 3.1 speaks, judged by the package jsonschema."""
    description = yaml.safe_load(SCHEMA.read_text())
    contents = [
        operation["requestBody"]["content"]["application/json"]
        for path in description["paths"].values()
        for operation in path.values()
        if operation["operationId"] in CALLS
    ]
    assert len(contents) == len(CALLS)
    contents += [
        response["content"]["application/problem+json"]
        for response in description["components"]["responses"].values()
    ]
    for content in contents:
        assert content["examples"].keys() == {"en", "es"}
        schema = {**content["schema"], "components": description["components"]}
        for example in content["examples"].values():
            jsonschema.validate(example["value"], schema, jsonschema.Draft202012Validator)
    told = [content["examples"] for content in contents[len(CALLS) :]]
    assert all(one["en"]["value"]["detail"] != one["es"]["value"]["detail"] for one in told)


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_page_shows_the_operations_from_our_own_files_alone(
    live_server: LiveServer, page: Page
) -> None:
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))

    page.goto(f"{live_server.url}/api/v1/docs/")
    page.locator(".opblock").first.wait_for()
    start = page.locator("#operations-work-orders-sites_work_orders_start_create")
    for _screen in range(60):  # a long list is drawn as it comes into sight
        if start.count():
            break
        page.mouse.wheel(0, 700)
        page.wait_for_function("new Promise(seen => requestAnimationFrame(() => seen(true)))")
    start.wait_for()

    outside = [url for url in asked if not url.startswith((live_server.url, "data:"))]
    assert outside == []
    assert said == []
