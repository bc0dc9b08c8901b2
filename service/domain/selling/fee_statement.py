"""The fees of a sale as shown, each with its formula."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.selling.fees import Banding, FeeBand, FeeBase
from service.domain.selling.sale import ChargedFee, OrderOfPrices, Sale
from service.domain.values.exact import apportioned, plain
from service.domain.values.shown import WITH_MORE_DIGITS, UnitAmount, shown


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedFee:
    """What one fee takes of the price.

    Attributes:
        name: what the channel calls it.
        base: what it is a share of.
        base_amount: what that comes to.
        formula: how the amount follows from it.
        amount: what it takes, its tax included.
    """

    name: str
    base: FeeBase
    base_amount: UnitAmount
    formula: str
    amount: UnitAmount


def stated_fees(sale: Sale, gross: Decimal, currency: str) -> Iterator[StatedFee]:
    """Each fee at a gross price, rounded so that the fees add up to their rounded total."""
    digits = WITH_MORE_DIGITS.decimals_in(currency)
    amounts = apportioned([sale.fee_amount(charged, gross) for charged in sale.fees], digits)
    for charged, amount in zip(sale.fees, amounts, strict=True):
        base = sale.base_amount(charged.fee.base, gross)
        formula = _fee_formula(charged, base, digits, sale.spread_over)
        yield shown(StatedFee, currency, charged.fee, base_amount=base, formula=formula, amount=amount)


def _fee_formula(charged: ChargedFee, base: Decimal, digits: int, order: OrderOfPrices) -> str:
    """The formula of a fee, for instance "0.05 × gross price + 0.3 ÷ 2, at least 0.5 ÷ 2, × (1 + 0.21)"."""
    fee, band, words = charged.fee, charged.band_at(base), charged.fee.base.value.replace("_", " ")

    def amount(figure: Decimal) -> str:
        return f"{plain(order.whole(charged.convert(figure)), digits)} {order.divided}".rstrip()

    parts = [f"{band.share:f} × {words}"] if band.share else []
    if fee.bands and fee.banding is Banding.PORTION:
        parts = [
            f"{each.share:f} × the {words} {_within(each, amount)}"
            for each in fee.bands
            if base > charged.convert(each.above) or not each.above
        ]
    if band.fixed:
        parts.append(amount(band.fixed))
    told = " + ".join(parts) or "nothing"
    is_single = len(parts) == 1 and fee.minimum is None and fee.maximum is None
    for word, limit in (("at least", fee.minimum), ("at most", fee.maximum)):
        if limit is not None:
            told += f", {word} {amount(limit)}"
    if not fee.tax_share:
        return told
    return f"{told if is_single else f'({told})'} × (1 + {fee.tax_share:f})"


def _within(band: FeeBand, amount: Callable[[Decimal], str]) -> str:
    """The part of the base that a band covers, in words."""
    if band.up_to is None:
        return f"above {amount(band.above)}" if band.above else "as a whole"
    return f"from {amount(band.above) if band.above else 0} to {amount(band.up_to)}"
