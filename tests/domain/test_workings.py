"""Workings: whoever works a formula out from the figures written in it finds the figure that is shown."""

from decimal import ROUND_HALF_UP, Decimal, localcontext

from hypothesis import given

from service.domain.cost_statement import CostStatement, cost_statement
from service.domain.cost_workings import CostWorkings, cost_workings
from service.domain.workings import Working
from service.domain.written_facts import written_conversion
from tests.domain.calculator import calculated
from tests.domain.examples import Shop
from tests.domain.strategies import batches, shops, tried


def statement_of(shop: Shop, quantity: int) -> CostStatement:
    return cost_statement(shop.sheet(quantity), rates_valid_from={})


def workings_of(shop: Shop, quantity: int) -> CostWorkings:
    convert = written_conversion(shop.exchange.day_for, shop.currency)
    return cost_workings(statement_of(shop, quantity), shop.catalogue, shop.card, shop.pools, convert)


def all_of(workings: CostWorkings) -> list[Working]:
    return [each for section in workings.sections for each in section.workings]


def decimals_of(figure: Decimal) -> int:
    return max(-int(figure.as_tuple().exponent), 0)


def rounded(figure: Decimal, decimals: int) -> Decimal:
    with localcontext(prec=60):
        return figure.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)


class TestAPocketCalculatorFindsTheFigureThatIsShown:
    @tried
    @given(shops(("EUR", "USD", "JPY")), batches)
    def test_from_the_figures_written_in_every_formula(self, shop: Shop, quantity: int) -> None:
        for each in all_of(workings_of(shop, quantity)):
            assert rounded(calculated(each.with_figures), decimals_of(each.result)) == each.result, each
