"""The gates catch what they are for: planted samples of each kind."""

from pathlib import Path

import pytest

from config import gates
from config.task_lint import faults_below, faults_in


@pytest.mark.parametrize(
    "source",
    [
        "tick.apply_async(eta=soon)",
        "tick.apply_async(countdown=5)",
        "app.send_task('tick', countdown=5)",
        "tick.s(1).set(eta=soon)",
        "@shared_task(autoretry_for=(OSError,))\ndef tick(): pass",
        "def tick(self):\n    raise self.retry()",
        "def tick(self):\n    raise self.retry(countdown=60)",
    ],
)
def test_hidden_timer_is_found(source: str) -> None:
    assert list(faults_in(source))


@pytest.mark.parametrize(
    "source",
    [
        "tick.delay(1)",
        "tick.apply_async(args=(1,), queue='solve', expires=10)",
        "@shared_task(queue='solve', time_limit=60)\ndef tick(): pass",
        "draw(eta=0.3)",  # an efficiency of a formula, sent nowhere
    ],
)
def test_plain_ring_is_left_alone(source: str) -> None:
    assert list(faults_in(source)) == []


def test_hidden_timer_is_named_by_file_and_line(tmp_path: Path) -> None:
    (tmp_path / "tasks.py").write_text("import x\n\nx.tick.apply_async(eta=1)\n")

    (fault,) = faults_below(tmp_path)

    assert fault.startswith(f"{tmp_path}/tasks.py:3: `eta` hides a timer")


@pytest.mark.parametrize(
    "line",
    [
        "--index-url https://mirror.example/simple",
        "--extra-index-url=//mirror.example",
        "django @ https://mirror.example/django.whl",
        "--find-links /opt/wheels",
    ],
)
def test_lock_that_names_a_place_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: str
) -> None:
    (tmp_path / "config").mkdir()
    (tmp_path / "config" / "uv.txt").write_text("uv==0.13.9\n")
    (tmp_path / "requirements.txt").write_text("django==5.2.19\n")
    monkeypatch.setattr(gates, "BASE_DIR", tmp_path)
    assert gates.lock_names_no_host()

    (tmp_path / "requirements.txt").write_text(f"django==5.2.19\n{line}\n")

    assert not gates.lock_names_no_host()


def test_failed_gate_fails_the_run_and_the_others_still_run(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(gates, "GATES", {"one": lambda: False, "two": lambda: True})

    assert gates.main([]) == 1

    said = capsys.readouterr().out
    assert "gate one         FAILED" in said
    assert "gate two         ok" in said
    assert said.endswith("gates failed: one\n")


def test_unknown_gate_is_named_with_those_that_exist(capsys: pytest.CaptureFixture[str]) -> None:
    assert gates.main(["linnt"]) == 2
    assert "no such gate: linnt. Known: lint, format, types" in capsys.readouterr().out
