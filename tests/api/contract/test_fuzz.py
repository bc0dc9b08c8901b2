"""Every operation of the contract, fuzzed by schemathesis: no 5xx, and no answer outside of the contract.

By day only what is there is asked for, which a stranger to the workshop cannot do: CI's `scripts/measure/fuzz` does
all else over the wire, with three times as many requests a second, its own lists of odd and wrong ones among them. All
checks are on here too; those that need several requests (use after deletion) have nothing to find.
"""

from typing import Any

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
"""For each operation and kind of data."""
BY_DAY = "valid, of what is there"
MODES = {BY_DAY: GenerationMode.POSITIVE, "valid": GenerationMode.POSITIVE, "invalid": GenerationMode.NEGATIVE}


@pytest.fixture(scope="module")
def fuzzed(app: flask.Flask) -> BaseSchema:
    """The contract as it is served."""
    schema = schemathesis.openapi.from_wsgi("/openapi.json", app)
    # What is well-formed may still be refused, and the contract says so: nothing of that name (404), what is registered
    # or has happened stands against it (409), another state (412), a rule between members or a bound that JSON Schema
    # cannot say of decimals in text (422). The feed is one that the tests run, and answers.
    schema.config.checks.positive_data_acceptance.expected_statuses = ["2xx", "304", "404", "409", "412", "422"]
    return schema


@pytest.fixture(scope="module")
def owner(app: flask.Flask, contract: Contract) -> Client:
    return make_client(app, contract)


@pytest.fixture(scope="module")
def ids(owner: Client) -> Ids:
    return register_everything(owner)


def variable_parts(place: Place, ids: Ids) -> dict[str, str]:
    """What stands for each variable part of the address, where there is something."""
    told = zip(place.template.split("/"), place.address(ids).partition("?")[0].split("/"), strict=True)
    return {name.strip("{}"): value for name, value in told if name.startswith("{")}


# What takes no key takes nothing that could be invalid. The transport that schemathesis has for WSGI does not close the
# answers it gets, files among them.
@pytest.mark.seeded
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    ("place", "mode"),
    [
        pytest.param(place, mode, marks=() if mode == BY_DAY else pytest.mark.nightly)
        for place in PLACES
        for mode in MODES
        if mode == "valid" or place in KEYED
    ],
    ids=lambda value: value if isinstance(value, str) else named(value),
)
def test_whatever_is_sent_is_answered_as_the_contract_says(
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
        case.call_and_validate(headers={"Authorization": f"Bearer {owner.key}"})

    try_it()
