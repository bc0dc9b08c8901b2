"""Quotations of work, of purchases and of products by weight: stored, promised, accepted and computed again."""

from typing import Any

import pytest

from service.domain.currency.errors import MissingExchangeRateError
from service.domain.quoting.life import AcceptanceRequest
from service.domain.values.errors import InvalidValuesError
from service.store.quoting import life
from service.workflows.quoting import quotation_life
from service.workflows.quoting import quotations as reading
from tests.domain.examples import D, euros
from tests.support import builders
from tests.workflows.owner import Owner

TODAY = {"quoted_on": None}
NOTHING = builders.policy("markup", "0")
PRESS = {
    "machine": "press",
    "labour": [{"labour_grade": "operator", "setup_crew": "1", "attendance": "0.25"}],
    "setup_minutes": "20",
    "band_shares": {"day": "0.7", "night": "0.3"},
}


def of_work(quantity: str = "2.5", unit: str = "hour", line: Any = None, **work: Any) -> dict[str, Any]:
    item = {"name": "Press work", "unit": unit, "work": {**PRESS, **work}}
    return {"item": item, "quantity": quantity, "tax": "vat", "policy": NOTHING, **(line or {})}


def of_flakes(quantity: str = "12.5", **changes: Any) -> dict[str, Any]:
    return {"product": "flakes", "quantity": quantity, "tax": "vat", "policy": NOTHING, **changes}


@pytest.fixture
def selling(furnished: Owner) -> Owner:
    """A workshop that also sells flakes by the kilogram, and bears 600 ÷ 200 for each order."""
    furnished.put("machines/press", builders.machine(hours_per_week="40", kind="press"))
    furnished.put("products/flakes", builders.product(name="Flakes", unit="kg", operations=[]))
    furnished.register(
        "overheads/orders", {"name": "Orders", "base": "order"}, **{"2026-01-01": builders.overhead_rate()}
    )
    return furnished


def refused(owner: Owner, *lines: dict[str, Any]) -> list[str]:
    with pytest.raises(InvalidValuesError) as error:
        owner.quote(lines=list(lines))
    return [str(each) for each in error.value.problems]


def promised(owner: Owner) -> dict[str, Any]:
    with owner.database.reading() as connection:
        return dict(life.promised_minutes(connection, owner.workshop_id))


class TestWork:
    def test_alone_has_a_day_is_promised_and_is_computed_again(self, selling: Owner) -> None:
        issued = selling.issued(lines=[of_work(line={"quantity_breaks": ["10"]})], **TODAY)

        assert issued.remarks.lead_time is not None
        assert [(each.resource, each.minutes_needed) for each in issued.remarks.lead_time.loads] == [
            ("machines/press", 170),  # 20 + 2.5 × 60
            ("labour-grades/operator", D("57.5")),  # 20 + 150 × 0.25
        ]
        cautions = {each.code: each.text for each in issued.remarks.cautions}
        assert "Sheet press in 'Press work'" in cautions["crushing"]
        assert "unidentified polymer" in cautions["unidentified-polymer"]  # whatever the customer brings
        assert {each.product for each in issued.remarks.warnings} <= {None}

        accepted = quotation_life.accept(selling.workspace, issued.id, AcceptanceRequest(quantities=(D(10),)))

        assert accepted.acceptance is not None
        assert promised(selling) == {"machines/press": 620, "labour-grades/operator": 170}
        assert reading.recompute(selling.workspace, accepted.id).agrees

    def test_costs_what_its_operation_costs_in_a_product_with_all_pools(self, selling: Owner) -> None:
        minutely = builders.operation(cycle_minutes="1", yield_share="1")
        selling.put("products/minutes", builders.product(bill_of_materials=[], operations=[minutely]))

        (line,) = selling.quote(lines=[of_work()]).figures.lines

        assert line.quoted.kept.full_cost == selling.cost("minutes", 150).subtotals.full_cost.per_batch

    def test_beside_a_product_knows_that_product_too(self, selling: Owner) -> None:
        quoted = selling.quote(lines=[of_flakes(), of_work()])

        assert [line.unit for line in quoted.figures.lines] == ["kg", "hour"]
        assert [(each.code, each.product) for each in quoted.remarks.warnings if each.code == "pool-once"] == [
            ("pool-once", None)
        ]
        assert reading.recompute(selling.workspace, quoted.id).agrees

    def test_has_breaks_that_are_found(self, selling: Owner) -> None:
        automatic = {"least_fall_share": "0.05", "up_to": "20"}

        (line,) = selling.quote(lines=[of_work(line={"automatic_breaks": automatic})]).figures.lines

        assert [each.quantity for each in line.quantity_breaks][:2] == [D(4), D(6)]
        assert all(each.saving_share > D("0.04") for each in line.quantity_breaks if each.saving_share is not None)

    def test_of_zero_price_is_warned_of_by_its_unit(self, selling: Owner) -> None:
        quoted = selling.quote(lines=[of_work(line={"policy": builders.policy("fixed_price", "0")})])

        (told,) = (each.text for each in quoted.remarks.warnings if each.code == "zero-price")
        assert "The price per h is 0." in told

    @pytest.mark.parametrize(
        ("work", "told"),
        [
            ({"band_shares": {}}, "lines/1/item/work/band_shares: is required: the tariff has the bands day, night"),
            ({"machine": "lathe"}, "lines/1/item/work/machine: there is no machine 'lathe'; register it first"),
            (
                {"labour": [{"labour_grade": "chief", "attendance": "1"}]},
                "lines/1/item/work/labour/0/labour_grade: there is no labour grade 'chief'; register it first",
            ),
            ({"tool": "die"}, "lines/1/item/work/tool: there is no tool 'die'; register it first"),
        ],
    )
    def test_that_does_not_fit_the_workshop_is_named(self, selling: Owner, work: dict[str, Any], told: str) -> None:
        assert refused(selling, of_flakes(), of_work(**work)) == [told]


class TestByWeight:
    def test_is_quoted_accepted_and_computed_again(self, selling: Owner) -> None:
        issued = selling.issued(lines=[of_flakes(quantity_breaks=["0.125"])], **TODAY)
        with pytest.raises(InvalidValuesError, match=r"quantities/0: was not quoted; the line offers 12\.5, 0\.125 kg"):
            quotation_life.accept(selling.workspace, issued.id, AcceptanceRequest(quantities=(D(12),)))

        accepted = quotation_life.accept(selling.workspace, issued.id, AcceptanceRequest(quantities=(D("0.125"),)))

        assert accepted.acceptance is not None
        assert accepted.acceptance.quantities == (D("0.125"),)
        assert reading.recompute(selling.workspace, accepted.id).agrees

    def test_in_a_quantity_that_is_none_of_its_unit_is_refused_where_it_stands(self, selling: Owner) -> None:
        sheet = {**builders.quotation()["lines"][0], "quantity": "2.5", "quantity_breaks": ["3", "4.5"]}

        assert refused(selling, of_flakes(), sheet) == [
            "lines/1/quantity: must be whole: pieces are not divided",
            "lines/1/quantity_breaks/1: must be whole: pieces are not divided",
        ]

    def test_of_hours_is_not_shipped_with_the_rest(self, selling: Owner) -> None:
        builders.register_shipping(selling)
        selling.put("products/hours", builders.product(unit="hour", bill_of_materials=[]))
        shipping = {"service": "post", "zone": "home", "tax": "vat"}
        hours, brick = of_flakes(product="hours"), of_flakes("2", product="brick")

        shipped = selling.quote(lines=[hours, brick], shipping=shipping).figures.shipping

        assert shipped is not None
        assert {each.product for each in shipped.parcels} == {"brick"}
        with pytest.raises(InvalidValuesError, match="items and hours are not shipped"):
            selling.quote(lines=[hours], shipping=shipping)

    def test_is_shipped_in_parts_of_its_unit(self, selling: Owner) -> None:
        builders.register_shipping(selling)
        bag = {"length_mm": "200", "width_mm": "140", "height_mm": "90"}
        selling.put("products/flakes", builders.product(name="Flakes", unit="kg", operations=[], **bag))

        quoted = selling.quote(lines=[of_flakes("2.5")], shipping={"service": "post", "zone": "home", "tax": "vat"})

        assert quoted.figures.shipping is not None
        assert sum((each.quantity or 0) * each.count for each in quoted.figures.shipping.parcels) == D("2.5")
        assert reading.recompute(selling.workspace, quoted.id).agrees


class TestSupplies:
    def test_of_more_than_is_needed_are_refused_with_what_is_needed(self, selling: Owner) -> None:
        """A kilogram of flakes takes 9.6 kg."""
        line = of_flakes(quantity="100", quantity_breaks=["50"], supplied_quantities={"hdpe": "600", "gold": "1"})

        remedy = "name it in supplied_materials if the customer supplies all of it"
        of_break = "is more than the 480 kg that the quantity break of 50 kg takes; leave that break out"
        assert refused(selling, line) == [
            f"lines/0/supplied_quantities/hdpe: {of_break}, or {remedy}",
            "lines/0/supplied_quantities/gold: the product takes no material 'gold'",
        ]
        assert refused(selling, of_flakes(quantity="50", supplied_quantities={"hdpe": "600"})) == [
            f"lines/0/supplied_quantities/hdpe: is more than the 480 kg that 50 kg take; {remedy}"
        ]

    def test_in_part_are_stored_with_the_rest_to_buy(self, selling: Owner) -> None:
        quoted = selling.quote(lines=[of_flakes(quantity="100", supplied_quantities={"hdpe": "300"})])

        (line,) = quoted.figures.lines
        assert [(each.quantity, each.needed) for each in line.supplied] == [(300, 960)]
        assert line.quoted.kept.full_cost == euros("531.00")  # (960 − 300) × 0.80 + 3
        assert reading.recompute(selling.workspace, quoted.id).agrees


HINGES = {
    "item": {"name": "Hinge", "purchase": {"price": builders.money("1.25", "USD")}},
    "quantity": 40,
    "tax": "vat",
    "policy": NOTHING,
}


class TestPurchases:
    @pytest.mark.parametrize(
        ("purchase", "changes", "path"),
        [
            ({"price": builders.money("1", "USD")}, {}, ("lines", 0, "item", "purchase", "price")),
            (
                {"price": builders.money("1"), "delivery_cost": builders.money("1", "USD")},
                {},
                ("lines", 0, "item", "purchase", "delivery_cost"),
            ),
            ({"price": builders.money("1")}, {"currency": "USD"}, ("currency",)),
        ],
    )
    def test_that_cannot_be_converted_are_named(
        self, selling: Owner, purchase: dict[str, Any], changes: dict[str, Any], path: tuple[str | int, ...]
    ) -> None:
        with pytest.raises(MissingExchangeRateError) as error:
            selling.quote(lines=[{**HINGES, "item": {"name": "Hinge", "purchase": purchase}}], **changes)

        assert error.value.path == path

    def test_alone_bear_what_an_order_bears_once_and_are_computed_again(self, selling: Owner) -> None:
        selling.put_exchange_rates("2026-11-20", USD="1.25")

        quoted = selling.quote(lines=[HINGES])

        assert quoted.figures.kept.full_cost == euros("43.00")  # 40 × 1.25 ÷ 1.25 + 3
        assert [set(each.rates) for each in quoted.remarks.exchange_rates] == [{"USD"}]
        assert quoted.remarks.lead_time is None
        selling.put_exchange_rates("2026-11-20", USD="1.50")
        assert reading.recompute(selling.workspace, quoted.id).agrees

    def test_in_a_currency_that_had_ended_are_refused(self, selling: Owner) -> None:
        purchase = {"price": builders.money("1", "DEM")}

        (told,) = refused(selling, {**HINGES, "item": {"name": "Hinge", "purchase": purchase}})

        assert told.startswith("lines/0/item/purchase/price/currency: DEM is no longer in use")
