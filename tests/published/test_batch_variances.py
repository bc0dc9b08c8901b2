"""Published variances of a batch; what a source calls unfavourable or adverse is positive, what it calls F negative.

Computed in the domain: what a textbook calls standard is a product with its rates, and its actual figures are a record.
"""

from decimal import Decimal
from typing import Any, ClassVar

import pytest

from service.domain.costing.rates import LabourRate, MaterialRate, OverheadRate
from service.domain.making.resources import LabourGrade
from service.domain.reviewing.period import FixedBudget, FixedVariances, fixed_variances
from service.domain.reviewing.variance_kinds import VarianceKind
from tests.domain.examples import Shop, a_line, a_material, a_product, a_shop, an_overhead, bench_work, terms_of
from tests.domain.records.recorded import a_record
from tests.domain.reviewing.reviewed import amounts_of, compared
from tests.support.builders import labour_rate, material_rate, money, overhead_rate

K = VarianceKind


def workshop(
    materials: dict[str, tuple[str, str]], hours: str = "0", wage: str = "0", variable: str = "0", fixed: str = "0"
) -> Shop:
    """Quantity a unit and price of each material; hours a unit and wage; two pools by the hour."""
    people = [{"labour_grade": "worker", "attendance": "1"}]
    work = bench_work(cycle_minutes=str(Decimal(hours) * 60), labour=people)
    lines = [a_line(material=code, quantity_per_piece=quantity) for code, (quantity, _) in materials.items()]
    terms: dict[str, Any] = {
        f"materials/{code}": terms_of(MaterialRate, material_rate(price)) for code, (_, price) in materials.items()
    }
    terms["labour-grades/worker"] = terms_of(LabourRate, labour_rate(wage))
    terms |= {
        f"overheads/{name}": terms_of(OverheadRate, overhead_rate(rate, "1"))
        for name, rate in (("variable", variable), ("fixed", fixed))
    }
    return a_shop(
        a_product(bill_of_materials=lines, operations=[work]),
        terms=terms,
        materials={code: a_material(name=code) for code in materials},
        labour_grades={"worker": LabourGrade(name="worker")},
        overheads={"variable": an_overhead("labour_hour", variable=True), "fixed": an_overhead("labour_hour")},
    )


def issued(material: str, used: str, paid: str, bought: str) -> dict[str, Any]:
    return {"material": material, "issued": used, "paid": money(paid), "paid_for": bought}


def worked(hours: str, paid: str, **more: str) -> dict[str, Any]:
    return {"labour_grade": "worker", "hours": hours, "paid": money(paid), **more}


def spent(amount: str) -> list[dict[str, Any]]:
    return [{"overhead": "variable", "paid": money(amount)}]


def by_kind(shop: Shop, **record: Any) -> dict[VarianceKind, Decimal]:
    """The variances, by their causes alone."""
    return {kind: amount for (kind, _), amount in amounts_of(shop, **record).items()}


def fixed_of(shop: Shop, budget: str, incurred: str, **record: Any) -> FixedVariances:
    pool = FixedBudget(resource="overheads/fixed", name="fixed", budget=Decimal(budget), incurred=Decimal(incurred))
    (found,) = fixed_variances([pool], [compared(shop, a_record(**record))])
    return found


class TestIceCream:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, sections 10.2 to 10.5, 10.8 and 10.9.

    210,000 units. The book takes the price variance on the 440,000 bought; a record takes it on the 399,000 used, so
    that it belongs to the batch.
    """

    shop = workshop({"cream": ("2", "1")}, "0.10", "13", variable="5", fixed="7")
    record: ClassVar[dict[str, Any]] = {
        "good_units": "210000",
        "materials": [issued("cream", "399000", "528000", "440000")],
        "labour": [worked("18900", "283500")],
        "overheads": spent("100000"),
    }

    def test_has_the_variances_of_the_book(self) -> None:
        assert by_kind(self.shop, **self.record) == {
            K.MATERIAL_PRICE: 79_800,
            K.MATERIAL_USAGE: -21_000,
            K.LABOUR_RATE: 37_800,
            K.LABOUR_EFFICIENCY: -27_300,
            K.VARIABLE_OVERHEAD_SPENDING: 5_500,
            K.VARIABLE_OVERHEAD_EFFICIENCY: -10_500,
            K.FIXED_OVERHEAD_EFFICIENCY: (18_900 - 21_000) * 7,
        }

    def test_has_the_price_variance_of_the_book_if_all_that_was_bought_is_used(self) -> None:
        used = [issued("cream", "440000", "528000", "440000")]

        assert by_kind(self.shop, good_units="210000", materials=used)[K.MATERIAL_PRICE] == 88_000

    def test_has_the_budget_and_volume_variance_of_the_book(self) -> None:
        found = fixed_of(self.shop, "140280", "136000", **self.record)

        assert (found.budget_variance, found.volume_variance) == (-4_280, -6_720)
        assert (found.capacity, found.efficiency) == (140_280 - 18_900 * 7, (18_900 - 21_000) * 7)

    def test_is_over_absorbed_by_16_000(self) -> None:
        applied = Decimal(252_000)
        fixed = fixed_of(self.shop, "140280", "136000", **self.record)

        assert fixed.applied + 21_000 * 5 == applied
        assert fixed.incurred + 100_000 - applied == -16_000

    def test_costs_4_50_a_unit_by_the_standard(self) -> None:
        assert compared(self.shop, a_record(**self.record)).standard_cost == 945_000


class TestCookies:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, review problems 10.3 to 10.6, 10.8 and 10.9.

    390,000 units; the price variance on the 640,000 bought is taken on the 624,000 used.
    """

    shop = workshop({"dough": ("1.5", "2")}, "0.20", "12", variable="3.50", fixed="3.30")
    record: ClassVar[dict[str, Any]] = {
        "good_units": "390000",
        "materials": [issued("dough", "624000", "1152000", "640000")],
        "labour": [worked("97500", "1072500")],
        "overheads": spent("360000"),
    }

    def test_have_the_variances_of_the_book(self) -> None:
        found = by_kind(self.shop, **self.record)

        assert found.pop(K.FIXED_OVERHEAD_EFFICIENCY) == (97_500 - 78_000) * Decimal("3.3")
        assert found == {
            K.MATERIAL_PRICE: Decimal("-0.2") * 624_000,
            K.MATERIAL_USAGE: 78_000,
            K.LABOUR_RATE: -97_500,
            K.LABOUR_EFFICIENCY: 234_000,
            K.VARIABLE_OVERHEAD_SPENDING: 18_750,
            K.VARIABLE_OVERHEAD_EFFICIENCY: 68_250,
        }

    def test_have_the_budget_and_volume_variance_of_the_book(self) -> None:
        found = fixed_of(self.shop, "264660", "270000", **self.record)

        assert (found.budget_variance, found.volume_variance) == (5_340, 7_260)

    def test_are_worth_investigating_by_15_per_cent_of_what_each_should_have_cost(self) -> None:
        batch = compared(self.shop, a_record(**self.record))
        of_the_book = {K.LABOUR_RATE, K.LABOUR_EFFICIENCY, K.MATERIAL_USAGE, K.VARIABLE_OVERHEAD_EFFICIENCY}
        of_the_book |= {K.VARIABLE_OVERHEAD_SPENDING}

        beyond = [
            each.kind
            for each in batch.variances
            if each.kind in of_the_book and abs(each.amount) >= Decimal("0.15") * each.standard_cost
        ]

        assert beyond == [K.LABOUR_EFFICIENCY, K.VARIABLE_OVERHEAD_EFFICIENCY]
        limits = {each.kind: each.standard_cost * Decimal("0.15") for each in batch.variances}
        assert (limits[K.MATERIAL_USAGE], limits[K.LABOUR_RATE]) == (175_500, 140_400)
        assert limits[K.VARIABLE_OVERHEAD_SPENDING] == 40_950


class TestSleepingBags:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, exercises of chapter 10 (Outdoor Products).

    The two variances of overhead are not printed; they follow from its figures.
    """

    shop = workshop({"fabric": ("8", "5")}, "3", "16", variable="2")
    record: ClassVar[dict[str, Any]] = {
        "good_units": "5100",
        "labour": [worked("14700", "238140")],
        "overheads": spent("32000"),
    }

    @pytest.mark.parametrize(
        ("used", "kind", "amount"), [("45000", K.MATERIAL_PRICE, 13_500), ("39000", K.MATERIAL_USAGE, -9_000)]
    )
    def test_have_the_variances_of_material(self, used: str, kind: VarianceKind, amount: int) -> None:
        material = [issued("fabric", used, "238500", "45000")]

        assert by_kind(self.shop, **self.record, materials=material)[kind] == amount

    def test_have_the_variances_of_labour_and_overhead(self) -> None:
        assert by_kind(self.shop, **self.record) == {
            K.LABOUR_RATE: 2_940,
            K.LABOUR_EFFICIENCY: -9_600,
            K.VARIABLE_OVERHEAD_SPENDING: 2_600,
            K.VARIABLE_OVERHEAD_EFFICIENCY: -1_200,
        }


def test_idle_time_is_told_apart_from_the_efficiency_of_labour() -> None:
    """CAT / FIA FMA, labour rate, efficiency and idle-time variances, aCOWtancy, notes E 3 of 8, no year.

    8,900 units of 5 hours at 5; 45,400 hours are paid with 224,515 and 44,100 worked. The total is not printed.
    """
    found = compared(
        workshop({}, "5", "5"), a_record(good_units="8900", labour=[worked("44100", "224515", idle_hours="1300")])
    )

    amounts = {each.kind: each.amount for each in found.variances}
    assert amounts == {K.LABOUR_RATE: -2_485, K.LABOUR_EFFICIENCY: -2_000, K.LABOUR_IDLE_TIME: 6_500}
    assert found.actual_cost - found.standard_cost == 2_015


def test_mix_and_yield_of_two_materials_add_up_to_their_usage() -> None:
    """Revenue and other variances, lecture notes AF3112, pp. 6 to 8, https://www.coursehero.com/file/59354457, no year.

    300 tons, each of 1.6 tons: 60 % of A at 200 and 40 % of B at 100. Used: 275 tons of A and 225 of B.
    """
    shop = workshop({"a": ("0.96", "200"), "b": ("0.64", "100")})
    used = [{"material": "a", "issued": "275"}, {"material": "b", "issued": "225"}]

    assert amounts_of(shop, good_units="300", materials=used) == {
        (K.MATERIAL_MIX, "materials/a"): -5_000,
        (K.MATERIAL_MIX, "materials/b"): 2_500,
        (K.MATERIAL_USAGE, "materials/a"): 2_400,
        (K.MATERIAL_USAGE, "materials/b"): 800,
    }
