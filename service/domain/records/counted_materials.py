"""The material of a batch, as it was counted: what was issued, and what came back."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import NamedTuple

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.products import BillLine
from service.domain.records.as_made import Made
from service.domain.records.batch_record import MaterialCount
from service.domain.records.observation import Fact, Observation
from service.domain.values.exact import ONE, ZERO

_MOST_TIMES = 1000


class _Draw(NamedTuple):
    """What a batch drew of a line of a bill of materials.

    Attributes:
        product: code of the product whose line it is.
        place: of the line in its bill.
        per_unit: what a good unit contains.
        started: units begun at the operation it enters at.
        good: good units of the product.
        issued: drawn from stock.
        reclaim_share: the share of what was lost that came back.
    """

    product: str
    place: int
    line: BillLine
    per_unit: Decimal
    started: Decimal
    good: Decimal
    issued: Decimal
    reclaim_share: Decimal

    @property
    def into_units(self) -> Decimal:
        """What the units begun contain; they contain less if less was drawn."""
        return min(self.per_unit * self.started, self.issued)

    @property
    def lost(self) -> Decimal:
        """What was drawn and is in no good unit."""
        return self.issued - self.into_units * self.good / self.started if self.into_units else self.issued

    @property
    def beyond_batch(self) -> Decimal:
        """What was drawn for the units, without the quantity that a batch of any size needs."""
        return self.issued - self.line.quantity_per_batch

    def as_made(self) -> BillLine:
        """The line with which the batch draws what it did.

        What is beyond the units begun and the quantity for the batch was lost. If less was drawn than that, the batch
        took less; if less than the units should contain, they contain less.
        """
        into_units, beyond, line = self.into_units, self.beyond_batch, self.line
        lost_in_process = bool(into_units) and beyond >= into_units
        kept = ONE - line.reclaim_share
        disposed = line.disposal_share
        if disposed is not None and kept:  # of what does not come back, as much as before has to be got rid of
            disposed *= (ONE - self.reclaim_share) / kept
        return replace(
            line,
            quantity_per_piece=into_units / self.started if into_units else ZERO,
            quantity_per_batch=line.quantity_per_batch if lost_in_process else self.issued - into_units,
            process_loss_share=ONE - into_units / beyond if lost_in_process else ZERO,
            reclaim_share=self.reclaim_share,
            reclaimed_as=line.reclaimed_as if self.reclaim_share else None,
            disposal_share=disposed,
        )


def draw(made: Made, begun: BillOfResources) -> None:
    """Makes each material be drawn and come back as it was counted, in proportion over the lines that name it."""
    draws = list(_draws(made, begun))
    now: dict[tuple[str, int], BillLine | None] = {}
    for place, count in enumerate(made.record.materials):
        counted = _counted(made, [each for each in draws if each.line.material == count.material], count, place)
        now |= {(each.product, each.place): each.as_made() if each.issued else None for each in counted}
    products = dict(made.catalogue.products)
    for code in {product for product, _ in now}:
        lines = (now.get((code, place), line) for place, line in enumerate(products[code].bill_of_materials))
        products[code] = replace(products[code], bill_of_materials=tuple(each for each in lines if each is not None))
    made.catalogue = replace(made.catalogue, products=products)


def _draws(made: Made, begun: BillOfResources) -> Iterator[_Draw]:
    started = {(each.product, each.operation): each.pieces_started for each in begun.steps}
    for code, good in begun.pieces_made.items():
        issues = [each for each in begun.issues if each.product == code]
        lines = made.catalogue.products[code].bill_of_materials
        for place, (line, issue) in enumerate(zip(lines, issues, strict=True)):
            yield _Draw(
                product=code,
                place=place,
                line=line,
                per_unit=line.quantity_per_piece,
                started=started.get((code, issue.operation), good),
                good=good,
                issued=issue.issued,
                reclaim_share=line.reclaim_share,
            )


def _counted(made: Made, draws: Sequence[_Draw], count: MaterialCount, place: int) -> Sequence[_Draw]:
    """What was drawn as it was counted; nothing if the count cannot be."""
    total = sum((each.issued for each in draws), ZERO)
    path = "materials", place
    if not total:
        if count.issued or count.returned:
            made.refuse((*path, "issued"), "must be left out: no unit came as far as where this material enters")
        return ()
    if count.issued is not None:
        times = count.issued / total
        if times > _MOST_TIMES:
            reason = f"is more than {_MOST_TIMES} times what these units take; check it, and count units_started"
            made.refuse((*path, "issued"), reason)
            return ()
        draws = [each._replace(issued=each.issued * times) for each in draws]
        made.observations += _losses(draws)
    if count.returned is None:
        return draws
    issued = sum((each.issued for each in draws), ZERO)
    if count.returned > issued:
        reason = "is more than these units are estimated to take; count what was issued too"
        made.refuse((*path, "returned"), reason)
        return ()
    draws = _returned(draws, count.returned, issued)
    made.observations += _reclaimed(draws)
    return draws


def _returned(draws: Sequence[_Draw], returned: Decimal, issued: Decimal) -> Sequence[_Draw]:
    """What came back, as a share of what was lost; more than that must have been missing in the good units."""
    lost = sum((each.lost for each in draws), ZERO)
    if returned <= lost:
        return [each._replace(reclaim_share=returned / lost) for each in draws] if lost else draws
    share = (issued - returned) / (issued - lost)
    return [each._replace(per_unit=each.into_units / each.started * share, reclaim_share=ONE) for each in draws]


def _losses(draws: Sequence[_Draw]) -> Iterator[Observation]:
    for each in draws:
        if each.per_unit and each.beyond_batch > 0:
            amount = each.beyond_batch - each.per_unit * each.started
            yield _observed(Fact.PROCESS_LOSS_SHARE, each, each.beyond_batch, amount)


def _reclaimed(draws: Sequence[_Draw]) -> Iterator[Observation]:
    return (_observed(Fact.RECLAIM_SHARE, each, each.lost, each.lost * each.reclaim_share) for each in draws)


def _observed(fact: Fact, drawn: _Draw, weight: Decimal, amount: Decimal) -> Observation:
    return Observation(fact=fact, product=drawn.product, item=drawn.line.material or "", weight=weight, amount=amount)
