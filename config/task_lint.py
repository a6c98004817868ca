"""Finds timers hidden in the broker, by the syntax tree: `eta`, `countdown`, a task's own retry."""

import ast
from collections.abc import Iterator
from pathlib import Path

FORBIDDEN_ARGUMENTS = {"eta", "countdown", "default_retry_delay", "retry_backoff", "autoretry_for"}
SENDERS = {"apply_async", "send_task", "signature", "subtask", "si", "s", "set", "shared_task"}


def faults_below(path: Path) -> list[str]:
    """Return `file:line: what` for each hidden timer in the file, or in the files of the folder."""
    files = [path] if path.is_file() else sorted(path.rglob("*.py"))
    return [
        f"{file}:{line}: {what}" for file in files for line, what in faults_in(file.read_text())
    ]


def faults_in(source: str) -> Iterator[tuple[int, str]]:
    """Yield line and reason for each hidden timer in Python source."""
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = called_name(node.func)
        if name == "retry" and isinstance(node.func, ast.Attribute):
            yield node.lineno, "a task retries itself: leave it to the task run's due time"
        if name in SENDERS:
            hidden = {keyword.arg for keyword in node.keywords} & FORBIDDEN_ARGUMENTS
            for argument in sorted(filter(None, hidden)):
                yield (
                    node.lineno,
                    f"`{argument}` hides a timer in the broker: a due time is a column",
                )


def called_name(function: ast.expr) -> str:
    """Return the last name of what is called: `apply_async` of `tasks.tick.apply_async`."""
    if isinstance(function, ast.Attribute):
        return function.attr
    return function.id if isinstance(function, ast.Name) else ""
