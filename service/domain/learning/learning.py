"""What the records of a product teach about its facts: pooled figures, how sure they are, and what stands out."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from operator import attrgetter

from service.domain.learning.student import t_of_95_per_cent
from service.domain.making.products import Product
from service.domain.records.observation import Fact, Learnable, Observation
from service.domain.values.exact import ONE, ZERO, exactly, snapped, whole_down, whole_up
from service.domain.values.message import Message

LEAST_BATCHES = 5
"""Fewer say too little of how much batches differ; common practice, no source."""
_OF_SHARE, _OF_VALUE = Decimal("0.02"), Decimal("0.05")
"""How near an estimate should be, for shares and as a part of all other figures; common practice, no source."""
_FAR_OUT = Decimal("3.5")
_MAD_OF_DEVIATION, _MEAN_OF_DEVIATION = Decimal("0.6745"), Decimal("1.253314")
_TWO = Decimal(2)

METHOD = Message(
    "Pooled figure: the sum over all batches divided by the sum of what they are weighed by. Interval: 95 %, by "
    "leaving out each batch in turn and Student's t; for yields in pieces Wilson's, with as many pieces as the batches "
    "are worth. Outliers: a modified z-score above 3.5; they are named and stay in."
)
SOURCES = (
    "NIST/SEMATECH e-Handbook of Statistical Methods, sections 1.3.5.17 (outliers), 1.3.6.7.2 (Student's t), 7.2.2.2 "
    "(sample size) and 7.2.4.1 (Wilson's interval). From memory: J. G. MacKinnon and H. White, Some "
    "heteroskedasticity-consistent covariance matrix estimators with improved finite sample properties, 1985 (HC3); "
    "L. Kish, Survey Sampling, 1965 (effective sample size); E. L. Korn and B. I. Graubard, Confidence intervals for "
    "proportions with small expected number of positive counts estimated from survey data, 1998"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ObservedBatch:
    """A recorded batch, with what it says of the facts of its product."""

    code: str
    observations: tuple[Observation, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A batch that stands out, and the fact as it had it."""

    code: str
    value: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class LearntFact:
    """What all batches say about a fact.

    Attributes:
        about: which fact of which operation or material.
        value: pooled over all batches, outliers included.
        low: lower end of the 95 % interval; None with a single batch.
        high: its upper end.
        batches: that say something about it.
        lowest: the least of a single batch.
        highest: the greatest of a single batch.
        deviation: standard deviation of the single batches about the pooled figure; None with a single batch.
        outliers: batches that stand out.
        without_outliers: the figure pooled over the others; None if nothing stands out.
        more_batches: how many more like these are needed to know it well enough; 0 if it is known so.
    """

    about: Learnable
    value: Decimal
    low: Decimal | None
    high: Decimal | None
    batches: int
    lowest: Decimal
    highest: Decimal
    deviation: Decimal | None
    outliers: tuple[Outlier, ...]
    without_outliers: Decimal | None
    more_batches: int

    @property
    def is_enough(self) -> bool:
        """Whether there are batches enough to propose it."""
        return self.batches >= LEAST_BATCHES


Row = tuple[Decimal, Decimal, str]
"""Weight, amount, and the code of the batch."""


@exactly
def learnt(batches: Iterable[ObservedBatch], products: Mapping[str, Product]) -> tuple[LearntFact, ...]:
    """What batches say about every fact that any of them says something about, by product, item and fact.

    The pooled figure is a ratio estimate, R = Σ amounts ÷ Σ weights, so that a long batch counts more than a short one.
    Batches, not pieces, are what varies: the variance is the sum of squares of what R moves by when each batch is left
    out, HC3 or the jackknife without its factor (n − 1) ÷ n, which errs on the safe side with few batches,
    v = Σ (eᵢ ÷ (X − xᵢ))²,  eᵢ = yᵢ − R xᵢ,  X = Σ xᵢ.  The interval is R ± t √v with Student's t of one less degrees
    of freedom than there would be batches of one size, X² ÷ Σ xᵢ². A yield in pieces has Wilson's interval with t in
    place of z and an effective number of pieces,  X ÷ max(1, v ÷ (R (1 − R) ÷ X)),  so that a yield of 1 in a few
    pieces is not taken for certain.

    Batches are taken by their codes, so that the order in which they come cannot matter.

    Source: `SOURCES`.

    Args:
        products: of today; what is made by the kilogram has no number of pieces.
    """
    rows: dict[tuple[Fact, str, str, str], list[Row]] = {}
    for batch in sorted(batches, key=attrgetter("code")):
        for each in batch.observations:
            about = each.fact, each.product, each.item, each.grade
            rows.setdefault(about, []).append((each.weight, each.amount, batch.code))
    whole = {code for code, product in products.items() if not product.unit.is_divided}
    found = (_learnt(Learnable(*about), each, whole) for about, each in rows.items())
    return tuple(sorted(found, key=lambda each: (each.about.product, each.about.item, each.about)))


def _learnt(about: Learnable, rows: Sequence[Row], whole: Collection[str]) -> LearntFact:
    in_pieces = about.fact.traits.counts_units and about.product in whole
    ratios = [amount / weight for weight, amount, _ in rows]
    value, variance = _pooled(rows)
    interval = None if variance is None else _interval(rows, value, variance, in_pieces=in_pieces)
    out = set(_outliers(rows, ratios, value, in_pieces=in_pieces))
    low, high = _ends(about.fact, interval)
    return LearntFact(
        about=about,
        value=snapped(value),
        low=low,
        high=high,
        batches=len(rows),
        lowest=snapped(min(ratios)),
        highest=snapped(max(ratios)),
        deviation=_deviation(ratios, value),
        outliers=tuple(Outlier(code=rows[place][-1], value=snapped(ratios[place])) for place in sorted(out)),
        without_outliers=snapped(_share([row for place, row in enumerate(rows) if place not in out])) if out else None,
        more_batches=_more_batches(about.fact, len(rows), value, interval),
    )


def _share(rows: Sequence[Row]) -> Decimal:
    """The ratio estimate:  Σ amounts ÷ Σ weights."""
    return sum((amount for _, amount, _ in rows), ZERO) / sum((weight for weight, _, _ in rows), ZERO)


def _pooled(rows: Sequence[Row]) -> tuple[Decimal, Decimal | None]:
    """The ratio estimate, and its variance by leaving out each batch in turn; None for the variance of one batch."""
    value = _share(rows)
    if len(rows) == 1:
        return value, None
    total, squares = sum((weight for weight, _, _ in rows), ZERO), ZERO
    for weight, amount, _ in rows:
        moved = (amount - value * weight) / (total - weight)
        squares += moved * moved
    return value, squares


def _interval(rows: Sequence[Row], value: Decimal, variance: Decimal, *, in_pieces: bool) -> tuple[Decimal, Decimal]:
    weights = [weight for weight, _, _ in rows]
    total = sum(weights, ZERO)
    alike = whole_down(total * total / sum((weight * weight for weight in weights), ZERO))
    t = t_of_95_per_cent(max(1, int(alike) - 1))
    if in_pieces:
        return _wilson(value, variance, total, t)
    half = t * variance.sqrt()
    return value - half, value + half


def _ends(fact: Fact, interval: tuple[Decimal, Decimal] | None) -> tuple[Decimal | None, Decimal | None]:
    """The ends of an interval, within what the fact can be; a loss below 0 says that too little is issued."""
    if interval is None:
        return None, None
    low, high = interval
    low = low if fact is Fact.PROCESS_LOSS_SHARE else max(low, ZERO)
    return snapped(low), snapped(min(high, ONE) if fact.traits.is_share else high)


def _wilson(share: Decimal, variance: Decimal, pieces: Decimal, t: Decimal) -> tuple[Decimal, Decimal]:
    """Wilson's interval of a share, with the pieces that batches of such a variance are worth."""
    by_chance = share * (ONE - share) / pieces
    worth = pieces / max(ONE, variance / by_chance) if by_chance else pieces
    square = t * t
    middle = (share + square / (_TWO * worth)) / (ONE + square / worth)
    spread = share * (ONE - share) / worth + square / (_TWO * worth) ** 2
    half = t * spread.sqrt() / (ONE + square / worth)
    return min(middle - half, share), max(middle + half, share)  # of a share of 0 or 1 they differ in the last digit


def _deviation(ratios: Sequence[Decimal], value: Decimal) -> Decimal | None:
    if len(ratios) == 1:
        return None
    squares = sum(((each - value) ** 2 for each in ratios), ZERO)
    return snapped((squares / (len(ratios) - 1)).sqrt())


def _outliers(rows: Sequence[Row], ratios: Sequence[Decimal], value: Decimal, *, in_pieces: bool) -> Iterator[int]:
    """Places of the batches whose modified z-score is above 3.5:  0.6745 × (r − median) ÷ MAD.

    MAD is the median of the absolute deviations from the median; where more than half are alike, so that it is 0, the
    mean of the absolute deviations × 1.253314 is taken instead. Yields differ the more the fewer pieces they are of:
    deviations are times the root of these, and taken to spread at least as chance alone makes them,  √(R (1 − R)).

    Source: B. Iglewicz and D. C. Hoaglin, How to Detect and Handle Outliers, 1993, in the NIST/SEMATECH e-Handbook,
        section 1.3.5.17. The stand-in for a MAD of 0: common practice, no source (√(π ÷ 2) for normal deviations).
    """
    if len(rows) < LEAST_BATCHES:
        return
    middle = _median(sorted(ratios))
    deviations = [each - middle for each in ratios]
    least = ZERO
    if in_pieces:
        deviations = [each * row[0].sqrt() for each, row in zip(deviations, rows, strict=True)]
        least = (value * (ONE - value)).sqrt()
    sizes = [abs(each) for each in deviations]
    spread = _median(sorted(sizes)) / _MAD_OF_DEVIATION
    if not spread and not least:
        spread = sum(sizes, ZERO) / len(sizes) * _MEAN_OF_DEVIATION
    limit = max(spread, least) * _FAR_OUT
    yield from (place for place, size in enumerate(sizes) if size > limit)


def _median(ordered: Sequence[Decimal]) -> Decimal:
    half, is_odd = divmod(len(ordered), 2)
    return ordered[half] if is_odd else (ordered[half - 1] + ordered[half]) / _TWO


def _more_batches(fact: Fact, batches: int, value: Decimal, interval: tuple[Decimal, Decimal] | None) -> int:
    """How many more batches like these make the interval narrow enough:  n × (half of it ÷ what is enough)² − n.

    Source: NIST/SEMATECH e-Handbook, section 7.2.2.2: the sample size grows with the square of the precision.
    """
    needed = LEAST_BATCHES
    enough = _OF_SHARE if fact.traits.is_share else abs(value) * _OF_VALUE
    if interval is not None and enough:
        half = (interval[1] - interval[0]) / _TWO
        needed = max(needed, int(whole_up(batches * (half / enough) ** 2)))
    return max(0, needed - batches)
