"""The rates in force on a day, of which the long ones are read when they are needed."""

from collections.abc import Iterator, Mapping
from datetime import date

from service.domain.costing.rate_card import DatedRate
from service.domain.register import CONDITIONS, RESOURCES
from service.domain.values.references import Thing
from service.memory import MEGABYTE, Remembered, size_of
from service.store.registering import rates
from service.workflows.workspace import Workspace

_ROOM = 8 * MEGABYTE


class RatesInForce(Mapping[str, DatedRate]):
    """The rates in force on a day, by resource.

    Those of what a batch consumes are few and short. The terms of a channel or a shipping service may have thousands of
    bands, and there may be hundreds of them: each is read when it is asked for, and some are remembered.
    """

    def __init__(self, workspace: Workspace, as_of: date) -> None:
        self._workspace = workspace
        with workspace.reading() as connection:
            self._consumed = rates.rates_on(connection, workspace.workshop_id, as_of, RESOURCES)
            self._days = rates.days_in_force(connection, workspace.workshop_id, as_of, CONDITIONS)
        self._read = Remembered[DatedRate](_ROOM, size_of)

    def __getitem__(self, resource: str) -> DatedRate:
        found = self._consumed.get(resource)
        if found is not None:
            return found
        day = self._days[resource]
        return self._read.of(resource, lambda: self._of_sale(resource, day))

    def _of_sale(self, resource: str, day: date) -> DatedRate:
        with self._workspace.reading() as connection:
            found = rates.find_rate(connection, self._workspace.workshop_id, Thing.of(resource), day)
        assert found is not None  # it was there, in the same state
        return found.rate

    def __contains__(self, resource: object) -> bool:
        return resource in self._consumed or resource in self._days

    def __iter__(self) -> Iterator[str]:
        yield from self._consumed
        yield from self._days

    def __len__(self) -> int:
        return len(self._consumed) + len(self._days)
