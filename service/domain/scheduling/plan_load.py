"""The time that a plan needs on every machine and labour grade, against the time available."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.values.exact import MINUTES_PER_HOUR, MONTHS_PER_YEAR, WEEKS_PER_YEAR, ZERO, exactly, snapped

ORDINARY_WEEKS = Decimal(WEEKS_PER_YEAR) / MONTHS_PER_YEAR
"""Working weeks of an ordinary month."""
_TIMED = ("machines/", "labour-grades/")


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """The time that a plan needs on a machine or of a labour grade.

    Attributes:
        minutes_per_batch: of each line of the plan, set-up and warm-up included.
        minutes_available: in the month; None if its hours a week are unknown, and then it limits nothing.
    """

    resource: str
    name: str
    minutes_per_batch: tuple[Decimal, ...]
    minutes_needed: Decimal
    minutes_available: Decimal | None

    @property
    def is_over_full(self) -> bool:
        return self.minutes_available is not None and self.minutes_needed > self.minutes_available

    @property
    def load_share(self) -> Decimal | None:
        """Needed ÷ available; None where that is unknown or 0."""
        return self.minutes_needed / self.minutes_available if self.minutes_available else None


@exactly
def minutes_available(hours_per_week: Decimal | None, weeks: Decimal | None) -> Decimal | None:
    """Minutes available in a month: hours a week × 60 × weeks (52/12 if None)."""
    if hours_per_week is None:
        return None
    minutes = hours_per_week * MINUTES_PER_HOUR
    return snapped(minutes * WEEKS_PER_YEAR / MONTHS_PER_YEAR if weeks is None else minutes * weeks)


@exactly
def loads(planned: Sequence[tuple[BillOfResources, Decimal]], available: Mapping[str, Decimal | None]) -> list[Load]:
    """The loads of every machine and grade, from the bill of a batch and the planned pieces of each line.

    Batches a month are an average and need not be whole.

    Args:
        available: minutes in the month, by resource; None if they are unknown.
    """
    names = {line.resource: line.name for bill, _ in planned for line in bill.lines if line.resource.startswith(_TIMED)}
    minutes = [bill.minutes for bill, _ in planned]
    return [
        Load(
            resource=resource,
            name=name,
            minutes_per_batch=tuple(each.get(resource, ZERO) for each in minutes),
            minutes_needed=snapped(sum(map(partial(_share, resource), minutes, planned), ZERO)),
            minutes_available=available.get(resource),
        )
        for resource, name in names.items()
    ]


def _share(resource: str, minutes: Mapping[str, Decimal], planned: tuple[BillOfResources, Decimal]) -> Decimal:
    """Minutes of a line in the month: minutes of a batch × pieces planned ÷ pieces in a batch."""
    bill, pieces = planned
    return minutes.get(resource, ZERO) * pieces / bill.quantity


def bottleneck(found: Iterable[Load]) -> Load | None:
    """The resource with the highest load; None if no hours are known, or none are needed."""
    limited = [load for load in found if load.minutes_available is not None and load.minutes_needed]
    return max(limited, key=_fullness, default=None)


def _fullness(load: Load) -> tuple[bool, Decimal]:
    return load.load_share is None, load.load_share or load.minutes_needed
