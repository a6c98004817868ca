"""A YAML document whose every value knows its line and path, so that a fault can name both."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from django.utils.translation import gettext as _

from .faults import BrokenFileError, Fault

MAX_BYTES = 2_000_000
MAX_VALUES = 200_000  # anchors can make a small file large
MAX_DEPTH = 12
UNPRINTABLE = re.compile(r"[\x00-\x08\x0b-\x1f]")


class PlainLoader(yaml.CSafeLoader):
    """YAML as people mean it: 14:00 and 2026-03-04 stay text, `on` and `no` are words."""

    yaml_implicit_resolvers: dict[str, list[tuple[str, re.Pattern[str]]]] = {}


for _tag, _pattern, _first in (
    ("bool", r"true|false", "tf"),
    ("int", r"[-+]?(?:0|[1-9][0-9]*)", "-+0123456789"),
    ("float", r"[-+]?(?:0|[1-9][0-9]*)\.[0-9]*(?:[eE][-+][0-9]+)?", "-+0123456789"),
    ("null", r"null|~|", ["n", "~", ""]),
    ("merge", r"<<", "<"),
):
    PlainLoader.add_implicit_resolver(
        f"tag:yaml.org,2002:{_tag}", re.compile(f"^(?:{_pattern})$"), list(_first)
    )


@dataclass(frozen=True, slots=True)
class Node:
    """One value: a mapping or list of nodes, or a plain text, number, bool or None."""

    value: Any
    path: str
    line: int
    file: str

    @property
    def is_mapping(self) -> bool:
        return isinstance(self.value, dict)

    @property
    def is_list(self) -> bool:
        return isinstance(self.value, list)

    def plain(self) -> Any:
        """Give the value without lines, as JSON would hold it."""
        if self.is_mapping:
            return {key: node.plain() for key, node in self.value.items()}
        return [node.plain() for node in self.value] if self.is_list else self.value

    def at(self, dotted: str) -> Node:
        """Give the deepest node there is on the way that `a.b` names."""
        name, _dot, rest = dotted.partition(".")
        if not self.is_mapping or name not in self.value:
            return self
        node: Node = self.value[name]
        return node.at(rest) if rest else node

    def fault(self, reason: object, remedy: object, *, path: str = "") -> Fault:
        shown = path or self.path
        value = None if self.is_mapping or self.is_list else self.value
        return Fault(self.file, self.line, shown, value, str(reason), str(remedy))


def node_of(value: Any, path: str, line: int = 0, file: str = "") -> Node:
    """Make a node of a value that stood in no file."""
    if isinstance(value, dict):
        value = {name: node_of(part, f"{path}.{name}", line, file) for name, part in value.items()}
    elif isinstance(value, list):
        value = [node_of(item, f"{path}[{n}]", line, file) for n, item in enumerate(value)]
    return Node(value, path, line, file)


def read_document(path: Path) -> Node:
    """Read a file that holds one mapping; raise BrokenFileError with all that is unreadable."""
    if path.stat().st_size > MAX_BYTES:
        reason = _("is larger than %(n)d MB") % {"n": MAX_BYTES // 1_000_000}
        raise BrokenFileError([Fault(path.name, 1, "", None, reason, _("Is it a farm file?"))])
    return read_text(path.read_bytes(), path.name)


def read_text(raw: bytes, file: str) -> Node:
    """As `read_document`, from bytes; `file` is the name that faults give."""
    try:
        root = yaml.compose(raw.decode(), Loader=PlainLoader)
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        fault = Fault(file, line, "", None, _("is no UTF-8 text"), _("Save the file as UTF-8."))
        raise BrokenFileError([fault]) from error
    except yaml.YAMLError as error:
        raise BrokenFileError([_syntax_fault(error, file)]) from error
    reader = _Reader(file)
    document = reader.read(root, "", 0) if root is not None else Node(None, "", 1, file)
    if reader.faults:
        raise BrokenFileError(reader.faults)
    if not document.is_mapping:
        remedy = _("Begin with the lines of a section, such as `site:`.")
        raise BrokenFileError([document.fault(_("holds no sections"), remedy)])
    return document


def _syntax_fault(error: yaml.YAMLError, file: str) -> Fault:
    mark = getattr(error, "problem_mark", None)
    problem = getattr(error, "problem", None) or str(error)
    line = mark.line + 1 if mark else 1
    remedy = _("Look at indents, colons, quotes and brackets here and in the line above.")
    return Fault(file, line, "", None, _("is no YAML: %(what)s") % {"what": problem}, remedy)


class _Reader:
    """Turns YAML's nodes into ours, and gathers what cannot be turned."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.faults: list[Fault] = []
        self.n_values = 0
        self.maker = PlainLoader("")

    def read(self, node: yaml.Node, path: str, depth: int) -> Node:
        line = node.start_mark.line + 1
        self.n_values += 1
        if depth > MAX_DEPTH or self.n_values > MAX_VALUES:
            fault = Fault(
                self.file, line, path, None, _("nests too deep"), _("Does an alias hold itself?")
            )
            raise BrokenFileError([*self.faults, fault])
        if isinstance(node, yaml.MappingNode):
            value: Any = dict(self._pairs(node, path, depth))
        elif isinstance(node, yaml.SequenceNode):
            value = [
                self.read(item, f"{path}[{n}]", depth + 1) for n, item in enumerate(node.value)
            ]
        else:
            value = self._scalar(node, path, line)
        return Node(value, path, line, self.file)

    def _scalar(self, node: yaml.Node, path: str, line: int) -> Any:
        try:
            value = self.maker.construct_object(node)
        except (yaml.YAMLError, ValueError):
            value = "\0"
        if isinstance(value, str) and UNPRINTABLE.search(value):
            remedy = _("Write plain texts, numbers, lists and mappings only.")
            self.faults.append(Fault(self.file, line, path, None, _("cannot be read"), remedy))
        return value

    def _pairs(self, node: yaml.MappingNode, path: str, depth: int) -> Iterator[tuple[str, Node]]:
        self._refuse_doubles(node, path)
        self.maker.flatten_mapping(node)
        for key_node, value_node in node.value:
            key = str(key_node.value)
            yield key, self.read(value_node, f"{path}.{key}" if path else key, depth + 1)

    def _refuse_doubles(self, node: yaml.MappingNode, path: str) -> None:
        seen: set[str] = set()
        for key_node, _value in node.value:
            key = str(key_node.value)
            if key in seen:
                line = key_node.start_mark.line + 1
                where = f"{path}.{key}" if path else key
                reason, remedy = _("stands twice"), _("Keep one of the two lines.")
                self.faults.append(Fault(self.file, line, where, None, reason, remedy))
            seen.add(key)
