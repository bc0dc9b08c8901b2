"""Fuzzes every operation of the contract with schemathesis: no 5xx, and no answer outside the contract.

By day, only requests for existing things are sent, because fuzzing from outside cannot guess their ids. CI's
`scripts/measure/fuzz` does the rest over HTTP, including lists of unusual and invalid requests, three times as fast.
All checks are on here too; those that need several requests (use after deletion) cannot find anything.
"""

from typing import Any
from uuid import uuid4

import flask
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.generation import GenerationMode
from schemathesis.schemas import BaseSchema

from tests.api.places import KEYED, PLACES, Ids, Place, named, register_everything
from tests.conftest import Client, make_client
from tests.support.contract import Contract
from tests.support.profiles import share

EXAMPLES = share(12)
"""Number of examples for each operation and kind of data."""
BY_DAY = "valid, of what is there"
MODES = {BY_DAY: GenerationMode.POSITIVE, "valid": GenerationMode.POSITIVE, "invalid": GenerationMode.NEGATIVE}


@pytest.fixture(scope="module")
def fuzzed(app: flask.Flask) -> BaseSchema:
    """The contract that the service serves."""
    schema = schemathesis.openapi.from_wsgi("/openapi.json", app)
    # Well-formed data may still be refused, and the contract says so: nothing with that name (404), a state that does
    # not allow it (409), a precondition (412), a rule between members or a bound of decimals in text that JSON Schema
    # cannot express (422). The tests run a feed of their own, which answers.
    schema.config.checks.positive_data_acceptance.expected_statuses = ["2xx", "304", "404", "409", "412", "422"]
    return schema


@pytest.fixture(scope="module")
def owner(app: flask.Flask, contract: Contract) -> Client:
    return make_client(app, contract)


@pytest.fixture(scope="module")
def ids(owner: Client) -> Ids:
    return register_everything(owner)


def variable_parts(place: Place, ids: Ids) -> dict[str, str]:
    """The value of each variable part of the place's address."""
    told = zip(place.template.split("/"), place.address(ids).partition("?")[0].split("/"), strict=True)
    return {name.strip("{}"): value for name, value in told if name.startswith("{")}


def with_the_key_it_needs(case: Any) -> None:
    """Add the key to a well-formed request that stores something, a rule between header and body."""
    if isinstance(case.body, dict) and case.body.get("apply") is True:
        case.headers.setdefault("Idempotency-Key", f'"{uuid4()}"')


# Operations without a key have no input that could be invalid. Schemathesis's transport for WSGI does not close its
# answers, some of which are files.
@pytest.mark.seeded
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    ("place", "mode"),
    [
        pytest.param(place, mode, marks=() if mode == BY_DAY and not place.is_document else pytest.mark.nightly)
        for place in PLACES
        for mode in MODES
        if mode == "valid" or place in KEYED
    ],
    ids=lambda value: value if isinstance(value, str) else named(value),
)
def test_every_answer_conforms_to_the_contract(
    fuzzed: BaseSchema, owner: Client, ids: Ids, place: Place, mode: str
) -> None:
    operation = fuzzed[place.template][place.method]
    there = variable_parts(place, ids) if "there" in mode else {}

    @settings(
        max_examples=EXAMPLES,
        database=None,
        phases=(Phase.explicit, Phase.generate),
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=MODES[mode]))
    def try_it(case: Any) -> None:
        case.path_parameters.update(there)
        if MODES[mode] is GenerationMode.POSITIVE:
            with_the_key_it_needs(case)
        case.call_and_validate(headers={"Authorization": f"Bearer {owner.key}"})

    try_it()
