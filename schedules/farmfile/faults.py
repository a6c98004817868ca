"""What is wrong with a file, in words that say where it is and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from equipment.site.errors import DomainError, FieldFault


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: file and line, path inside the file, the value, why it cannot be, what to do."""

    file: str
    line: int
    path: str
    value: Any
    reason: str
    remedy: str

    def __str__(self) -> str:
        parts = [f"{self.file}:{self.line}"]
        if self.path:
            parts.append(self.path if self.value is None else f"{self.path} = {self.value}")
        return f"{': '.join(parts)} {self.reason}. {self.remedy}"


class BrokenFileError(DomainError):
    """A farm or weather file with faults: nothing of it was used."""

    code = "broken_file"
    status = 422

    def __init__(self, faults: list[Fault]) -> None:
        self.faults = sorted(faults, key=lambda fault: (fault.file, fault.line, fault.path))
        errors = [FieldFault(f.path, "broken_file", f"{f.reason}. {f.remedy}") for f in faults]
        super().__init__("\n".join(str(fault) for fault in self.faults), errors)
