"""What is asked about a batch that was made: one question for each thing that its bill of resources has."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from service.client.text.figures import quantity, several

_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_METER = 2
"""Numbers of a meter: before and after."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A question about something that a batch took.

    Attributes:
        about: what it is about, for instance a material's name.
        asked: what is asked, for instance "kg issued".
        expected: what the bill of resources says, if it says anything.
        kind: the member of the record that the answer belongs to.
        of: the members that say of what it is a count.
        member: of the count; empty for electricity, which is asked as kilowatt-hours or a meter.
    """

    about: str
    asked: str
    expected: Decimal | None = None
    kind: str
    of: tuple[tuple[str, str], ...]
    member: str

    @property
    def prompt(self) -> str:
        """The question with what is expected."""
        about = "" if self.expected is None else f" (about {quantity(f'{self.expected:f}')})"
        return f"  {self.asked}{about}"


def questions(bill: dict[str, Any]) -> Iterator[Question]:
    """The questions about a batch with this bill of resources, in the order in which one works."""
    lines = bill["lines"]
    yield from _materials(bill)
    yield from _operations(bill)
    for line in lines:
        collection, _, code = line["resource"].partition("/")
        if collection == "labour-grades":
            asked, of = "hours worked", (("labour_grade", code),)
            hours = Decimal(line["quantity"])
            yield Question(about=line["name"], asked=asked, expected=hours, kind="labour", of=of, member="hours")
    yield from _electricity(lines)


def _materials(bill: dict[str, Any]) -> Iterator[Question]:
    """What is taken of each material, and what of it comes back, as itself or as another one."""
    back: dict[str, Decimal] = {}
    for issue in bill["issues"]:
        back[issue["item"]] = back.get(issue["item"], Decimal(0)) + Decimal(issue["reclaimed"])
    for line in bill["lines"]:
        collection, _, code = line["resource"].partition("/")
        if collection != "materials" or "#" in code:
            continue
        expected = {"issued": Decimal(line["quantity"]), "returned": back[line["resource"]]}
        for member, told in (("issued", "taken from stock"), ("returned", "back as regrind")):
            if expected[member]:
                yield Question(
                    about=line["name"],
                    asked=f"{several(line['unit'])} {told}",
                    expected=expected[member],
                    kind="materials",
                    of=(("material", code),),
                    member=member,
                )


def _operations(bill: dict[str, Any]) -> Iterator[Question]:
    for step in bill["steps"]:
        is_own = step["product"] == bill["product"]
        of = (("operation", step["operation"]), *(() if is_own else (("product", step["product"]),)))
        about = step["operation"] if is_own else f"{step['operation']} of {step['product']}"
        minutes = max(Decimal(step["machine_minutes"]), Decimal(step["run_minutes"]))  # at a bench there is no machine
        yield Question(
            about=about, asked="minutes in all", expected=minutes, kind="operations", of=of, member="minutes"
        )
        scrap = Decimal(step["pieces_started"]) - Decimal(step["pieces_good"])
        yield Question(about=about, asked="scrap", expected=scrap, kind="operations", of=of, member="scrap")


def _electricity(lines: list[dict[str, Any]]) -> Iterator[Question]:
    used: dict[str, Decimal] = {}
    for line in lines:
        collection, _, code = line["resource"].partition("/")
        tariff, _, band = code.partition("#")
        if collection == "tariffs" and band != "standing":
            used[tariff] = used.get(tariff, Decimal()) + Decimal(line["quantity"])
    for tariff, kwh in used.items():
        asked = "kWh, or the meter before and after"
        of = (("tariff", tariff),)
        yield Question(about=f"Electricity, {tariff}", asked=asked, expected=kwh, kind="electricity", of=of, member="")


def number(text: str) -> str:
    """A number as people type it; raises ValueError if it is none."""
    if not _NUMBER.fullmatch(text.strip()):
        raise ValueError(f"'{text.strip()}' is not a number, such as 12 or 12.5")
    return text.strip().replace(",", ".")


def counted(question: Question, text: str) -> dict[str, str]:
    """The members of a count that an answer gives; raises ValueError if it is no answer."""
    numbers = [number(each) for each in text.split()]
    if question.member and len(numbers) == 1:
        return {question.member: numbers[0]}
    if not question.member and len(numbers) == 1:
        return {"kwh": numbers[0]}
    if not question.member and len(numbers) == _METER:
        return {"meter_begin": numbers[0], "meter_end": numbers[1]}
    raise ValueError("one number, please" if question.member else "one number, or the meter before and after")


def with_answer(record: dict[str, Any], question: Question, members: dict[str, str]) -> None:
    """Add an answer to a record."""
    counts = record.setdefault(question.kind, [])
    of = dict(question.of)
    found = next((each for each in counts if of.items() <= each.items()), None)
    if found is None:
        found = of
        counts.append(found)
    found.update(members)
