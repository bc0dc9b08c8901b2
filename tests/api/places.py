"""Sample requests, one or more for every operation of the contract, for tests that try them all."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any

from service.domain.currency.exchange_rates import FEED, DayRates
from service.domain.currency.jump_check import HeldDay, Jump
from service.store.currency import exchange
from service.store.engine.database import Database
from tests.conftest import Client
from tests.support import builders
from tests.support.furnishing import furnishes

DAY = "2026-01-01"
Ids = Mapping[str, str]
"""The ids that the service gave, by their names in the contract's paths."""
Altered = Callable[[Any], Any]
"""Turns a body into another one for the same place."""
NO_IDS: Ids = dict.fromkeys(("quotation_id", "repricing_id"), "00000000-0000-7000-8000-000000000000")

COLLECTIONS: dict[str, tuple[str, dict[str, Any], dict[str, Any] | None]] = {
    "tariffs": ("grid", builders.tariff(), builders.tariff_rate()),
    "machines": ("press", builders.machine(), builders.machine_rate()),
    "materials": ("hdpe", builders.material(), builders.material_rate()),
    "labour-grades": ("operator", {"name": "Operator"}, builders.labour_rate()),
    "overheads": ("rent", {"name": "Rent", "base": "machine_hour"}, builders.overhead_rate()),
    "tools": ("mould", {"name": "Mould"}, {"cost": builders.money("900"), "life_shots": "20000"}),
    "taxes": ("vat", {"name": "VAT 21 %"}, {"rate_share": "0.21"}),
    "channels": ("quay-market", builders.channel(), builders.channel_rate()),
    "shipping-services": ("post", builders.shipping_service(), builders.shipping_rate()),
    "products": ("sheet", builders.measured(name="Sheet"), None),
    "listings": ("sheet-online", builders.listing(), None),
    "closures": ("christmas", {"name": "Christmas", "first_day": "2026-12-24", "last_day": "2027-01-01"}, None),
}
"""A code, facts and terms for each collection, in the order in which they can be registered."""

RATES_FILE = builders.CsvFile(f"day,base,currency,rate\n{DAY},EUR,USD,1.0849\n")
EXCHANGE_RATES = {"base": "EUR", "rates": {"USD": "1.0850"}}


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A sample request for an operation.

    Attributes:
        method: HTTP method.
        template: path template in the contract.
        path: the address, with placeholders {quotation_id} and {repricing_id}.
        body: body to send, if any.
        for_stranger: expected status for another workshop that has registered nothing.
        stores: whether it may change stored data.
        is_document: whether it is one of several forms, each at its own address, of the same view.
    """

    method: str
    template: str
    path: str
    body: Any = None
    for_stranger: int
    stores: bool = False
    is_document: bool = False

    def address(self, ids: Ids = NO_IDS) -> str:
        return self.path.format_map(ids)


def _registered() -> list[Place]:
    # These refer to other things, which a stranger has not registered.
    names_others = {"machines", "products", "listings"}
    places = []
    for collection, (code, facts, terms) in COLLECTIONS.items():
        base = f"/v1/{collection}"
        one, path = f"{base}/{{code}}", f"{base}/{code}"
        put = 422 if collection in names_others else 201
        places += [
            Place(method="GET", template=base, path=base, for_stranger=200),
            Place(method="GET", template=one, path=path, for_stranger=404),
            Place(method="PUT", template=one, path=path, body=facts, for_stranger=put, stores=True),
            Place(method="DELETE", template=one, path=path, for_stranger=404, stores=True),
        ]
        if terms is not None:
            rates, rate, day = f"{one}/rates", f"{one}/rates/{{day}}", f"{path}/rates/{DAY}"
            places += [
                Place(method="GET", template=rates, path=f"{path}/rates", for_stranger=404),
                Place(method="GET", template=rate, path=day, for_stranger=404),
                Place(method="PUT", template=rate, path=day, body=terms, for_stranger=404, stores=True),
                Place(method="DELETE", template=rate, path=day, for_stranger=404, stores=True),
            ]
    return places


def _others() -> list[Place]:
    sheet, one = "/v1/products/sheet", "/v1/products/{code}"
    question = {"quantity": 20, "as_of": "2026-11-25", "rates": {"materials/hdpe": builders.material_rate("0.90")}}
    costs, day = "quantity=20&as_of=2026-11-25", "/v1/exchange-rates/{day}"
    quotation, repricing = "/v1/quotations/{quotation_id}", "/v1/repricings/{repricing_id}"
    record = "/v1/batch-records/{code}"
    return [
        Place(
            method="GET",
            template=f"{one}/bill-of-resources",
            path=f"{sheet}/bill-of-resources?quantity=20",
            for_stranger=404,
        ),
        Place(method="GET", template=f"{one}/lead-time", path=f"{sheet}/lead-time?quantity=20", for_stranger=404),
        Place(method="GET", template="/v1/capacity", path="/v1/capacity?weeks=2", for_stranger=200),
        Place(method="GET", template=f"{one}/cost-sheet", path=f"{sheet}/cost-sheet?{costs}", for_stranger=404),
        Place(method="POST", template=f"{one}/cost-sheet", path=f"{sheet}/cost-sheet", body=question, for_stranger=404),
        Place(
            method="GET",
            template=f"{one}/job-sheet",
            path=f"{sheet}/job-sheet?quantity=20",
            for_stranger=404,
            is_document=True,
        ),
        Place(
            method="GET",
            template=f"{one}/cost-sheet/workings",
            path=f"{sheet}/cost-sheet/workings?{costs}",
            for_stranger=404,
        ),
        Place(
            method="POST",
            template=f"{one}/cost-sheet/workings",
            path=f"{sheet}/cost-sheet/workings",
            body=question,
            for_stranger=404,
        ),
        Place(
            method="GET",
            template=f"{one}/price-sheet",
            path=f"{sheet}/price-sheet?{costs}&target=margin&value=0.35&tax=vat",
            for_stranger=404,
        ),
        Place(
            method="GET",
            template="/v1/listings/{code}/price-sheet",
            path="/v1/listings/sheet-online/price-sheet?as_of=2026-11-25",
            for_stranger=404,
        ),
        Place(method="GET", template="/v1/price-list", path="/v1/price-list?as_of=2026-11-25", for_stranger=200),
        Place(
            method="GET",
            template="/v1/shelf-labels",
            path="/v1/shelf-labels?prices=asked",
            for_stranger=200,
            is_document=True,
        ),
        Place(
            method="POST",
            template="/v1/shipping-estimates",
            path="/v1/shipping-estimates",
            body=builders.shipping_question("sheet"),
            for_stranger=422,
        ),
        Place(
            method="POST",
            template="/v1/break-even",
            path="/v1/break-even",
            body=builders.month_plan(),
            for_stranger=422,
        ),
        Place(method="GET", template="/v1/register", path="/v1/register", for_stranger=200),
        Place(
            method="POST",
            template="/v1/register",
            path="/v1/register",
            body={"taxes": {"vat": {"facts": {"name": "VAT 21 %"}, "rates": {DAY: {"rate_share": "0.21"}}}}},
            for_stranger=200,
            stores=True,
        ),
        Place(method="GET", template="/v1/rate-card", path="/v1/rate-card?as_of=2026-11-25", for_stranger=200),
        Place(method="GET", template="/v1/exchange-rates", path="/v1/exchange-rates", for_stranger=200),
        Place(method="GET", template=day, path=f"/v1/exchange-rates/{DAY}", for_stranger=404),
        Place(
            method="PUT",
            template=day,
            path=f"/v1/exchange-rates/{DAY}",
            body=EXCHANGE_RATES,
            for_stranger=201,
            stores=True,
        ),
        Place(
            method="DELETE", template=day, path=f"/v1/exchange-rates/{DAY}?source=manual", for_stranger=404, stores=True
        ),
        Place(
            method="POST",
            template="/v1/exchange-rates/import",
            path="/v1/exchange-rates/import?source=customs",
            body=RATES_FILE,
            for_stranger=200,
            stores=True,
        ),
        Place(
            method="POST",
            template="/v1/exchange-rates/refresh",
            path="/v1/exchange-rates/refresh",
            body={"span": "latest"},
            for_stranger=200,
            stores=True,
        ),
        Place(method="GET", template="/v1/exchange-rates/held", path="/v1/exchange-rates/held", for_stranger=200),
        Place(
            method="POST",
            template=f"{day}/confirm",
            path=f"/v1/exchange-rates/{DAY}/confirm?source=ECB",
            for_stranger=404,
            stores=True,
        ),
        Place(method="GET", template=f"{day}/held", path=f"/v1/exchange-rates/{DAY}/held?source=ECB", for_stranger=404),
        Place(
            method="DELETE",
            template=f"{day}/held",
            path=f"/v1/exchange-rates/{DAY}/held?source=ECB",
            for_stranger=404,
            stores=True,
        ),
        Place(
            method="GET",
            template="/v1/exchange-rates/conversion",
            path=f"/v1/exchange-rates/conversion?amount=10.85&currency=USD&to=EUR&as_of={DAY}",
            for_stranger=422,
        ),
        Place(method="GET", template="/v1/quotations", path="/v1/quotations", for_stranger=200),
        Place(
            method="POST",
            template="/v1/quotations",
            path="/v1/quotations",
            body=builders.quotation(quoted_on="2026-11-25"),
            for_stranger=422,
            stores=True,
        ),
        Place(
            method="POST",
            template="/v1/quotation-previews",
            path="/v1/quotation-previews",
            body=builders.quotation(quoted_on="2026-11-25"),
            for_stranger=422,
        ),
        Place(
            method="POST",
            template="/v1/quotation-previews/risk",
            path="/v1/quotation-previews/risk",
            body=builders.quotation(quoted_on="2026-11-25"),
            for_stranger=422,
        ),
        Place(method="GET", template=quotation, path=quotation, for_stranger=404),
        Place(method="DELETE", template=quotation, path=quotation, for_stranger=404, stores=True),
        Place(
            method="GET",
            template=f"{quotation}/quotation",
            path=f"{quotation}/quotation?locale=de_DE",
            for_stranger=404,
            is_document=True,
        ),
        Place(method="GET", template=f"{quotation}/events", path=f"{quotation}/events", for_stranger=404),
        *(
            Place(
                method="POST",
                template=f"{quotation}/{become}",
                path=f"{quotation}/{become}",
                body=body,
                for_stranger=404,
                stores=True,
            )
            for become, body in (
                ("issue", {}),
                ("accept", {"reference": "order 7"}),
                ("decline", {"reason": "too dear"}),
                ("complete", {"records": [builders.batch_record(code="B-2")]}),
                ("revise", {}),
            )
        ),
        Place(method="GET", template=f"{quotation}/recomputation", path=f"{quotation}/recomputation", for_stranger=404),
        Place(method="GET", template=f"{quotation}/risk", path=f"{quotation}/risk", for_stranger=404),
        Place(method="GET", template="/v1/repricings", path="/v1/repricings", for_stranger=200),
        Place(
            method="POST",
            template="/v1/repricings",
            path="/v1/repricings",
            body={"as_of": "2026-11-25", "apply": True},
            for_stranger=200,
            stores=True,
        ),
        Place(method="GET", template=repricing, path=repricing, for_stranger=404),
        Place(method="GET", template=f"{repricing}/changes", path=f"{repricing}/changes", for_stranger=404),
        Place(
            method="POST", template=f"{repricing}/rollback", path=f"{repricing}/rollback", for_stranger=404, stores=True
        ),
        Place(
            method="GET",
            template="/v1/listings/{code}/price-history",
            path="/v1/listings/sheet-online/price-history",
            for_stranger=404,
        ),
        Place(method="GET", template="/v1/batch-records", path="/v1/batch-records", for_stranger=200),
        Place(
            method="POST",
            template="/v1/batch-records",
            path="/v1/batch-records",
            body={"records": [builders.batch_record(code="B-3")]},
            for_stranger=422,
            stores=True,
        ),
        Place(method="GET", template=record, path="/v1/batch-records/B-1", for_stranger=404),
        Place(
            method="PUT",
            template=record,
            path="/v1/batch-records/B-1",
            body=builders.batch_record(),
            for_stranger=422,
            stores=True,
        ),
        Place(method="DELETE", template=record, path="/v1/batch-records/B-1", for_stranger=404, stores=True),
        Place(method="GET", template=f"{record}/variances", path="/v1/batch-records/B-1/variances", for_stranger=404),
        Place(method="GET", template=f"{one}/variances", path=f"{sheet}/variances", for_stranger=404),
        Place(
            method="POST",
            template="/v1/variances",
            path="/v1/variances",
            body={"last_day": "2026-11-25"},
            for_stranger=200,
        ),
        Place(method="GET", template=f"{one}/learning", path=f"{sheet}/learning", for_stranger=404),
        Place(
            method="POST",
            template=f"{one}/learning",
            path=f"{sheet}/learning",
            body={"apply": True},
            for_stranger=404,
            stores=True,
        ),
        Place(
            method="POST", template=f"{one}/learning/undo", path=f"{sheet}/learning/undo", for_stranger=404, stores=True
        ),
        Place(method="GET", template="/v1/workshop", path="/v1/workshop", for_stranger=200),
        Place(
            method="PUT",
            template="/v1/workshop",
            path="/v1/workshop",
            body=builders.seller(),
            for_stranger=200,
            stores=True,
        ),
        Place(method="GET", template="/v1/changes", path="/v1/changes?subject=materials", for_stranger=200),
        Place(method="GET", template="/health", path="/health", for_stranger=200),
        Place(method="GET", template="/ready", path="/ready", for_stranger=200),
        Place(method="GET", template="/metrics", path="/metrics", for_stranger=200),
    ]


_ENDINGS = {
    ("GET", "/v1/products/{code}/cost-sheet"): ("html", "pdf", "svg", "png"),
    ("POST", "/v1/products/{code}/cost-sheet"): ("html", "pdf", "svg", "png"),
    ("GET", "/v1/products/{code}/job-sheet"): ("html", "pdf"),
    ("GET", "/v1/batch-records/{code}/variances"): ("html", "pdf", "svg", "png"),
    ("GET", "/v1/products/{code}/variances"): ("html", "pdf", "svg", "png"),
    ("POST", "/v1/variances"): ("html", "pdf", "svg", "png"),
    ("POST", "/v1/break-even"): ("html", "svg", "png"),
    ("GET", "/v1/listings/{code}/price-history"): ("svg", "png"),
    ("GET", "/v1/price-list"): ("jsonld", "html", "pdf"),
    ("GET", "/v1/shelf-labels"): ("pdf",),
    ("POST", "/v1/repricings"): ("csv", "ndjson"),
    ("GET", "/v1/repricings/{repricing_id}/changes"): ("csv", "ndjson"),
    ("GET", "/v1/quotations/{quotation_id}/quotation"): ("pdf", "html", "xml", "txt"),
}
"""File endings of the documents of a place."""


def _with_documents(place: Place) -> list[Place]:
    path, mark, query = place.path.partition("?")
    documents = [
        replace(place, template=f"{place.template}.{ending}", path=f"{path}.{ending}{mark}{query}", is_document=True)
        for ending in _ENDINGS.get((place.method, place.template), ())
    ]
    return documents if place.is_document else [place, *documents]


PLACES = [each for place in (*_registered(), *_others()) for each in _with_documents(place)]
KEYED = [place for place in PLACES if place.path.startswith("/v1/")]


def as_it_is(body: Any) -> Any:
    """The body unchanged."""
    return body


def named(place: Place) -> str:
    """The id of a parametrized test."""
    return f"{place.method} {place.template}"


def ids_of(client: Client) -> Ids:
    """The ids of the newest quotation and the newest repricing."""
    newest = {name: client.get(f"{name}s").json["items"][0]["id"] for name in ("quotation", "repricing")}
    return {f"{name}_id": found for name, found in newest.items()}


def hold_back_a_day(client: Client, altered: Altered = as_it_is, day: str = DAY) -> None:
    """Hold back a day of rates for confirmation, as if the feed had published a jump."""
    told = altered({"from_rate": "1.0849", "to_rate": "10.849"})
    dollars = {**{name: Decimal(rate) for name, rate in told.items()}, "share": Decimal(9)}
    rates = DayRates(source=FEED, base="EUR", published_on=date.fromisoformat(day), rates={"USD": dollars["to_rate"]})
    held = HeldDay(day=rates, jumps=(Jump(currency="USD", **dollars),))
    database: Database = client.app.extensions["pugmill.database"]
    with database.writing() as connection:
        exchange.save_held(connection, client.workshop.workshop_id, [held])


def register_collections(
    client: Client, altered: Altered = as_it_is, *, day: str = DAY, code: str | None = None
) -> None:
    """Register one thing in each collection with terms from a day on; all have the given code, if any."""
    for collection, (own_code, facts, terms) in COLLECTIONS.items():
        rates = {} if terms is None else {day: altered(terms)}
        client.register(f"{collection}/{code or own_code}", altered(facts), **rates)


@furnishes
def register_everything(client: Client, altered: Altered = as_it_is) -> Ids:
    """Register something in every collection, a quotation, a repricing and a batch; returns the ids of the first two.

    Args:
        client: client of the workshop.
        altered: turns the usual bodies into this workshop's: other texts, other figures.
    """
    register_collections(client, altered)
    assert client.put(f"exchange-rates/{DAY}", altered(EXCHANGE_RATES)).status_code in (200, 201)
    hold_back_a_day(client, altered)
    quoted = client.post("quotations", altered(builders.quotation(quoted_on="2026-11-25")))
    assert quoted.status_code == 201, quoted.json
    applied = client.post("repricings", {"as_of": "2026-11-25", "apply": True})
    assert applied.status_code == 201, applied.json
    made = client.put("batch-records/B-1", altered(builders.batch_record()))
    assert made.status_code == 201, made.json
    return ids_of(client)
