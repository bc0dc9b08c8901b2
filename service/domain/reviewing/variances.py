"""What a batch cost more or less than its good units should have, cause by cause."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.reviewing.earned import Earned
from service.domain.reviewing.variance_kinds import Effect, VarianceKind
from service.domain.values.message import Message
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Variance:
    """What one cause did to the cost of a batch.

    Attributes:
        kind: the cause.
        resource: what it is about, for instance "materials/hdpe"; the product for the yield.
        name: what the workshop calls it.
        amount: actual less standard; more than 0 is adverse.
        variable: the part of it that is money spent or saved; the rest is time of what is paid for anyway.
        standard_cost: what the good units should have cost of the resource.
        what: what happened, in words.
    """

    kind: VarianceKind
    resource: str
    name: str
    amount: Decimal
    variable: Decimal
    standard_cost: Decimal
    what: Message

    @property
    def effect(self) -> Effect:
        return Effect.ADVERSE if self.amount > 0 else Effect.FAVOURABLE


@dataclass(frozen=True, slots=True, kw_only=True)
class AbsorbedCost:
    """The fixed cost of a resource that a batch bears: by its good units, and by what it really took."""

    resource: str
    name: str
    standard: Decimal
    actual: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchVariances:
    """A batch, from standard to actual cost:  standard_cost + Σ variances = actual_cost, exactly.

    Attributes:
        product: its code.
        name: what the workshop calls it.
        made_on: the day whose rates are used.
        currency: of every amount.
        standard_cost: the bill of resources of the good units, at the rates of the day; 0 if there are none.
        actual_cost: what was taken at what was paid; as estimated where nobody counted.
        variances: the largest first.
        absorbed: fixed costs that it bears.
        unit: what its product is counted in.
        earned: what it earned; None if it was made for no quotation.
        implausible: the code of its record, if what that counted cannot be; else empty.
    """

    product: str
    name: str
    made_on: date
    good_units: Decimal
    currency: str
    standard_cost: Decimal
    actual_cost: Decimal
    variances: tuple[Variance, ...]
    absorbed: tuple[AbsorbedCost, ...]
    unit: Unit
    earned: Earned | None = None
    implausible: str = ""
