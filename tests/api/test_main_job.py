"""From nothing to a quoted batch, over HTTP."""

from tests.builders import quotation, register_workshop
from tests.conftest import Client


def test_a_registered_product_is_costed_priced_and_quoted(client: Client) -> None:
    register_workshop(client)

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
