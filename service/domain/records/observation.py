"""What a batch says about a fact of its product: an amount, and the weight that it is to be divided by."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from service.domain.values.exact import QUANTITY_DECIMALS, ZERO, plain
from service.domain.values.kinds import Kind
from service.domain.values.message import Message


@dataclass(frozen=True, slots=True, kw_only=True)
class FactTraits:
    """What a fact is, and what its batches are weighed by.

    Attributes:
        member: of a product's operation, of its labour or of its bill of materials.
        decimals: in which it is proposed.
        is_share: whether it is a share of one, and never above 1.
        counts_units: whether amount and weight are numbers of units.
        what: the fact in words, of {item}.
    """

    member: str
    decimals: int
    is_share: bool = False
    counts_units: bool = False
    what: str


class Fact(Kind):
    """A fact of a product that its batches can teach:  the sum of amounts ÷ the sum of weights of all batches."""

    traits: FactTraits

    YIELD_SHARE = (
        "yield_share",
        FactTraits(member="yield_share", decimals=4, is_share=True, counts_units=True, what="yield of {item}"),
    )
    CYCLE_MINUTES = "cycle_minutes", FactTraits(member="cycle_minutes", decimals=3, what="minutes a cycle of {item}")
    UNITS_PER_HOUR = (
        "units_per_hour",
        FactTraits(member="units_per_hour", decimals=3, what="throughput an hour of {item}"),
    )
    SETUP_MINUTES = "setup_minutes", FactTraits(member="setup_minutes", decimals=1, what="set-up minutes of {item}")
    ATTENDANCE = "attendance", FactTraits(member="attendance", decimals=3, what="people of {grade} present at {item}")
    LOAD_FACTOR = (
        "load_factor",
        FactTraits(member="load_factor", decimals=3, is_share=True, what="load factor of {item}"),
    )
    PROCESS_LOSS_SHARE = (
        "process_loss_share",
        FactTraits(member="process_loss_share", decimals=4, is_share=True, what="share lost of {item}"),
    )
    RECLAIM_SHARE = (
        "reclaim_share",
        FactTraits(member="reclaim_share", decimals=4, is_share=True, what="share reclaimed of what is lost of {item}"),
    )


class Learnable(NamedTuple):
    """A fact of an operation or a material of a product.

    Attributes:
        product: its code, or that of a sub-assembly.
        item: name of the operation, or code of the material.
        grade: code of the labour grade; empty where the fact is about none.
    """

    fact: Fact
    product: str
    item: str
    grade: str = ""

    @property
    def what(self) -> Message:
        """The fact in words."""
        return Message(self.fact.traits.what, item=self.item, grade=self.grade)


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """What one batch says about a fact.

    Attributes:
        fact: yield_share, cycle_minutes and so on.
        product: code of the product or sub-assembly.
        item: name of the operation, or code of the material.
        grade: code of the labour grade; empty where the fact is about none.
        weight: units started, cycles, hours run, set-ups, minutes worked, rated kWh, quantity issued or lost; above 0.
        amount: the fact of this batch times the weight.
    """

    fact: Fact
    product: str
    item: str
    grade: str = ""
    weight: Decimal
    amount: Decimal

    @property
    def about(self) -> Learnable:
        return Learnable(self.fact, self.product, self.item, self.grade)

    @property
    def ratio(self) -> Decimal:
        """The fact as this batch had it."""
        return self.amount / self.weight


def added_up(observations: Iterable[Observation]) -> Iterator[Observation]:
    """One observation for each fact, of the sums, at nine decimals; without weight it says nothing and is left out."""
    sums: dict[Learnable, tuple[Decimal, Decimal]] = {}
    for each in observations:
        weight, amount = sums.get(each.about, (ZERO, ZERO))
        sums[each.about] = weight + each.weight, amount + each.amount
    for about, exact in sums.items():
        weight, amount = (plain(each, QUANTITY_DECIMALS) for each in exact)
        if weight > 0:
            yield Observation(**about._asdict(), weight=weight, amount=amount)
