"""A mixed-integer program in a process of its own, since its solver cannot be stopped otherwise."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, sparse

_ASKS_EVERY_S = 0.1
_PROGRAM, _MATRIX, _ANSWER = "program.npz", "matrix.npz", "answer.npy"


def choose(
    matrix: Any,
    vectors: dict[str, NDArray[np.float64]],
    *,
    limit_s: float,
    node_limit: int | None,
    goes_on: Callable[[], bool],
) -> NDArray[np.float64] | None:
    """Minimise `cost @ v` where `low <= matrix @ v <= high` and `lower <= v <= upper`.

    Parameters
    ----------
    matrix : sparse array, shape (n_rows, n)
    vectors : mapping of str to ndarray
        `low`, `high` (n_rows,), `lower`, `upper`, `cost`, `integrality` (n,; 1: whole numbers).
    limit_s : float
        [s]
    node_limit : int or None
    goes_on : callable
        Asked ten times a second; once it says no, the process is ended.

    Returns
    -------
    ndarray, shape (n,), or None
        The best values that were found in time.
    """
    with TemporaryDirectory() as name:
        folder = Path(name)
        np.savez(folder / _PROGRAM, **vectors)  # type: ignore[arg-type]  # none is named `allow_pickle`
        sparse.save_npz(folder / _MATRIX, sparse.csr_matrix(matrix), compressed=False)
        command = [sys.executable, __file__, name, str(limit_s), str(node_limit or 0)]
        process = subprocess.Popen(command)  # noqa: S603  # this very file
        try:
            while goes_on():
                try:
                    process.wait(_ASKS_EVERY_S)
                    break
                except subprocess.TimeoutExpired:
                    continue
        finally:
            process.kill()
            process.wait()
        answer = folder / _ANSWER
        return np.load(answer) if process.returncode == 0 and answer.exists() else None


def _solve(folder: Path, limit_s: float, node_limit: int) -> None:
    program = np.load(folder / _PROGRAM)
    matrix = sparse.load_npz(folder / _MATRIX)
    found = optimize.milp(
        program["cost"],
        integrality=program["integrality"],
        bounds=optimize.Bounds(program["lower"], program["upper"]),
        constraints=optimize.LinearConstraint(matrix, program["low"], program["high"]),
        options={"time_limit": limit_s} | ({"node_limit": node_limit} if node_limit else {}),
    )
    if found.x is not None:
        np.save(folder / _ANSWER, found.x)


if __name__ == "__main__":
    _solve(Path(sys.argv[1]), float(sys.argv[2]), int(sys.argv[3]))
