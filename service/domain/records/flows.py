"""How many units went through each operation, by what was counted as scrap and as started."""

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import NamedTuple

from service.domain.making.products import Operation
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO, exactly


class Flow(NamedTuple):
    """Units of one operation: good ones out of it, those begun at it, and whether somebody counted the difference."""

    good: Decimal
    started: Decimal
    is_counted: bool

    @property
    def scrap(self) -> Decimal:
        return self.started - self.good


@exactly
def counted_flows(
    operations: Sequence[Operation], good: Decimal, scrap: Mapping[str, Decimal], started: Decimal | None = None
) -> tuple[Flow, ...]:
    """The units of each operation, backwards from the good ones:  started = good + scrap,  or good ÷ yield.

    Where the units started are counted too, what they and the good ones differ by, less the counted scrap, was lost at
    the operations whose scrap nobody counted: in proportion to what their yields lose, or at the last of them if that
    is nothing.

    Args:
        good: out of the last operation.
        scrap: counted, by operation.
        started: at the first operation, if counted.

    Raises:
        InvalidValueError: the units started and the scrap do not agree.
    """
    flows = _backwards(operations, good, scrap)
    if started is None:
        return flows
    lost = started - good - sum(scrap.values(), ZERO)
    uncounted = [operation.name for operation in operations if operation.name not in scrap]
    if lost < 0 or (lost and not uncounted):
        accounted = started - lost
        reason = f"must be {accounted:f}, which is the good units and the scrap counted"
        if uncounted:
            reason = f"must be {accounted:f} or more, which is the good units and the scrap counted"
        elif not operations:
            reason = f"must be {accounted:f}: the product has no operation at which units could be lost"
        raise InvalidValueError(("units_started",), reason)
    expected = {
        operation.name: flow.scrap for operation, flow in zip(operations, flows, strict=True) if not flow.is_counted
    }
    return _backwards(operations, good, {**scrap, **_spread(lost, expected)})


def _spread(lost: Decimal, expected: Mapping[str, Decimal]) -> dict[str, Decimal]:
    """The units lost, in proportion to what was expected; at the last operation if nothing was."""
    total = sum(expected.values(), ZERO)
    if total:
        share = lost / total
        return {name: each * share for name, each in expected.items()}
    return dict.fromkeys(expected, ZERO) | dict.fromkeys(list(expected)[-1:], lost)


def _backwards(operations: Sequence[Operation], good: Decimal, scrap: Mapping[str, Decimal]) -> tuple[Flow, ...]:
    found: list[Flow] = []
    for operation in reversed(operations):
        counted = scrap.get(operation.name)
        started = good / operation.yield_share if counted is None else good + counted
        found.append(Flow(good=good, started=started, is_counted=counted is not None))
        good = started
    return tuple(reversed(found))
