"""Products, materials, machines and the like: which are valid and which are refused."""

from decimal import Decimal
from typing import Any

import pytest

from service.domain.making.overheads import Overhead
from service.domain.making.products import Attendance, BillLine, Operation, Product, inconsistencies
from service.domain.making.resources import Machine, Material, Tariff, band_share_problem
from service.domain.register import COLLECTIONS
from service.domain.selling.taxes import Tax
from service.domain.values.errors import InvalidValuesError
from service.domain.values.references import Thing, references_in
from service.encoding import decoded
from tests.domain.examples import a_catalogue, a_machine, a_product, a_tariff, an_operation, bench_work
from tests.support import builders

TWICE = [{"labour_grade": "a", "attendance": "1"}] * 2


class TestInvalidValues:
    @pytest.mark.parametrize(
        ("kind", "body", "message"),
        [
            (BillLine, {"quantity_per_piece": "1"}, "material: give either a material or a product"),
            (
                Attendance,
                {"labour_grade": "a"},
                (
                    "attendance: is required: 1 is one person all the time that it runs; "
                    "or give setup_crew for the setup alone"
                ),
            ),
            (
                BillLine,
                {"material": "a", "product": "b", "quantity_per_piece": "1"},
                "material: give either a material or a product",
            ),
            (
                BillLine,
                {"product": "b", "quantity_per_piece": "1", "reclaim_share": "0.5"},
                "reclaimed_as: is required: the material that lost parts are then, with its reclaim value and disposal",
            ),
            (BillLine, {"material": "a"}, "quantity_per_piece: must be more than 0, or quantity_per_batch must be"),
            (
                BillLine,
                {"material": "a", "quantity_per_piece": "1", "process_loss_share": "1"},
                "process_loss_share: must be less than 1",
            ),
            (Operation, {"name": "x", "labour": TWICE}, "labour: names a labour grade twice; add its people up"),
            (Operation, {"name": "x", "warm_up_minutes": "5"}, "machine: is required where warm_up_minutes"),
            (Operation, {"name": "x", "load_factor": "0.5"}, "machine: is required where warm_up_minutes"),
            (Operation, {"name": "x", "band_shares": {"day": "1"}}, "machine: is required where warm_up_minutes"),
            (Operation, {"name": "x", "yield_share": "0"}, "yield_share: must be more than 0"),
            (Operation, {"name": "x", "pieces_per_cycle": 0}, "pieces_per_cycle: must be more than 0"),
            (
                BillLine,
                {"material": "a", "quantity_per_piece": "1", "reclaim_share": "0.7", "disposal_share": "0.4"},
                "disposal_share: reclaimed and disposed of together are more than what is lost; at most 0.3 is left",
            ),
            (
                BillLine,
                {"material": "a", "quantity_per_piece": "1", "reclaimed_as": "b"},
                "reclaimed_as: has no meaning without a reclaim_share",
            ),
            (Operation, {"name": "x", "units_per_hour": "0"}, "units_per_hour: must be more than 0"),
            (
                Operation,
                {"name": "x", "units_per_hour": "5", "cycle_minutes": "1"},
                "units_per_hour: time it either by units_per_hour or by cycle_minutes",
            ),
            (
                Operation,
                {"name": "x", "units_per_hour": "5", "pieces_per_cycle": 2},
                "pieces_per_cycle: has no meaning with units_per_hour, unless a tool wears by the cycle; leave it out",
            ),
            (
                Product,
                {"name": "x", "operations": [{"name": "a", "pieces_per_cycle": "2.5"}]},
                "operations/0/pieces_per_cycle: must be whole: pieces are not divided",
            ),
            (Product, builders.product(unit="kg", mass_kg="2"), "mass_kg: a kilogram weighs 1 kg; leave it out"),
            (Product, builders.product(unit="hour", mass_kg="2"), "mass_kg: an hour has no mass; leave it out"),
            (Product, builders.product(unit="hour", width_mm="2"), "width_mm: an hour has no width; leave it out"),
            (
                Overhead,
                {"name": "x", "base": "piece", "machines": ["press"]},
                "machines: needs a base that a machine has: machine_hour, labour_hour, setup; or leave them out",
            ),
            (
                Overhead,
                {"name": "x", "base": "direct_labour_value", "products": ["brick"]},
                "products: needs a base that is a quantity: machine_hour, labour_hour, piece, order, setup; or leave",
            ),
            (Product, {"name": "x"}, "bill_of_materials: a product needs a material or an operation"),
            (
                Product,
                builders.product(declared_uses=["toy", "outdoor", "toy"]),
                "declared_uses: must be different from each other",
            ),
            (
                Product,
                {"name": "x", "operations": [{"name": "a"}, {"name": "a"}]},
                "operations: two operations have the same name",
            ),
            (
                Product,
                builders.product(
                    bill_of_materials=[{"material": "m", "quantity_per_piece": "1", "operation": "sanding"}]
                ),
                "bill_of_materials/0/operation: the product has no operation 'sanding'",
            ),
            (
                Material,
                {"name": "x", "unit": "kg", "mass_kg_per_unit": "2"},
                "mass_kg_per_unit: a kilogram weighs 1 kg; leave it out",
            ),
            (Machine, {"name": "x", "idle_power_kw": "1"}, "tariff: a machine that draws power needs the tariff"),
            (Tariff, {"name": "x", "bands": ["a", "a"]}, "bands: must be different from each other"),
            (Tariff, {"name": "x", "bands": ["standing"]}, "bands: 'standing' is kept for the standing charges"),
            (Tax, {"name": "x", "category": "AE"}, "exemption_reason: is required for category AE"),
            (
                Machine,
                builders.machine(working_weekdays=["monday", "friday", "monday"]),
                "working_weekdays: must be different from each other",
            ),
        ],
    )
    def test_are_refused(self, kind: type[Any], body: dict[str, Any], message: str) -> None:
        with pytest.raises(InvalidValuesError) as error:
            decoded(body, kind)

        assert message in str(error.value)

    @pytest.mark.parametrize("category", ["S", "Z", "L", "M"])
    def test_do_not_include_a_tax_that_needs_no_reason(self, category: str) -> None:
        assert decoded({"name": "x", "category": category}, Tax).exemption_reason == ""


class TestMass:
    @pytest.mark.parametrize(
        ("body", "mass"), [({"unit": "kg"}, 1), ({"unit": "piece", "mass_kg_per_unit": "0.2"}, Decimal("0.2"))]
    )
    def test_of_a_unit_is_1_for_a_kilogram_and_as_declared_for_any_other(
        self, body: dict[str, str], mass: Decimal
    ) -> None:
        assert decoded({"name": "x", **body}, Material).mass_kg == mass
        assert decoded({"name": "x", "unit": "m"}, Material).mass_kg is None


class TestReferences:
    def test_of_a_product_are_everything_it_names_with_the_place(self) -> None:
        product = a_product(
            bill_of_materials=[
                decoded({"material": "hdpe", "quantity_per_piece": "1"}, BillLine),
                decoded({"product": "frame", "quantity_per_piece": "1"}, BillLine),
            ],
            operations=[an_operation(tool="mould"), bench_work()],
        )

        assert list(references_in(product)) == [
            (("bill_of_materials", 0, "material"), Thing("materials", "hdpe")),
            (("bill_of_materials", 1, "product"), Thing("products", "frame")),
            (("operations", 0, "machine"), Thing("machines", "press")),
            (("operations", 0, "tool"), Thing("tools", "mould")),
            (("operations", 0, "labour", 0, "labour_grade"), Thing("labour-grades", "operator")),
        ]
        assert product.sub_assemblies() == ("frame",)

    def test_of_a_machine_are_its_tariff_and_other_things_have_none(self) -> None:
        assert list(references_in(a_machine())) == [(("tariff",), Thing("tariffs", "grid"))]
        alone = [
            ("materials", {"name": "x", "unit": "kg"}),
            ("machines", {"name": "x"}),
            ("labour-grades", {"name": "x"}),
            ("tariffs", {"name": "x", "bands": ["a"]}),
            ("overheads", {"name": "x", "base": "piece"}),
            ("tools", {"name": "x"}),
            ("taxes", {"name": "x"}),
            ("shipping-services", {"name": "x"}),
        ]
        for collection, body in alone:
            assert list(references_in(decoded(body, COLLECTIONS[collection].facts))) == []


class TestBandShares:
    @pytest.mark.parametrize(
        ("bands", "shares", "problem"),
        [
            (["flat"], {}, None),
            (["day", "night"], {"day": "1"}, None),
            (["day", "night"], {"day": "0.7", "night": "0.3"}, None),
            (["day", "night"], {}, "is required: the tariff has the bands day, night"),
            (["day", "night"], {"noon": "1"}, "the tariff has no band noon; it has day, night"),
            (["day", "night"], {"day": "0.7", "night": "0.2"}, "must add up to 1, not 0.9"),
            (["day", "night"], {"day": "0.5", "night": "0.5000000000000000000000000001"}, "must add up to 1, not 1.0"),
        ],
    )
    def test_name_bands_of_the_tariff_and_add_up_to_exactly_1(
        self, bands: list[str], shares: dict[str, str], problem: str | None
    ) -> None:
        found = band_share_problem(a_tariff(bands=bands), {band: Decimal(share) for band, share in shares.items()})

        if problem is None:
            assert found is None
        else:
            assert found is not None
            assert found.startswith(problem)

    def test_are_not_checked_for_an_operation_at_a_bench(self) -> None:
        assert list(inconsistencies(a_product(operations=[bench_work()]), a_catalogue())) == []
