"""A client generated from the committed contract can register a workshop, quote, and read the quotation."""

import datetime
import importlib
import subprocess
import sys
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any
from uuid import UUID

import flask
import httpx
import pytest

from service.cli.contract import CONTRACT
from service.client.files.register_files import read_files
from tests.conftest import Client
from tests.support import builders
from tests.support.demo import DEMO
from tests.support.processes import SECONDS

PACKAGE = "generated_pugmill_client"
CONFIGURATION = f"""
project_name_override: generated
package_name_override: {PACKAGE}
post_hooks: []
content_type_overrides: # the generator has no other type for tables, papers and pictures
  text/csv: application/octet-stream
  application/x-ndjson: application/octet-stream
  application/pdf: application/octet-stream
  application/xml: application/octet-stream
  image/svg+xml: application/octet-stream
  image/png: application/octet-stream
"""
DAY = "2026-01-01"


@pytest.fixture(scope="module")
def generated(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ModuleType]:
    """The package generated from the committed contract; fails if the generator gives a warning."""
    folder = tmp_path_factory.mktemp("generated")
    configuration = folder / "configuration.yaml"
    configuration.write_text(CONFIGURATION)
    made = subprocess.run(
        [
            *(sys.executable, "-m", "openapi_python_client", "generate", "--fail-on-warning"),
            *("--path", str(CONTRACT), "--config", str(configuration), "--meta", "none"),
            *("--output-path", str(folder / PACKAGE)),
        ],
        capture_output=True,
        text=True,
        timeout=SECONDS,
        check=False,
    )
    assert made.returncode == 0, made.stdout + made.stderr
    assert "warning" not in (made.stdout + made.stderr).lower(), made.stdout + made.stderr
    sys.path.insert(0, str(folder))
    yield importlib.import_module(PACKAGE)
    sys.path.remove(str(folder))
    for name in [name for name in sys.modules if name.partition(".")[0] == PACKAGE]:
        del sys.modules[name]


class Caller:
    """Gives access to the generated operations and models by name, with the workshop's key."""

    def __init__(self, generated: ModuleType, app: flask.Flask, key: str) -> None:
        self._package = generated.__name__
        self._models = importlib.import_module(f"{self._package}.models")
        self._client = generated.AuthenticatedClient(
            base_url="http://service.test", token=key, httpx_args={"transport": httpx.WSGITransport(app=app)}
        )

    def model(self, name: str, data: dict[str, Any]) -> Any:
        """A model from plain data; fails if converting it back gives other data."""
        made = getattr(self._models, f"{name}Input" if hasattr(self._models, f"{name}Input") else name).from_dict(data)
        assert made.to_dict() == data
        return made

    def __call__(self, tag: str, operation: str, *arguments: Any, **named: Any) -> Any:
        """The answer of an operation, with its status."""
        module = importlib.import_module(f"{self._package}.api.{tag}.{operation}")
        call: Callable[..., Any] = module.sync_detailed
        return call(*arguments, client=self._client, **named)


@pytest.fixture
def caller(generated: ModuleType, client: Client, app: flask.Flask) -> Caller:
    return Caller(generated, app, client.key)


REGISTERED: list[tuple[str, str, str, str, dict[str, Any], str, dict[str, Any]]] = [
    ("tariffs", "tariff", "grid", "Tariff", builders.tariff(), "TariffRate", builders.tariff_rate()),
    ("machines", "machine", "press", "Machine", builders.machine(), "MachineRate", builders.machine_rate()),
    ("materials", "material", "hdpe", "Material", builders.material(), "MaterialRate", builders.material_rate()),
    (
        "labour_grades",
        "labour_grade",
        "operator",
        "LabourGrade",
        {"name": "Operator"},
        "LabourRate",
        builders.labour_rate(),
    ),
    (
        "overheads",
        "overhead_pool",
        "rent",
        "Overhead",
        {"name": "Rent", "base": "machine_hour"},
        "OverheadRate",
        builders.overhead_rate(),
    ),
    ("taxes", "tax", "vat", "Tax", {"name": "VAT 21 %"}, "TaxRate", {"rate_share": "0.21"}),
]


def register(caller: Caller) -> None:
    """Register the same as tests.support.builders.register_workshop, with the generated client."""
    day = datetime.date.fromisoformat(DAY)
    for tag, noun, code, facts_name, facts, terms_name, terms in REGISTERED:
        put = caller(tag, f"put_{noun}", code, body=caller.model(facts_name, facts))
        assert put.status_code == 201, put.content
        rate = caller(tag, f"put_{noun}_rate", code, day, body=caller.model(terms_name, terms))
        assert rate.status_code == 201, rate.content
    product = caller("products", "put_product", "sheet", body=caller.model("Product", builders.product()))
    assert product.status_code == 201, product.content


def test_a_workshop_registers_and_quotes_through_a_generated_client(caller: Caller, client: Client) -> None:
    register(caller)

    request = caller.model("QuotationRequest", builders.quotation(quoted_on="2026-11-25"))
    quoted = caller("quotations", "create_quotation", idempotency_key='"first"', body=request)
    read = caller("quotations", "get_quotation", UUID(str(quoted.parsed.id)))

    assert (quoted.status_code, read.status_code) == (201, 200)
    assert read.parsed.to_dict() == quoted.parsed.to_dict()
    stored = client.get(f"quotations/{quoted.parsed.id}").json
    moment = datetime.datetime.fromisoformat(stored.pop("created_at"))
    assert read.parsed.created_at == moment  # the client formats it differently, but it is the same instant
    assert {name: value for name, value in read.parsed.to_dict().items() if name != "created_at"} == stored
    assert read.parsed.figures.totals.payable.currency == "EUR"


NOUNS = {
    "tariffs": ("tariff", "Tariff", "TariffRate"),
    "materials": ("material", "Material", "MaterialRate"),
    "machines": ("machine", "Machine", "MachineRate"),
    "labour-grades": ("labour_grade", "LabourGrade", "LabourRate"),
    "tools": ("tool", "Tool", "ToolRate"),
    "taxes": ("tax", "Tax", "TaxRate"),
    "channels": ("sales_channel", "Channel", "ChannelRate"),
    "shipping-services": ("shipping_service", "ShippingService", "ShippingRate"),
    "products": ("product", "Product", ""),
    "overheads": ("overhead_pool", "Overhead", "OverheadRate"),
    "listings": ("listing", "Listing", ""),
    "closures": ("closure", "Closure", ""),
}


def demo_puts() -> Iterator[tuple[list[str], dict[str, Any]]]:
    """Every PUT of the demo workshop: the parts of its path below /v1, and its body."""
    document = read_files([DEMO / "workshop.yaml"]).document
    yield ["exchange-rates", "2026-11-25"], document["exchange-rates"]["today"]
    for collection in NOUNS:
        for code, entry in document.get(collection, {}).items():
            yield [collection, code], entry["facts"]
            for day, terms in entry.get("rates", {}).items():
                yield [collection, code, "rates", day], terms


def test_the_demo_workshop_is_registered_and_quoted_through_a_generated_client(caller: Caller) -> None:
    for (collection, code, *rates), body in demo_puts():
        if collection == "exchange-rates":
            day = datetime.date.fromisoformat(code)
            put = caller("exchange_rates", "put_exchange_rates", day, body=caller.model("EnteredRates", body))
        else:
            noun, facts, terms = NOUNS[collection]
            tag = collection.replace("-", "_")
            if rates:
                day = datetime.date.fromisoformat(rates[1])
                put = caller(tag, f"put_{noun}_rate", code, day, body=caller.model(terms, body))
            else:
                put = caller(tag, f"put_{noun}", code, body=caller.model(facts, body))
        assert put.status_code == 201, (collection, code, put.content)
    request = {
        "customer": {"name": "Harbour Garden Trust"},
        "quoted_on": "2026-11-25",
        "lines": [{"product": "brick", "quantity": 500, "tax": "standard", "policy": builders.policy()}],
    }

    quoted = caller(
        "quotations", "create_quotation", idempotency_key='"first"', body=caller.model("QuotationRequest", request)
    )
    read = caller("quotations", "get_quotation", UUID(str(quoted.parsed.id)))

    assert (quoted.status_code, read.status_code) == (201, 200)
    assert read.parsed.figures.to_dict() == quoted.parsed.figures.to_dict()
    assert read.parsed.figures.lines[0].quoted.quantity == "500"
    sheet = caller("costs", "get_cost_sheet", "brick", quantity=500, as_of=datetime.date(2026, 11, 25))
    cost = sheet.parsed.subtotals.full_cost.per_piece.amount
    assert read.parsed.figures.lines[0].quoted.unit_full_cost.amount == cost


def test_a_generated_client_parses_sheets_and_lists(caller: Caller, client: Client) -> None:
    builders.register_workshop(client)
    client.post("quotations", builders.quotation(quoted_on="2026-11-25"))
    client.put("exchange-rates/2026-11-25", {"base": "EUR", "rates": {"USD": "1.0850"}})
    as_of = datetime.date(2026, 11, 25)
    bill = caller("costs", "get_bill_of_resources", "sheet", quantity=20)
    sheet = caller("costs", "get_cost_sheet", "sheet", quantity=20, as_of=as_of)
    answers = {
        "bill": bill,
        "sheet": sheet,
        "card": caller("costs", "get_rate_card", as_of=as_of),
        "materials": caller("materials", "list_materials", limit=10),
        "rates": caller("materials", "list_material_rates", "hdpe"),
        "exchange rates": caller("exchange_rates", "list_exchange_rates"),
        "quotations": caller("quotations", "list_quotations"),
        "health": caller("service", "get_health"),
        "ready": caller("service", "get_readiness"),
    }
    same = {
        "bill": "products/sheet/bill-of-resources?quantity=20",
        "sheet": "products/sheet/cost-sheet?quantity=20&as_of=2026-11-25",
        "card": "rate-card?as_of=2026-11-25",
        "materials": "materials?limit=10",
        "rates": "materials/hdpe/rates",
        "exchange rates": "exchange-rates",
        "quotations": "quotations",
        "health": "/health",
        "ready": "/ready",
    }

    for name, answer in answers.items():
        assert answer.status_code == 200, name
        assert answer.parsed.to_dict() == client.get(same[name]).json, name


def test_a_generated_client_parses_problems(caller: Caller) -> None:
    unknown = caller("materials", "get_material", "unknown")
    refused = caller("products", "put_product", "sheet", body=caller.model("Product", builders.product()))

    assert unknown.status_code == 404
    assert unknown.parsed.status == 404
    assert refused.status_code == 422
    assert [error.pointer for error in refused.parsed.errors] == [
        "/bill_of_materials/0/material",
        "/operations/0/machine",
        "/operations/0/labour/0/labour_grade",
    ]


def test_a_generated_client_sends_conditions(caller: Caller) -> None:
    body = caller.model("Material", builders.material())
    created = caller("materials", "put_material", "hdpe", body=body, if_none_match="*")

    again = caller("materials", "put_material", "hdpe", body=body, if_none_match="*")
    stale = caller("materials", "put_material", "hdpe", body=body, if_match='"stale"')
    known = caller("materials", "get_material", "hdpe", if_none_match=created.headers["ETag"])

    assert [each.status_code for each in (created, again, stale, known)] == [201, 412, 412, 304]
