"""What a quotation may come to cost, by the records of its products: at its own rates, and never for the customer."""

from decimal import Decimal
from typing import Any

import pytest

from service.workflows.quoting import quotations, risk
from service.workflows.quoting.risk import LineRisk, QuotationRisk, risk_of_preview, risk_of_quotation
from tests.documents.quoting.test_quotation_papers import in_all_forms
from tests.domain.examples import a_request, money
from tests.support import builders
from tests.support.furnishing import furnishes
from tests.workflows.owner import Owner

BRICKS = {"product": "brick", "quantity": 500, "tax": "vat", "policy": builders.policy()}
SHEETS = {"product": "sheet", "quantity": 20, "tax": "vat", "policy": builders.policy()}
FITTING = {"item": {"name": "Fitting", "cost": "30"}, "quantity": 2, "tax": "vat", "policy": builders.policy()}


@pytest.fixture
@furnishes
def bricks(owner: Owner) -> Owner:
    """The furnished workshop, which also makes bricks from a material bought in dollars, and has recorded batches."""
    builders.register_workshop(owner)
    owner.register(
        "materials/pp", builders.material(polymer="PP"), **{"2026-01-01": {"price": builders.money("1", "USD")}}
    )
    owner.put_exchange_rates("2026-11-20", USD="1.25")
    owner.put(
        "products/brick", {"name": "Brick", "bill_of_materials": [{"material": "pp", "quantity_per_piece": "1.5"}]}
    )
    for code, started in (("S-1", "20"), ("S-2", "25"), ("S-3", "19")):
        owner.record(code, units_started=started, materials=[])
    for code, issued in (("B-1", "16"), ("B-2", "20")):
        owner.record(code, product="brick", good_units=10, materials=[{"material": "pp", "issued": issued}])
    return owner


def of_request(owner: Owner, **changes: Any) -> QuotationRisk:
    return risk_of_preview(owner.workspace, a_request(**changes))


def spread(found: LineRisk | QuotationRisk) -> tuple[str, ...]:
    """The lowest, the expected and the highest cost."""
    costs = (getattr(each, "full_cost", each) for each in (found.lowest, found.expected, found.highest))
    return tuple(f"{cost.amount:f}" for cost in costs if cost is not None)


def at_a_price(price: str) -> dict[str, Any]:
    return {**SHEETS, "policy": builders.policy("fixed_price", price)}


class TestTheRisk:
    def test_of_one_record_that_went_as_estimated_is_the_cost_sheet(self, furnished: Owner) -> None:
        """19 good sheets of 20 begun are the yield of 0.95 that the product states."""
        furnished.record(units_started="20", materials=[])

        found = of_request(furnished)

        sheet = furnished.cost(quantity=20).subtotals.full_cost.per_batch
        (line,) = found.lines
        assert line.lowest is not None
        assert line.lowest.full_cost == line.expected == line.quoted == sheet
        assert (found.lowest, found.expected, found.highest) == (sheet, sheet, sheet)
        assert (line.batches, line.losing, found.ways, found.losing) == (1, 0, 1, 0)
        told = f"As past batches went, all of it costs {sheet.amount} EUR; at 478.00 EUR that loses no money"
        assert found.text == f"{told}. So few batches do not show how far it can go"

    def test_tells_how_many_lose_at_the_price(self, bricks: Owner) -> None:
        """Sheets cost 295.44, 310.65 or 386.69: 20 of them bring 290, 300 or 386.80."""
        found = [of_request(bricks, lines=[at_a_price(price)]) for price in ("14.50", "15.00", "19.34")]

        assert [each.lines[0].losing for each in found] == [3, 2, 0]
        assert [each.losing for each in found] == [3, 2, 0]
        assert "; at 300.00 EUR, 2 of 3 batches like those would lose money" in found[1].lines[0].text
        assert "; at 300.00 EUR, 2 of 3 batches like those would lose money" in found[1].text

    def test_of_several_lines_adds_them_up_and_counts_what_nothing_is_recorded_of_as_quoted(
        self, bricks: Owner
    ) -> None:
        found = of_request(bricks, lines=[at_a_price("8"), BRICKS, FITTING])
        twice = of_request(bricks, lines=[SHEETS, SHEETS])

        assert (twice.ways, spread(twice)) == (9, ("590.88", "661.86", "773.38"))
        assert [spread(line) for line in found.lines] == [
            ("295.44", "330.93", "386.69"),
            ("640.00", "720.00", "800.00"),
            (),
        ]
        assert spread(found) == ("995.44", "1110.93", "1246.69")
        # 160 + 925 + 92.32 is less than 386.69 + 800 + 60, and than no other of the six ways
        assert (found.asked.amount, found.ways, found.losing) == (Decimal("1177.32"), 6, 1)
        assert "; at 1177.32 EUR, 1 of 6 ways in which such batches can come together would lose money" in found.text
        assert found.lines[2].text == "Only products have records"
        few = "So few batches do not show how far it can go"
        assert found.text.endswith(f"would lose money. {few}. What no record tells the cost of counts as quoted")

    def test_is_told_in_the_currency_of_the_quotation(self, bricks: Owner) -> None:
        found = of_request(bricks, lines=[BRICKS], currency="USD")

        assert (spread(found), found.quoted) == (("800.00", "900.00", "1000.00"), money("750.00", "USD"))

    def test_leaves_out_what_the_line_does_not_bear(self, bricks: Owner) -> None:
        """Of 500 x 1.5 = 750 kg, 800 or 1000 as past batches went, the customer brings 700."""
        found = of_request(bricks, lines=[{**BRICKS, "supplied_quantities": {"pp": "700"}}])

        assert (spread(found), found.quoted.amount) == (("80.00", "160.00", "240.00"), Decimal("40.00"))

    def test_is_not_known_without_records(self, furnished: Owner) -> None:
        found = of_request(furnished)

        assert (found.lines[0].batches, found.lowest, found.ways, found.losing_share) == (0, None, None, None)
        assert found.text == found.lines[0].text == "No recorded batch says what this may cost"

    def test_takes_the_latest_records_alone(self, bricks: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
        bricks.record("S-0", made_on="2026-11-26", units_started="38", materials=[])
        monkeypatch.setattr(risk, "MAX_RECORDS", 1)

        (line,) = of_request(bricks).lines

        assert line.lowest is not None
        assert (line.batches, line.lowest.code) == (1, "S-0")
        assert line.text.endswith("Only the latest 1 records count")


class TestOfAStoredQuotation:
    def test_is_of_what_was_accepted_at_the_rates_of_its_day(self, bricks: Owner) -> None:
        made = bricks.accepted({"quantities": [50]}, lines=[{**SHEETS, "quantity_breaks": [50]}])
        fifty = bricks.cost(quantity=50).subtotals.full_cost.per_batch
        bricks.put_rate("materials/hdpe", "2026-11-25", builders.material_rate("9"))

        (line,) = risk_of_quotation(bricks.workspace, made.id).lines

        assert (line.quantity, line.quoted) == (50, fifty)
        assert "quoted were" not in line.text

    def test_tells_what_it_costs_as_the_product_is_today(self, bricks: Owner) -> None:
        """A product made since of 1 kg of something bought in dollars, at the rate of the quotation's day."""
        made = bricks.quote(lines=[SHEETS, {**BRICKS, "supplied_materials": ["pp"]}])
        bricks.register("materials/pe", builders.material(), **{"2026-01-01": {"price": builders.money("2.50", "USD")}})
        other = [{"material": "pe", "quantity_per_piece": "1"}]
        bricks.put("products/brick", {"name": "Brick", "bill_of_materials": other})
        bricks.retire("products/sheet")

        sheets, changed = risk_of_quotation(bricks.workspace, made.id).lines

        assert changed.text == (
            "No recorded batch says what this may cost. As the product is today it costs 1000.00 EUR, quoted were 0.00"
        )
        assert sheets.text.startswith("The product is not registered any more")
        assert (sheets.batches, changed.batches) == (0, 0)

    def test_is_on_no_paper_of_the_customer(self, bricks: Owner) -> None:
        made = bricks.quote()
        found = risk_of_quotation(bricks.workspace, made.id)
        (line,) = found.lines

        forms = in_all_forms(quotations.quotation_paper(bricks.workspace, made))

        assert all("20" in text for text in forms.values())
        for secret in (*spread(line), f"{line.quoted.amount:f}", "past batch", "lose money", "record"):
            assert not [form for form, text in forms.items() if secret in text], secret
