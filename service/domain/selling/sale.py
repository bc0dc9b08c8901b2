"""From the price of a piece to its proceeds: tax, fees, conversion and shipping."""

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal

from service.domain.selling.channels import ChannelRate, Display, Payer
from service.domain.selling.fees import Fee, FeeBand, FeeBase
from service.domain.solving.curve import Curve
from service.domain.solving.segments import Function, Segment, clamped, line, scaled, total, value_at
from service.domain.values.exact import ONE, ZERO, exactly, plain


@dataclass(frozen=True, slots=True)
class OrderOfPrices:
    """How often an order has a price:  pieces ÷ base quantity, which need not be whole where pieces are divided.

    Two and a half kilograms have a price per twelve 0.208333… times. What falls on the order once is therefore
    multiplied by the base quantity and then divided by the pieces, so that nothing is rounded in between.

    Attributes:
        pieces: pieces, or units, in the order.
        base_quantity: those that a price is for.
    """

    pieces: Decimal = ONE
    base_quantity: int = 1

    def part(self, amount: Decimal) -> Decimal:
        """A price's part of an amount of the order:  amount × base quantity ÷ pieces."""
        return amount * self.base_quantity / self.pieces

    def whole(self, amount: Decimal) -> Decimal:
        """The amount of the order of which this is a price's part."""
        return amount * self.pieces / self.base_quantity

    @property
    def divided(self) -> str:
        """The step of a formula that goes from an order to a price's part of it; empty if the order has it once."""
        if self.pieces == self.base_quantity:
            return ""
        if not self.pieces % self.base_quantity:
            return f"÷ {plain(self.pieces / self.base_quantity)}"
        times = "" if self.base_quantity == 1 else f"× {self.base_quantity} "
        return f"{times}÷ {plain(self.pieces)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargedFee:
    """A fee in the currency of sale.

    Attributes:
        function: the fee with its tax as a function of its base.
        convert: converts an amount of the channel's terms to a price's part of it in the currency of sale.
    """

    fee: Fee
    function: Function
    convert: Callable[[Decimal], Decimal] = field(compare=False)

    def band_at(self, base: Decimal) -> FeeBand:
        """The band that a base in the currency of sale falls into."""
        return self.fee.band_at(base, self.convert)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sale:
    """The conditions under which a piece is sold; every amount in the currency of sale.

    Attributes:
        display: whether the asked price contains the tax.
        tax_share: the tax as a share of the net price.
        conversion_share: the share of the payout that the channel keeps for converting it.
        shipping_cost: of a piece, for the workshop.
        shipping_charge: of a piece, for the buyer, tax included.
        spread_over: the order over whose prices what falls on it once is spread: fixed fees, the limits of fees and of
            their bands, and shipping. Every amount here is a price's part of them.
        taxed: (1 + tax) × proceeds as a function of the gross price.
    """

    display: Display = Display.TAX_EXCLUSIVE
    tax_share: Decimal = ZERO
    fees: tuple[ChargedFee, ...] = ()
    conversion_share: Decimal = ZERO
    shipping_cost: Decimal = ZERO
    shipping_charge: Decimal = ZERO
    spread_over: OrderOfPrices = OrderOfPrices()
    taxed: Curve = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "taxed", Curve(self._taxed_proceeds()))

    def __len__(self) -> int:
        """Number of segments of its functions: what it takes of memory."""
        return 2 * len(self.taxed) + sum(len(charged.function) for charged in self.fees)

    @property
    def taxed_proceeds(self) -> Function:
        return self.taxed.function

    @property
    def with_tax(self) -> Decimal:
        """Factor from a net to a gross amount:  1 + tax."""
        return ONE + self.tax_share

    @property
    def displayed(self) -> Decimal:
        """Factor from a net to a displayed price."""
        return self.with_tax if self.display is Display.TAX_INCLUSIVE else ONE

    @property
    def gross_of_displayed(self) -> Decimal:
        """Factor from a displayed to a gross price."""
        return ONE if self.display is Display.TAX_INCLUSIVE else self.with_tax

    @property
    def is_plain(self) -> bool:
        """Whether nothing but the tax is taken from the price."""
        return not (self.fees or self.conversion_share or self.shipping_cost or self.shipping_charge)

    @property
    def net_shipping_charge(self) -> Decimal:
        return self.shipping_charge / self.with_tax

    def base_amount(self, base: FeeBase, gross: Decimal) -> Decimal:
        """The base of a fee at a gross price."""
        added, divisor = self._way_to(base)
        return (gross + added) / divisor

    def _way_to(self, base: FeeBase) -> tuple[Decimal, Decimal]:
        """Addend and divisor from the gross price to the base of a fee:  base = (gross + addend) ÷ divisor."""
        has = base.traits
        return self.shipping_charge if has.has_shipping else ZERO, ONE if has.has_tax else self.with_tax

    def fee_amount(self, charged: ChargedFee, gross: Decimal) -> Decimal:
        """A fee with its tax at a gross price."""
        return value_at(charged.function, self.base_amount(charged.fee.base, gross))

    def fee_total(self, gross: Decimal) -> Decimal:
        return sum((self.fee_amount(charged, gross) for charged in self.fees), ZERO)

    def paid_out(self, gross: Decimal) -> Decimal:
        """The payout before conversion: gross price and shipping charge less fees."""
        return gross + self.shipping_charge - self.fee_total(gross)

    def conversion_cost(self, paid_out: Decimal) -> Decimal:
        """The share of a payout that the channel keeps for converting it; never negative."""
        return max(ZERO, paid_out) * self.conversion_share if self.conversion_share else ZERO

    def proceeds(self, gross: Decimal) -> Decimal:
        """Net price and net shipping charge less fees, conversion and shipping cost."""
        net, fees = gross / self.with_tax, self.fee_total(gross)
        taken = fees + self.conversion_cost(gross + self.shipping_charge - fees)
        return net - taken - self.shipping_cost + self.net_shipping_charge

    @exactly
    def _taxed_proceeds(self) -> Function:
        """(1 + tax) × proceeds as a function of the gross price g.

        Multiplied by 1 + tax, so that no division is rounded before an equation is solved:
        g + shipping charge − (1 + tax) × [fees(g) + spread × max(0, g + shipping charge − fees(g)) + shipping cost].
        """
        fees = [scaled(self._taxed(charged), -ONE) for charged in self.fees]
        income = line(slope=ONE, constant=self.shipping_charge - self.with_tax * self.shipping_cost)
        if not self.conversion_share:
            return total([income, *fees])
        paid_out = total([line(slope=self.with_tax, constant=self.with_tax * self.shipping_charge), *fees])
        return total([income, *fees, scaled(clamped(paid_out, ZERO, None), -self.conversion_share)])

    def _taxed(self, charged: ChargedFee) -> Function:
        """(1 + tax) × a fee as a function of the gross price, segment by segment."""
        added, divisor = self._way_to(charged.fee.base)
        found = []
        for segment in charged.function:
            up_to = None if segment.up_to is None else segment.up_to * divisor - added
            if up_to is not None and up_to < 0:
                continue
            found.append(
                Segment(
                    above=max(ZERO, segment.above * divisor - added),
                    up_to=up_to,
                    slope=segment.slope * (self.with_tax / divisor),
                    constant=self.with_tax * (segment.slope * added / divisor + segment.constant),
                )
            )
        return tuple(found)


@dataclass(frozen=True, slots=True)
class OrderShare:
    """A price's part of the order that it is in.

    Attributes:
        shipping_cost: its part of what shipping the order costs, in the currency of sale; None where the order is not
            shipped, and then nothing is charged for it.
        spread_over: the order.
    """

    shipping_cost: Decimal | None = None
    spread_over: OrderOfPrices = OrderOfPrices()


@exactly
def sale_through(
    terms: ChannelRate,
    *,
    display: Display,
    tax_share: Decimal,
    convert: Callable[[Decimal], Decimal],
    is_converted: bool,
    order: OrderShare = OrderShare(),
) -> Sale:
    """The conditions of sale through a channel.

    Args:
        terms: the channel's, in force on the day.
        convert: converts from the currency of the terms to the currency of sale, unrounded.
        is_converted: whether the channel pays out in another currency than that of the sale.
    """

    def part(amount: Decimal) -> Decimal:
        return order.spread_over.part(convert(amount))

    bare = Sale(display=display, tax_share=tax_share)
    charge = ZERO
    if terms.shipping_paid_by is Payer.BUYER and order.shipping_cost is not None:
        named = terms.shipping_charge
        charge = order.shipping_cost * bare.with_tax if named is None else part(named) * bare.gross_of_displayed
    return Sale(
        display=display,
        tax_share=tax_share,
        fees=tuple(ChargedFee(fee=fee, function=fee.function(part), convert=part) for fee in terms.fees),
        conversion_share=terms.conversion_spread_share if is_converted else ZERO,
        shipping_cost=order.shipping_cost or ZERO,
        shipping_charge=charge,
        spread_over=order.spread_over,
    )
