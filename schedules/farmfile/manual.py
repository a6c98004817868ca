"""The farm file's own manual: every section and key, from the declarations that check it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from django.utils.translation import gettext as _

from equipment.site.farmfields import Field, Kind
from equipment.site.farmrows import Section


def write_manual(sections: Iterable[Section]) -> str:
    """Say of each section what it is, and of each key its kind, limits, default and meaning."""
    return "\n\n".join("\n".join(_section_lines(section)) for section in sections)


def _section_lines(section: Section) -> Iterator[str]:
    yield f"{section.name}: {section.help}"
    if section.key_fields == ("key",) and not section.is_single:
        yield _line("key", str(Kind.KEY), _("required"), _("name that never changes"))
    yield from _field_lines(section.fields, "  ")


def _field_lines(fields: Iterable[Field], indent: str) -> Iterator[str]:
    for f in fields:
        default = _("required") if f.is_required else _say_default(f.default)
        yield _line(f.name, _say_kind(f), default, str(f.help), indent)
        yield from _field_lines(f.parts, f"{indent}    ")


def _line(name: str, kind: str, default: str, text: str, indent: str = "  ") -> str:
    return f"{indent}{name:<26} {kind:<34} {default:<16} {text}".rstrip()


def _say_default(default: object) -> str:
    empty = default is None or default in ("", [], {})
    return _("optional") if empty else f"= {default}".lower()


def _say_kind(f: Field) -> str:
    words = [f.kind.value]
    if f.refers_to:
        words = [_("key in %(section)s") % {"section": f.refers_to}]
    if f.choices:
        words = [" | ".join(f.choices)]
    words += [f"> {f.above:g}"] if f.above is not None else []
    words += [f">= {f.low:g}"] if f.low is not None else []
    words += [f"<= {f.high:g}"] if f.high is not None and f.kind is not Kind.TEXT else []
    text = " ".join(words)
    return _("list of %(kind)s") % {"kind": text} if f.is_list else text
