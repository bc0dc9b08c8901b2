"""What has become of a document of the register, or would, as text."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from service.client.text.repricing import repricing_text
from service.client.text.terminal import paragraph

_SHOWN = 10
_ORDER = ("created", "replaced", "retired", "withdrawn", "unchanged")
_NOTHING = "unchanged"

Entry = Mapping[str, Any]


def register_text(answer: Mapping[str, Any], columns: int, *, full: bool) -> str:
    """The counts, what changes, what looks wrong, and in a dry run the prices."""
    return "\n".join(_lines(answer, columns, full=full))


def _lines(answer: Mapping[str, Any], columns: int, *, full: bool) -> Iterator[str]:
    entries, is_dry_run = answer["entries"], answer["dry_run"]
    yield from paragraph(_counted(answer), columns)
    changed = [each for each in entries if each["outcome"] != _NOTHING]
    is_shown = full or is_dry_run or not answer["counts"]["created"]
    yield from listed(entries if full else changed if is_shown else [], full=full)
    for each in entries:
        for warning in each["warnings"]:
            yield from paragraph(f"{each['subject']}: Warning: {warning['text']}", columns, "", "    ")
    if answer["prices"]:
        yield ""
        yield repricing_text(dict(answer["prices"]), columns, full=full)
    elif answer["prices_problem"]:
        yield from paragraph(f"Its effect on prices cannot be told: {answer['prices_problem']}", columns)


def listed(entries: Sequence[Entry], *, full: bool) -> Iterator[str]:
    """A line for each entry: its outcome and its subject."""
    shown = entries if full else entries[:_SHOWN]
    for each in shown:
        yield f"  {each['outcome']:10}{each['subject']}"
    if len(entries) > len(shown):
        yield f"  … and {len(entries) - len(shown)} more; --full lists them"


def _counted(answer: Mapping[str, Any]) -> str:
    """The number of entries by outcome and kind: facts by collection, rates together."""
    parts = []
    for outcome in _ORDER:
        found = [each["subject"] for each in answer["entries"] if each["outcome"] == outcome]
        if found:
            parts.append(f"{outcome}: {_kinds(found)}" if outcome != _NOTHING else f"{outcome}: {len(found)}")
    would = "DRY RUN, nothing is stored: " if answer["dry_run"] else ""
    return f"{would}{'; '.join(parts) or 'nothing to register'}."


def _kinds(subjects: Sequence[str]) -> str:
    kinds = Counter("rates" if "/rates/" in each else each.partition("/")[0] for each in subjects)
    return ", ".join(f"{kind} {number}" for kind, number in kinds.items())
