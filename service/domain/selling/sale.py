"""What stands between the price of a piece and what is kept of it: tax, fees, conversion and shipping."""

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal

from service.domain.selling.channels import ChannelRate, Display, Fee, FeeBand, FeeBase, Payer
from service.domain.solving.segments import Function, Segment, clamped, line, scaled, total, value_at
from service.domain.values.exact import ONE, ZERO, exactly


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargedFee:
    """A fee in the currency of sale.

    Attributes:
        fee: as the channel's terms have it.
        function: what it takes, its tax included, of each amount of its base.
        convert: an amount of those terms in the currency of sale.
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
        fees: what the channel takes.
        conversion_share: what it keeps of what it pays out when that is another currency.
        shipping_cost: what shipping a piece costs the workshop.
        shipping_charge: what the buyer is charged for it, tax included.
        taxed_proceeds: (1 + tax) × proceeds as a function of the gross price.
    """

    display: Display = Display.TAX_EXCLUSIVE
    tax_share: Decimal = ZERO
    fees: tuple[ChargedFee, ...] = ()
    conversion_share: Decimal = ZERO
    shipping_cost: Decimal = ZERO
    shipping_charge: Decimal = ZERO
    taxed_proceeds: Function = field(init=False, compare=False, repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "taxed_proceeds", self._taxed_proceeds())

    @property
    def with_tax(self) -> Decimal:
        """What a net amount is multiplied with to contain the tax."""
        return ONE + self.tax_share

    @property
    def displayed(self) -> Decimal:
        """What a net price is multiplied with to be displayed."""
        return self.with_tax if self.display is Display.TAX_INCLUSIVE else ONE

    @property
    def gross_of_displayed(self) -> Decimal:
        """What a displayed price is multiplied with to contain the tax."""
        return ONE if self.display is Display.TAX_INCLUSIVE else self.with_tax

    @property
    def is_plain(self) -> bool:
        """Whether nothing but tax stands between the price and what is kept."""
        return not (self.fees or self.conversion_share or self.shipping_cost or self.shipping_charge)

    @property
    def net_shipping_charge(self) -> Decimal:
        """What the buyer is charged for shipping, without tax."""
        return self.shipping_charge / self.with_tax

    def base_amount(self, base: FeeBase, gross: Decimal) -> Decimal:
        """What a fee is a share of, at a gross price."""
        added, divisor = self._way_to(base)
        return (gross + added) / divisor

    def _way_to(self, base: FeeBase) -> tuple[Decimal, Decimal]:
        """What is added to the gross price, and what that is divided by then, to get what a fee is a share of."""
        has = base.traits
        return self.shipping_charge if has.has_shipping else ZERO, ONE if has.has_tax else self.with_tax

    def fee_amount(self, charged: ChargedFee, gross: Decimal) -> Decimal:
        """What a fee comes to at a gross price, its tax included."""
        return value_at(charged.function, self.base_amount(charged.fee.base, gross))

    def fee_total(self, gross: Decimal) -> Decimal:
        """What all fees come to."""
        return sum((self.fee_amount(charged, gross) for charged in self.fees), ZERO)

    def paid_out(self, gross: Decimal) -> Decimal:
        """What the channel converts and pays out: price and shipping charge, less its fees."""
        return gross + self.shipping_charge - self.fee_total(gross)

    def conversion_cost(self, gross: Decimal) -> Decimal:
        """What it keeps of that by its conversion spread."""
        return max(ZERO, self.paid_out(gross)) * self.conversion_share if self.conversion_share else ZERO

    def proceeds(self, gross: Decimal) -> Decimal:
        """What the piece brings in for its cost and the profit: net price less fees, conversion and shipping."""
        net = gross / self.with_tax
        taken = self.fee_total(gross) + self.conversion_cost(gross)
        return net - taken - self.shipping_cost + self.net_shipping_charge

    @exactly
    def _taxed_proceeds(self) -> Function:
        """(1 + tax) × proceeds as a function of the gross price g.

        Multiplied by what adds the tax, so that no division is rounded before an equation is solved:
        g + shipping charge − (1 + tax) × [fees(g) + spread × max(0, g + shipping charge − fees(g)) + shipping cost].
        """
        fees = [scaled(self._taxed(charged), -ONE) for charged in self.fees]
        income = line(slope=ONE, constant=self.shipping_charge - self.with_tax * self.shipping_cost)
        if not self.conversion_share:
            return total([income, *fees])
        paid_out = total([line(slope=self.with_tax, constant=self.with_tax * self.shipping_charge), *fees])
        return total([income, *fees, scaled(clamped(paid_out, ZERO, None), -self.conversion_share)])

    def _taxed(self, charged: ChargedFee) -> Function:
        """(1 + tax) × a fee as a function of the gross price: its base put in, segment by segment."""
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


@exactly
def sale_through(
    terms: ChannelRate,
    *,
    display: Display,
    tax_share: Decimal,
    convert: Callable[[Decimal], Decimal],
    is_converted: bool,
    shipping_cost: Decimal | None = None,
) -> Sale:
    """The conditions of sale through a channel.

    Args:
        terms: the channel's, in force on the day.
        display: whether the channel's prices contain the tax.
        tax_share: the tax as a share of the net price.
        convert: an amount of the terms' currency in the currency of sale, unrounded.
        is_converted: whether the channel pays out in another currency than that of the sale.
        shipping_cost: what shipping a piece costs, in the currency of sale; None where it is not shipped, and then
            nothing is charged for it.
    """
    bare = Sale(display=display, tax_share=tax_share)
    charge = ZERO
    if terms.shipping_paid_by is Payer.BUYER and shipping_cost is not None:
        named = terms.shipping_charge
        charge = shipping_cost * bare.with_tax if named is None else convert(named) * bare.gross_of_displayed
    return Sale(
        display=display,
        tax_share=tax_share,
        fees=tuple(ChargedFee(fee=fee, function=fee.function(convert), convert=convert) for fee in terms.fees),
        conversion_share=terms.conversion_spread_share if is_converted else ZERO,
        shipping_cost=shipping_cost or ZERO,
        shipping_charge=charge,
    )
