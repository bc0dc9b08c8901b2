"""The fees of a sales channel, and the bases they are shares of. Fees are entered by the workshop; none is built in."""

from collections.abc import Callable, Iterator
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, NamedTuple

from service.domain.solving.bands import band_problems
from service.domain.solving.segments import Function, Segment, clamped, scaled
from service.domain.values.declared import Length, Name, NotNegative, Positive, ProperShare, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ONE, ZERO, exactly, snapped
from service.domain.values.kinds import Kind


class FeeBaseTraits(NamedTuple):
    """Whether the base of a fee contains the tax and the shipping charge besides the net price."""

    has_tax: bool
    has_shipping: bool


class FeeBase(Kind):
    """What a fee is a share of."""

    traits: FeeBaseTraits

    GROSS_PRICE = "gross_price", FeeBaseTraits(has_tax=True, has_shipping=False)
    NET_PRICE = "net_price", FeeBaseTraits(has_tax=False, has_shipping=False)
    GROSS_WITH_SHIPPING = "gross_with_shipping", FeeBaseTraits(has_tax=True, has_shipping=True)


class Banding(StrEnum):
    """How the bands of a fee are applied."""

    WHOLE = "whole"
    PORTION = "portion"


@declared
class FeeBand:
    """The share and amount of a fee within a band of its base.

    Attributes:
        above: exclusive lower end of the band.
        up_to: inclusive upper end; may be left out in the last band only, which then has none.
        share: of the base.
        fixed: an amount added to the share.
    """

    above: NotNegative = ZERO
    up_to: Positive | None = None
    share: ProperShare = ZERO
    fixed: NotNegative = ZERO


@declared
class Fee:
    """One fee on an order, which is for one piece unless a listing says otherwise.

    Attributes:
        name: what it is called, for instance "commission".
        base: the amount that the share and the bands refer to. The gross price contains the tax; with shipping, the
            shipping charge to the buyer is added.
        share: of the base, for a fee without bands.
        fixed: an amount for every order, for a fee without bands.
        bands: the share and the amount by the size of the base; in rising order, without gap.
        banding: whole: the band's share of the whole base; portion: each band's share of the part of the
            base within it.
        minimum: the fee is at least this.
        maximum: the fee is at most this.
        tax_share: tax on the fee that cannot be reclaimed, as a share of the fee.
    """

    name: Name
    base: FeeBase = FeeBase.GROSS_PRICE
    share: ProperShare = ZERO
    fixed: NotNegative = ZERO
    bands: Annotated[tuple[FeeBand, ...], Length(at_most=50)] = ()
    banding: Banding = Banding.WHOLE
    minimum: NotNegative | None = None
    maximum: NotNegative | None = None
    tax_share: ProperShare = ZERO

    def problems(self) -> Iterator[InvalidValueError]:
        yield from band_problems([(band.above, band.up_to) for band in self.bands], ("bands",), ("above", "up_to"))
        if self.bands and self.bands[-1].up_to is not None:
            last = len(self.bands) - 1
            yield InvalidValueError(
                ("bands", last, "up_to"), "must be left out in the last band, because a price may be higher"
            )
        for name in ("share", "fixed"):
            if self.bands and getattr(self, name):
                yield InvalidValueError((name,), "is said in each band; leave it out here")
        for index, band in enumerate(self.bands):
            if band.fixed and self.banding is Banding.PORTION:
                yield InvalidValueError(("bands", index, "fixed"), "has no meaning with banding portion; leave it out")
        if self.minimum is not None and self.maximum is not None and self.minimum > self.maximum:
            yield InvalidValueError(("maximum",), "must not be below the minimum")

    @property
    def has_amounts(self) -> bool:
        """Whether the fee has amounts, so that it needs a currency."""
        amounts = [self.fixed, self.minimum, self.maximum, *(band.fixed for band in self.bands)]
        return any(amounts) or len(self.bands) > 1

    @property
    def lasting_share(self) -> Decimal:
        """The marginal share of a large base, tax on the fee included."""
        share = self.bands[-1].share if self.bands else self.share
        return ZERO if self.maximum is not None else share * (ONE + self.tax_share)

    @exactly
    def function(self, convert: Callable[[Decimal], Decimal]) -> Function:
        """The fee with its tax as a function of its base, in the currency of sale that `convert` converts into."""
        bands = self.bands or (FeeBand(share=self.share, fixed=self.fixed),)
        segments, before = [], ZERO
        for band in bands:
            above = convert(band.above)
            up_to = None if band.up_to is None else convert(band.up_to)
            constant = convert(band.fixed) if self.banding is Banding.WHOLE else before - band.share * above
            segments.append(Segment(above=above, up_to=up_to, slope=band.share, constant=constant))
            if up_to is not None and self.banding is Banding.PORTION:
                before += band.share * (up_to - above)
        least, most = (None if each is None else convert(each) for each in (self.minimum, self.maximum))
        return scaled(clamped(tuple(segments), least, most), ONE + self.tax_share)

    def band_at(self, base: Decimal, convert: Callable[[Decimal], Decimal]) -> FeeBand:
        """The band that a base falls into; for a fee without bands, one band with its share and amount."""
        for band in self.bands:
            if band.up_to is None or snapped(base) <= snapped(convert(band.up_to)):
                return band
        return FeeBand(share=self.share, fixed=self.fixed)
