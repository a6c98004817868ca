"""What schemathesis cannot know: keys of rows that are there, and the ETag that stands.

Loaded by its own process; `FUZZ_FARM` holds the keys. Two calls of three are made sensible, the
third goes out as it was made up.
"""

import json
import os
import urllib.request
from itertools import count
from typing import Any

import schemathesis

FARM: dict[str, Any] = json.loads(os.environ["FUZZ_FARM"])
TURN = count()
LEFT_OUT = {"at", "read_at", "done_at", "trigger_rule", "target", "duration", "retired_at"}


@schemathesis.hook
def before_call(context: Any, case: Any, kwargs: dict[str, Any]) -> None:
    turn = next(TURN)
    if case.query and case.query.get("wait_s") in range(1, 26):
        case.query["wait_s"] = 0  # a pull that waits holds up the whole run
    is_wrong_on_purpose = case.meta is not None and case.meta.generation.mode.is_negative
    if turn % 3 == 2 or is_wrong_on_purpose:
        return
    parts = [part for part in case.path.split("/") if part]
    case.path_parameters = {
        name: FARM["slug"] if name == "slug" else key_for(parts, turn)
        for name in case.path_parameters or {}
    }
    if isinstance(case.body, dict):
        case.body = sensible(case.body, parts, turn)
    asked = {parameter.name for parameter in case.operation.iter_parameters()}
    if "Idempotency-Key" in asked:
        case.headers = {**(case.headers or {}), "Idempotency-Key": f"call-{turn}"}
    if "If-Match" in asked:
        case.headers = {**(case.headers or {}), "If-Match": etag_of(case.formatted_path)}


def key_for(parts: list[str], turn: int) -> Any:
    """Give the key of a row that the address means: of what may be spread, of any batch."""
    resource, action = parts[4], parts[-1]
    keys: list[Any] = FARM["rows"].get(f"{resource}/{action}") or FARM["rows"][resource]
    return keys[turn % len(keys)]


def sensible(body: dict[str, Any], parts: list[str], turn: int) -> dict[str, Any]:
    """Name rows that are there; leave out times that are long ago and rules made of noise."""
    keys = {**FARM["fields"], **FARM["fields_of"].get(parts[-1], {})}
    said = {name: value for name, value in body.items() if name not in LEFT_OUT}
    for name, value in said.items():
        if name in keys and isinstance(value, list):
            said[name] = keys[name][: max(1, len(value) % 3)]
        elif name in keys:
            said[name] = keys[name][turn % len(keys[name])]
        elif name == "starts_at":
            said[name] = FARM["starts_at"]
        elif name == "answers":
            said[name] = [{"item": key, "ok": bool(turn % 2)} for key in FARM["check_items"]]
    return said


def etag_of(path: str) -> str:
    """Read the version that stands, as a client would."""
    request = urllib.request.Request(FARM["url"] + path, headers={"Authorization": FARM["token"]})
    try:
        with urllib.request.urlopen(request) as answer:
            return str(answer.headers["ETag"])
    except urllib.error.HTTPError:
        return '"0-0"'
