"""Products made of products: a loop is refused and shown, depth is limited, and repeated parts stay fast."""

import threading
import time
from collections.abc import Callable, Mapping
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest

from tests.api.outside import at, pointers, refused
from tests.conftest import Client
from tests.support.builders import (
    machine,
    material,
    material_rate,
    operation,
    policy,
    product,
    quotation,
    tariff,
    tariff_rate,
)
from tests.support.builders import money as of
from tests.support.furnishing import furnishes

pytestmark = pytest.mark.every_engine

QUANTITY_ONE = "cost-sheet?quantity=1&as_of=2026-11-25"


def of_material(**changes: Any) -> dict[str, Any]:
    return {"name": "Leaf", "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "1"}], **changes}


def of_products(*codes: str) -> dict[str, Any]:
    return {"name": "Assembly", "bill_of_materials": [{"product": code, "quantity_per_piece": "1"} for code in codes]}


@pytest.fixture
@furnishes
def maker(client: Client) -> Client:
    """A workshop with only a material, which costs 0.80 EUR a kilogram."""
    client.register("materials/hdpe", material(), **{"2026-01-01": material_rate("0.80")})
    return client


def in_good_order(client: Client, products: Mapping[str, dict[str, Any]]) -> None:
    for code, body in products.items():
        client.register(f"products/{code}", body)


class TestLoops:
    def test_a_product_cannot_contain_itself(self, maker: Client) -> None:
        response = refused(maker, "PUT", "products/A", of_products("A"), status=422)

        assert response.json["loop"] == ["A", "A"]
        assert pointers(response) == ["/bill_of_materials/0/product"]

    def test_a_registered_product_cannot_be_changed_to_contain_itself(self, maker: Client) -> None:
        maker.register("products/A", of_material())

        response = refused(maker, "PUT", "products/A", of_products("A"), status=422)

        assert response.json["loop"] == ["A", "A"]

    def test_a_loop_closed_by_the_third_request_is_shown(self, maker: Client) -> None:
        in_good_order(maker, {"C": of_material(), "B": of_products("C"), "A": of_products("B")})

        response = refused(maker, "PUT", "products/C", of_products("A"), status=422)

        assert response.json["loop"] == ["C", "A", "B", "C"]
        assert "C → A → B → C" in response.json["detail"]

    def test_the_line_that_closes_the_loop_is_named(self, maker: Client) -> None:
        in_good_order(maker, {"other": of_material(), "C": of_material(), "B": of_products("C")})

        response = refused(maker, "PUT", "products/C", of_products("other", "other", "B"), status=422)

        assert pointers(response) == ["/bill_of_materials/2/product"]

    def test_a_diamond_is_not_a_loop(self, maker: Client) -> None:
        in_good_order(
            maker, {"D": of_material(), "B": of_products("D"), "C": of_products("D", "D"), "A": of_products("B", "C")}
        )

        sheet = maker.get(f"products/A/{QUANTITY_ONE}").json

        assert sheet["lines"][0]["quantity"] == "3"
        assert sheet["subtotals"]["full_cost"]["per_batch"]["amount"] == "2.40"

    def test_a_loop_through_a_retired_product_cannot_be_closed_by_restoring_it(self, maker: Client) -> None:
        in_good_order(maker, {"B": of_material(), "A": of_products("B")})
        assert at(maker, "/v1/products/A", "DELETE").status_code == 204
        # A is retired, so B may not use it; once A is back and uses B, that would be a loop.
        assert pointers(refused(maker, "PUT", "products/B", of_products("A"), status=422)) == [
            "/bill_of_materials/0/product"
        ]
        maker.register("products/A", of_products("B"))

        assert refused(maker, "PUT", "products/B", of_products("A"), status=422).json["loop"] == ["B", "A", "B"]

    def test_of_two_concurrent_requests_that_close_a_loop_together_one_is_refused(self, maker: Client) -> None:
        for turn in range(5):
            one, other = f"one{turn}", f"other{turn}"
            in_good_order(maker, {one: of_material(), other: of_material()})

            statuses = at_once(
                lambda one=one, other=other: maker.put(f"products/{one}", of_products(other)),
                lambda one=one, other=other: maker.put(f"products/{other}", of_products(one)),
            )

            assert sorted(statuses) == [200, 422]
            for code in (one, other):
                assert maker.get(f"products/{code}/{QUANTITY_ONE}").status_code == 200

    def test_of_concurrent_retiring_and_using_exactly_one_succeeds(self, maker: Client) -> None:
        for turn in range(5):
            maker.register(f"materials/m{turn}", material())
            body = {"name": "Leaf", "bill_of_materials": [{"material": f"m{turn}", "quantity_per_piece": "1"}]}

            statuses = at_once(
                lambda turn=turn: at(maker, f"/v1/materials/m{turn}", "DELETE"),
                lambda turn=turn, body=body: maker.put(f"products/p{turn}", body),
            )

            assert statuses in ([204, 422], [409, 201])

    def test_of_several_concurrent_creations_only_one_succeeds(self, maker: Client) -> None:
        only_new = {"If-None-Match": "*"}

        calls = [lambda: maker.put("materials/new", material(), headers=only_new)] * 4
        statuses = at_once(*calls)

        assert sorted(statuses) == [201, 412, 412, 412]


def at_once(*calls: Callable[[], Any]) -> list[int]:
    """The statuses of requests that begin at the same time."""
    barrier = threading.Barrier(len(calls))
    statuses = [0] * len(calls)

    def run(place: int, call: Callable[[], Any]) -> None:
        barrier.wait()
        statuses[place] = call().status_code

    threads = [threading.Thread(target=run, args=each) for each in enumerate(calls)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return statuses


class TestDepth:
    LIMIT = 50

    def chain(self, client: Client, length: int, prefix: str = "level") -> list[str]:
        """Register products, each made of the one before; returns their codes."""
        codes = [f"{prefix}{number:03}" for number in range(length)]
        client.register(f"products/{codes[0]}", of_material())
        for below, code in pairwise(codes):
            client.register(f"products/{code}", of_products(below))
        return codes

    def test_a_chain_of_a_thousand_is_refused_at_a_stated_limit(self, maker: Client) -> None:
        codes = [f"level{number:03}" for number in range(1000)]
        maker.register(f"products/{codes[0]}", of_material())

        responses = []
        for below, code in pairwise(codes):
            responses.append(maker.put(f"products/{code}", of_products(below)))
            if responses[-1].status_code != 201:
                break

        refusal = responses[-1]
        assert refusal.status_code == 422
        assert refusal.json["limit"] == self.LIMIT
        assert pointers(refusal) == ["/bill_of_materials/0/product"]
        assert len(responses) == self.LIMIT
        deepest = maker.get(f"products/{codes[self.LIMIT - 1]}/{QUANTITY_ONE}")
        assert deepest.json["subtotals"]["full_cost"]["per_batch"]["amount"] == "0.80"

    def test_a_change_of_a_part_cannot_push_products_that_contain_it_over_the_limit(self, maker: Client) -> None:
        above = self.chain(maker, 30, "above")
        below = self.chain(maker, 30, "below")

        response = refused(maker, "PUT", f"products/{above[0]}", of_products(below[-1]), status=422)

        assert response.json["limit"] == self.LIMIT
        assert maker.get(f"products/{above[-1]}/{QUANTITY_ONE}").status_code == 200

    def test_a_chain_built_from_its_top_has_the_same_limit(self, maker: Client) -> None:
        codes = [f"level{number:03}" for number in range(self.LIMIT + 10)]
        for code in codes:
            maker.register(f"products/{code}", of_material())

        pairs = list(pairwise(codes))[::-1]
        statuses = [maker.put(f"products/{code}", of_products(below)).status_code for below, code in pairs]

        assert statuses[: self.LIMIT - 1] == [200] * (self.LIMIT - 1)
        assert statuses[self.LIMIT - 1] == 422
        assert all(maker.get(f"products/{code}/{QUANTITY_ONE}").status_code == 200 for code in codes[::7])

    def test_thirty_levels_each_with_the_same_part_twice_are_costed_quickly_and_exactly(self, maker: Client) -> None:
        """2^30 leaves of one kilogram and 0.80 EUR each cost 858,993,459.20 EUR."""
        maker.register("products/level00", of_material())
        for level in range(1, 31):
            below = f"level{level - 1:02}"
            maker.register(f"products/level{level:02}", of_products(below, below))
        begun = time.thread_time()

        sheet = maker.get(f"products/level30/{QUANTITY_ONE}")

        assert time.thread_time() - begun < 10  # 2^30 leaves one by one would take hours
        assert sheet.json["lines"][0]["quantity"] == str(2**30)
        assert sheet.json["subtotals"]["full_cost"]["per_batch"]["amount"] == "858993459.20"

    def test_a_thousand_lines_of_the_same_material_are_one_line_of_the_cost_sheet(self, maker: Client) -> None:
        line = {"material": "hdpe", "quantity_per_piece": "0.125"}
        maker.register("products/many", {"name": "Many", "bill_of_materials": [line] * 1000})

        sheet = maker.get(f"products/many/{QUANTITY_ONE}").json

        assert [each["quantity"] for each in sheet["lines"]] == ["125"]
        assert sheet["subtotals"]["full_cost"]["per_batch"]["amount"] == "100.00"


class TestLaterChangesOfParts:
    def test_a_product_cannot_be_costed_with_a_tariff_of_other_bands(self, maker: Client) -> None:
        """Band shares are checked against the machine's tariff; with another tariff they would be meaningless."""
        maker.register("tariffs/grid", tariff(), **{"2026-01-01": tariff_rate()})
        flat = {"price_per_kwh": {"all": of("0.25")}}
        maker.register("tariffs/flat", tariff(bands=["all"]), **{"2026-01-01": flat})
        maker.register("machines/press", machine())
        maker.register("products/sheet", product(operations=[operation(labour=[])]))

        changed = maker.put("machines/press", machine(tariff="flat"))
        sheet = maker.get(f"products/sheet/{QUANTITY_ONE}")

        assert changed.status_code in (200, 409, 422)
        if changed.status_code == 200:
            assert sheet.status_code == 409
            assert "sheet" in sheet.json["detail"]

    def test_a_quotation_does_not_depend_on_later_changes(self, maker: Client) -> None:
        maker.register("taxes/vat", {"name": "VAT"}, **{"2026-01-01": {"rate_share": "0.21"}})
        maker.register("products/leaf", of_material())
        line = {"product": "leaf", "quantity": 3, "tax": "vat", "policy": policy()}
        quoted = maker.post("quotations", quotation(quoted_on="2026-11-25", lines=[line]))
        address = quoted.headers["Location"]
        maker.put("materials/hdpe/rates/2026-01-01", material_rate("8.00"))
        for thing in ("products/leaf", "taxes/vat", "materials/hdpe"):
            assert at(maker, f"/v1/{thing}", "DELETE").status_code == 204

        again = maker.get(f"{address}/recomputation").json

        assert again["agrees"] is True
        assert maker.get(address).json == quoted.json
        unit_cost = Decimal(again["recomputed"]["lines"][0]["quoted"]["unit_full_cost"]["amount"])
        assert unit_cost == Decimal("0.80")
