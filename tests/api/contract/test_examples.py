"""The service accepts every example in the contract."""

from service.api.contract import examples
from tests.conftest import Client

_ORDER = (
    "tariffs",
    "machines",
    "materials",
    "labour-grades",
    "overheads",
    "tools",
    "taxes",
    "channels",
    "shipping-services",
    "products",
    "listings",
    "closures",
)
_CODES = {
    "tariffs": "grid",
    "machines": "sheet-press",
    "materials": "hdpe-flakes",
    "labour-grades": "operator",
    "overheads": "rent",
    "tools": "brick-mould",
    "taxes": "vat-standard",
    "channels": "quay-market",
    "shipping-services": "parcel-post",
    "products": "sheet",
    "listings": "sheet-online",
    "closures": "christmas",
}


def test_the_examples_together_make_a_workshop_that_can_quote(client: Client) -> None:
    assert set(_ORDER) == set(examples.FACTS)

    for collection in _ORDER:
        path = f"{collection}/{_CODES[collection]}"
        rates = {"2026-01-01": examples.TERMS[collection]} if collection in examples.TERMS else {}
        client.register(path, examples.FACTS[collection], **rates)

    assert client.put("exchange-rates/2026-01-02", examples.EXCHANGE_RATES).status_code == 201
    supposed = client.post("products/sheet/cost-sheet", examples.WHAT_IF)
    assert supposed.status_code == 200, supposed.json
    assert supposed.json["warnings"] == []
    shipped = client.post("shipping-estimates", examples.SHIPPING_ESTIMATE)
    assert shipped.status_code == 200, shipped.json
    planned = client.post("break-even", examples.MONTH)
    assert planned.status_code == 200, planned.json
    quoted = client.post("quotations", examples.QUOTATION)
    assert quoted.status_code == 201, quoted.json
