"""After any sequence of registrations, rates, quotations and repricings, the workshop equals a small model of it."""

from dataclasses import dataclass, field
from typing import Any

import flask
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    consumes,
    initialize,
    invariant,
    multiple,
    rule,
    run_state_machine_as_test,
)

from tests.api.outside import stored
from tests.conftest import Client, make_client
from tests.support import builders
from tests.support.contract import Contract
from tests.support.profiles import share

pytestmark = pytest.mark.every_engine

STEPS = 25
CODES = st.sampled_from(["pp", "pet", "hdpe"])
DAYS = st.sampled_from(["2026-01-01", "2026-06-01", "2026-11-25", "2026-11-26"])
AMOUNTS = st.sampled_from(["0.80", "0.95", "1.1", "12.345678"])
QUOTED_ON = "2026-11-25"


@dataclass
class Model:
    """The expected state of the workshop."""

    materials: dict[str, Any] = field(default_factory=dict)
    rates: dict[tuple[str, str], str] = field(default_factory=dict)
    quotations: dict[str, str] = field(default_factory=dict)
    numbers: list[str] = field(default_factory=list)

    def has_rate(self) -> bool:
        """Whether the product's material has a rate on the day of the quotations."""
        return any(code == "hdpe" and day <= QUOTED_ON for code, day in self.rates)


class Workshop(RuleBasedStateMachine):
    """A workshop and the actions to try on it in random order."""

    drafts = Bundle("drafts")
    issued = Bundle("issued")
    app: flask.Flask
    contract: Contract

    @initialize()
    def found(self) -> None:
        self.client: Client = make_client(self.app, self.contract)
        builders.register_workshop(self.client)
        self.client.register("listings/sheet-online", builders.listing())
        self.model = Model(
            materials={"hdpe": self.client.get("materials/hdpe").json}, rates={("hdpe", "2026-01-01"): "0.85"}
        )
        self.model.rates = {
            ("hdpe", each["valid_from"]): each["price"]["amount"]
            for each in self.client.get("materials/hdpe/rates").json["items"]
        }
        self.count = 0

    def refused(self, response: Any, *statuses: int) -> None:
        assert response.status_code in statuses, response.text

    @rule(code=CODES, note=st.sampled_from(["", "black", "white"]))
    def register(self, code: str, note: str) -> None:
        known = code in self.model.materials
        facts = builders.material(note=note)

        response = self.client.put(f"materials/{code}", facts)

        assert response.status_code == (200 if known else 201), response.text
        self.model.materials[code] = response.json
        assert response.json["note"] == note

    @rule(code=CODES)
    def retire(self, code: str) -> None:
        response = self.client.delete(f"materials/{code}")

        if code == "hdpe":
            self.refused(response, 409)  # the product contains it
        elif code in self.model.materials:
            assert response.status_code == 204
            del self.model.materials[code]
        else:
            self.refused(response, 404)

    @rule(code=CODES, day=DAYS, amount=AMOUNTS)
    def put_rate(self, code: str, day: str, amount: str) -> None:
        known = (code, day) in self.model.rates

        response = self.client.put(f"materials/{code}/rates/{day}", builders.material_rate(amount))

        if code in self.model.materials:
            assert response.status_code == (200 if known else 201), response.text
            self.model.rates[code, day] = amount
        else:
            self.refused(response, 404)

    @rule(code=CODES, day=DAYS)
    def withdraw_rate(self, code: str, day: str) -> None:
        response = self.client.delete(f"materials/{code}/rates/{day}")

        if code in self.model.materials and (code, day) in self.model.rates:
            assert response.status_code == 204, response.text
            del self.model.rates[code, day]
        else:
            self.refused(response, 404)

    @rule(target=drafts, quantity=st.sampled_from([1, 20, 333]))
    def quote(self, quantity: int) -> Any:
        self.count += 1
        line = {**builders.quotation()["lines"][0], "quantity": quantity}
        sent = {"Idempotency-Key": f'"{self.count}"'}
        body = builders.quotation(quoted_on=QUOTED_ON, valid_until="2999-01-01", lines=[line])

        first, second = (self.client.post("quotations", body, headers=sent) for _ in range(2))

        if not self.model.has_rate():
            self.refused(first, 422)
            self.refused(second, 422)
            return multiple()
        assert first.status_code == 201, first.text
        assert first.data == second.data
        self.model.quotations[first.json["id"]] = "draft"
        return first.json["id"]

    @rule(target=issued, its_id=consumes(drafts))
    def issue(self, its_id: str) -> Any:
        response = self.client.post(f"quotations/{its_id}/issue", None)

        assert response.status_code == 200, response.text
        self.model.quotations[its_id] = "issued"
        self.model.numbers.append(response.json["number"])
        return its_id

    @rule(its_id=consumes(drafts))
    def discard(self, its_id: str) -> None:
        assert self.client.delete(f"quotations/{its_id}").status_code == 204
        del self.model.quotations[its_id]

    @rule(its_id=issued, verb=st.sampled_from(["accept", "decline", "complete", "issue"]))
    def go_on(self, its_id: str, verb: str) -> None:
        before = self.model.quotations[its_id]
        leads_to = {
            ("issued", "accept"): "accepted",
            ("issued", "decline"): "declined",
            ("issued", "issue"): "issued",
            ("accepted", "accept"): "accepted",
            ("accepted", "decline"): "declined",
            ("accepted", "complete"): "completed",
            ("declined", "decline"): "declined",
            ("completed", "complete"): "completed",
        }
        rows = stored(self.client)

        response = self.client.post(f"quotations/{its_id}/{verb}", {} if verb in ("accept", "decline") else None)

        if (before, verb) in leads_to:
            assert response.status_code == 200, response.text
            self.model.quotations[its_id] = leads_to[before, verb]
        else:
            self.refused(response, 409)
            assert stored(self.client) == rows

    @rule(its_id=issued)
    def discard_too_late(self, its_id: str) -> None:
        self.refused(self.client.delete(f"quotations/{its_id}"), 409)

    @rule()
    def reprice_and_perhaps_back(self) -> None:
        applied = self.client.post("repricings", {"as_of": QUOTED_ON, "apply": True})
        if applied.status_code == 201:
            assert self.client.post(f"repricings/{applied.json['id']}/rollback", None).status_code == 200
        else:
            self.refused(applied, 200, 422)
            assert applied.status_code == 200 or not self.model.has_rate()

    @invariant()
    def holds_what_the_model_holds(self) -> None:
        if not hasattr(self, "model"):
            return
        listed = {each.pop("code"): each for each in self.client.get("materials").json["items"]}
        assert listed == self.model.materials
        for code in self.model.materials:
            rates = self.client.get(f"materials/{code}/rates").json["items"]
            found = {(code, each["valid_from"]): each["price"]["amount"] for each in rates}
            assert found == {key: amount for key, amount in self.model.rates.items() if key[0] == code}
        quotations = self.client.get("quotations?limit=200").json["items"]
        assert {each["id"]: each["status"] for each in quotations} == self.model.quotations
        assert self.model.numbers == [f"Q{count:06}" for count in range(1, len(self.model.numbers) + 1)]

    def teardown(self) -> None:
        """Check that every quotation recomputes to the same figures although rates have changed."""
        if hasattr(self, "model"):
            for its_id in self.model.quotations:
                assert self.client.get(f"quotations/{its_id}/recomputation").json["agrees"]


@pytest.mark.seeded
def test_after_any_sequence_of_actions_the_workshop_equals_the_model(app: flask.Flask, contract: Contract) -> None:
    machine = type("ThisWorkshop", (Workshop,), {"app": app, "contract": contract})

    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=share(18), stateful_step_count=STEPS, database=None, suppress_health_check=list(HealthCheck)
        ),
    )
