"""Batches of a workshop without a database, compared with what they should have cost."""

from decimal import Decimal
from typing import Any

from service.domain.records.batch_record import BatchRecord
from service.domain.records.record_basis import record_basis
from service.domain.reviewing.comparison import batch_variances
from service.domain.reviewing.statement import VarianceStatement, variance_statement
from service.domain.reviewing.variance_kinds import VarianceKind
from service.domain.reviewing.variances import BatchVariances
from service.domain.values.money import Money
from tests.domain.examples import Shop
from tests.domain.records.recorded import a_record


def compared(shop: Shop, record: BatchRecord) -> BatchVariances:
    """The batch, at the rates of the workshop."""
    exchange = shop.exchange

    def convert(money: Money) -> Decimal:
        return exchange.converted(money, shop.currency)

    return batch_variances(record, record_basis(record, shop.catalogue), shop.unit_rates(), shop.card, convert)


def stated(shop: Shop, record: BatchRecord) -> VarianceStatement:
    return variance_statement(record, record_basis(record, shop.catalogue), compared(shop, record))


def amounts(batch: BatchVariances) -> dict[tuple[VarianceKind, str], Decimal]:
    """The variances that are not nothing at eight decimals, by cause and resource."""
    return {
        (each.kind, each.resource): round(each.amount, 8).normalize()
        for each in batch.variances
        if round(each.amount, 8)
    }


def amounts_of(shop: Shop, **changes: Any) -> dict[tuple[VarianceKind, str], Decimal]:
    return amounts(compared(shop, a_record(**changes)))
