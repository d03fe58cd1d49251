"""The history of a card in plain words."""

from collections.abc import Iterator
from typing import Any

from jobs.models import AuditEntry

_LEFT_OUT = {"changes", "missing", "reason"}
# What an entry is about follows its verb without a name of its own.
_ABOUT = {"text": ": ", "point": ": ", "run": ": ", "to": " to "}


def sentence(entry: AuditEntry) -> str:
    """What one entry says: who did what, to what, from what to what, and why."""
    detail = dict(entry.detail)
    about = next((name for name in _ABOUT if detail.get(name)), None)
    said = f"{entry.by or 'Bobweight'} {entry.verb}"
    if about:
        said += f"{_ABOUT[about]}{_plain(detail.pop(about))}"
    parts = [f"{name.replace('_', ' ')}: {_plain(value)}" for name, value in _told(detail)]
    parts += [_change(label, *pair) for label, pair in detail.get("changes", {}).items()]
    if detail.get("missing"):
        parts.append(f"without {', '.join(detail['missing'])}")
    if detail.get("reason"):
        parts.append(f"because: {detail['reason']}")
    return f"{said} ({'; '.join(parts)})" if parts else said


def _told(detail: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    for name, value in detail.items():
        if name not in _LEFT_OUT and value not in ("", None, [], {}):
            yield name, value


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(str(each) for each in value)
    if isinstance(value, dict):
        return ", ".join(f"{name} {each}" for name, each in value.items())
    return str(value)


def _change(label: str, before: Any, after: Any) -> str:
    if not before:
        return f"{label}: {after}"
    return f"{label}: {before} → {after or 'nothing'}"
