"""From an empty workshop to a quoted batch, over HTTP."""

from inspect import unwrap

import pytest

from tests.conftest import Client
from tests.support.builders import policy, product, quotation, register_workshop

pytestmark = pytest.mark.every_engine


def test_a_registered_product_is_costed_priced_and_quoted(client: Client) -> None:
    unwrap(register_workshop)(client)

    sheet = client.get("products/sheet/cost-sheet?quantity=20&as_of=2026-11-25").json
    price = client.get("products/sheet/price-sheet?quantity=20&as_of=2026-11-25&target=margin&value=0.35").json
    quoted = client.post("quotations", quotation(quoted_on="2026-11-25"))

    assert quoted.status_code == 201, quoted.json
    line = quoted.json["figures"]["lines"][0]["quoted"]
    assert line["unit_price"] == price["price_per_piece"]["price"]
    assert line["unit_full_cost"] == sheet["subtotals"]["full_cost"]["per_piece"]
    text = client.get(quoted.headers["Location"], headers={"Accept": "text/plain"})
    assert "Harbour Garden Trust" in text.text
    assert client.get(f"{quoted.headers['Location']}/recomputation").json["agrees"] is True


def test_kilograms_and_hours_are_quoted_as_they_are_sent_and_refused_where_they_stand(client: Client) -> None:
    register_workshop(client)
    client.put("products/flakes", product(name="Flakes", unit="kg", operations=[]))
    press = {"machine": "press", "band_shares": {"day": 1}}
    line = {"tax": "vat", "policy": policy("markup", "0.2")}
    flakes = {"product": "flakes", "quantity": 12.5, "supplied_quantities": {"hdpe": 40}, **line}
    work = {"item": {"name": "Press work", "unit": "hour", "work": press}, "quantity": "2.5", **line}

    quoted = client.post("quotations", quotation(quoted_on="2026-11-25", lines=[flakes, work]))
    refused = client.post("quotations", quotation(lines=[work, {**flakes, "product": "sheet"}]))

    figures = quoted.json["figures"]["lines"]
    assert [(each["quoted"]["quantity"], each["unit"]) for each in figures] == [("12.5", "kg"), ("2.5", "hour")]
    assert [(each["quantity"], each["needed"]) for each in figures[0]["supplied"]] == [("40", "120")]
    assert client.get(f"{quoted.headers['Location']}/recomputation").json["agrees"] is True
    assert [(each["pointer"], each["detail"]) for each in refused.json["errors"]] == [
        ("/lines/1/quantity", "must be whole: pieces are not divided")
    ]


def test_a_preview_of_a_quotation_needs_no_idempotency_key_and_stores_nothing(client: Client) -> None:
    register_workshop(client)
    request = quotation(quoted_on="2026-11-25")

    with_key = {"Authorization": f"Bearer {client.key}"}
    shown = client.app.test_client().post("/v1/quotation-previews", json=request, headers=with_key)
    again = client.post("quotation-previews", request)

    assert shown.status_code == 200, shown.json
    assert shown.data == again.data
    assert client.get("quotations").json["items"] == []
    quoted = client.post("quotations", request).json
    assert shown.json == {name: quoted[name] for name in shown.json}


def test_a_tax_on_a_charge_only_is_shown_with_its_name_and_reason(client: Client) -> None:
    register_workshop(client)
    exempt = {"name": "Exempt transport", "category": "E", "exemption_reason": "an invented exemption"}
    client.register("taxes/exempt", exempt, **{"2026-01-01": {"rate_share": "0"}})
    freight = {"reason": "Freight", "tax": "exempt", "amount": "40.00"}

    quoted = client.post("quotations", quotation(quoted_on="2026-11-25", charges=[freight]))
    text = client.get(quoted.headers["Location"], headers={"Accept": "text/plain"}).text

    assert [each["name"] for each in quoted.json["figures"]["totals"]["tax_subtotals"]] == [
        "VAT 21 %",
        "Exempt transport",
    ]
    assert "Exempt transport: €40.00" in text
    assert "an invented exemption" in text
