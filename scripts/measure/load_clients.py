"""What the clients of a load benchmark ask a service for, in what proportion, and how long they wait for it."""

import http.client
import json
import random
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

DAY = "2026-11-01"
LINE = {"tax": "standard", "policy": {"target": "margin", "value": "0.30", "never_below_cost": "full_cost"}}
ANSWERED = (200, 201, 304)
RECENT = 50
"""Quotations of its own that a client goes on with or looks at."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One request and its answer.

    Attributes:
        kind: what was asked for.
        begun: seconds of the machine's clock.
        seconds: until the whole answer was there.
        status: of HTTP; 0 if there was no answer.
        told: of an answer that was not expected, its beginning.
    """

    kind: str
    begun: float
    seconds: float
    status: int
    told: str = ""


@dataclass(slots=True)
class Client:
    """Asks one thing after the other over one connection, without a pause.

    Attributes:
        products: their codes, as those of listings.
        asked: all that was asked for, the first one first.
        drafts: quotations of its own that can be issued.
        issued: those that can be accepted.
        tags: of sheets that were seen, by address.
    """

    port: int
    key: str
    chance: random.Random
    products: list[str]
    listings: list[str]
    asked: list[Asked] = field(default_factory=list)
    drafts: list[str] = field(default_factory=list)
    issued: list[str] = field(default_factory=list)
    tags: dict[str, str] = field(default_factory=dict)
    connection: http.client.HTTPConnection = field(init=False)

    def __post_init__(self) -> None:
        """Connect with the first request."""
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)

    def ask(self, kind: str, method: str, path: str, body: Any = None, *, tag: str = "") -> tuple[int, Any, bytes]:
        """Send one request and keep how long it took; the status, headers and body of the answer."""
        headers = {"Authorization": f"Bearer {self.key}"}
        if method == "POST":
            headers["Idempotency-Key"] = f'"{uuid4()}"'
        if tag:
            headers["If-None-Match"] = tag
        sent = None
        if body is not None:
            headers["Content-Type"], sent = "application/json", json.dumps(body)
        begun = time.perf_counter()
        try:
            status, known, content = self._answer(method, path, sent, headers)
        except (OSError, http.client.HTTPException) as error:
            self.connection.close()  # it is opened again by the next request
            status, known, content = 0, {}, repr(error).encode()
        told = "" if status in ANSWERED else content[:300].decode(errors="replace")
        self.asked.append(Asked(kind, begun, time.perf_counter() - begun, status, told))
        return status, known, content

    def _answer(self, method: str, path: str, sent: str | None, headers: dict[str, str]) -> tuple[int, Any, bytes]:
        self.connection.request(method, f"/v1/{path}", sent, headers)
        answer = self.connection.getresponse()
        return answer.status, answer.headers, answer.read()

    def any_product(self) -> str:
        """The code of one."""
        return self.chance.choice(self.products)

    def cost_sheet(self) -> None:
        """Of a batch that was most likely never asked for."""
        quantity = self.chance.randrange(1, 5000)
        self.ask("cost sheet", "GET", f"products/{self.any_product()}/cost-sheet?quantity={quantity}")

    def known_cost_sheet(self) -> None:
        """Of a usual batch, which may not have changed since it was last seen."""
        path = f"products/{self.any_product()}/cost-sheet?quantity=500"
        _, headers, _ = self.ask("cost sheet, known", "GET", path, tag=self.tags.get(path, ""))
        self.tags[path] = headers.get("ETag", "")

    def price_sheet(self) -> None:
        """Of a listing."""
        listing = self.chance.choice(self.listings)
        self.ask("price sheet of a listing", "GET", f"listings/{listing}/price-sheet")

    def price_list(self) -> None:
        """All listings."""
        self.ask("price list", "GET", "price-list")

    def rate_card(self) -> None:
        """All rates."""
        self.ask("rate card", "GET", "rate-card")

    def quotations(self) -> None:
        """The latest."""
        self.ask("list of quotations", "GET", "quotations?limit=50")

    def quotation(self) -> None:
        """One of its own."""
        if self.issued:
            self.ask("quotation", "GET", f"quotations/{self.chance.choice(self.issued)}")

    def quotation_page(self) -> None:
        """One of its own, as the customer reads it."""
        if self.issued:
            self.ask("quotation as a page", "GET", f"quotations/{self.chance.choice(self.issued)}/quotation.html")

    def draft(self) -> None:
        """A quotation of one to three products."""
        products = self.chance.sample(self.products, self.chance.randrange(1, 4))
        lines = [{"product": code, "quantity": self.chance.randrange(1, 2000), **LINE} for code in products]
        body = {"customer": {"name": "Harbour Garden Trust"}, "lines": lines}
        status, _, content = self.ask("quotation drafted", "POST", "quotations", body)
        if status == 201:
            self.drafts = [*self.drafts, json.loads(content)["id"]][-RECENT:]

    def issue(self) -> None:
        """The latest draft."""
        if self.drafts:
            name = self.drafts.pop()
            if self.ask("quotation issued", "POST", f"quotations/{name}/issue")[0] == 200:
                self.issued = [*self.issued, name][-RECENT:]

    def accept(self) -> None:
        """The quotation that was issued last."""
        if self.issued:
            self.ask("quotation accepted", "POST", f"quotations/{self.issued.pop()}/accept", {})

    def material_rate(self) -> None:
        """A price of one material."""
        price = {"amount": f"0.{self.chance.randrange(30, 99)}", "currency": "EUR"}
        code = self.chance.choice(["hdpe-flakes", "pp-flakes", "ldpe-flakes", "ps-flakes"])
        self.ask("rate changed", "PUT", f"materials/{code}/rates/{DAY}", {"price": price})

    def tariff_rate(self) -> None:
        """What electricity costs."""
        bands = {
            band: {"amount": f"0.{self.chance.randrange(150, 400)}", "currency": "EUR"} for band in ("day", "night")
        }
        self.ask("rate changed", "PUT", f"tariffs/grid/rates/{DAY}", {"price_per_kwh": bands})

    def preview(self) -> None:
        """What all prices would become."""
        self.ask("repricing previewed", "POST", "repricings", {})

    def reprice(self) -> None:
        """All prices, put in force."""
        self.ask("repricing applied", "POST", "repricings", {"apply": True})


MIX: dict[Callable[[Client], None], int] = {
    Client.cost_sheet: 25,
    Client.known_cost_sheet: 10,
    Client.price_sheet: 15,
    Client.price_list: 3,
    Client.rate_card: 2,
    Client.quotations: 5,
    Client.quotation: 6,
    Client.quotation_page: 2,
    Client.draft: 12,
    Client.issue: 6,
    Client.accept: 2,
    Client.material_rate: 6,
    Client.tariff_rate: 3,
    Client.preview: 1,
    Client.reprice: 2,
}
"""Of a hundred requests."""


def ask_on(client: Client, seconds: float) -> list[Asked]:
    """Ask without a pause for so long; in a process of its own, so that no client waits for another's."""
    kinds, weights = list(MIX), list(MIX.values())
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        client.chance.choices(kinds, weights)[0](client)
    return client.asked
