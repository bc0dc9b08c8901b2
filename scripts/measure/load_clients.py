"""Clients of a load benchmark: their mix of requests, and the time of each answer."""

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
BUSY = 503
"""Told with the seconds to wait; then the same is asked again."""
RECENT = 50
"""Most quotations of its own that a client remembers."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One request and its answer.

    Attributes:
        kind: kind of request.
        begun: start, in seconds of the machine's clock.
        seconds: time to the complete answer.
        status: HTTP status; 0 if there was no answer.
        told: beginning of an unexpected answer.
        wait: seconds that the client was told to wait before it asks again.
    """

    kind: str
    begun: float
    seconds: float
    status: int
    told: str = ""
    wait: int = 0


def percentile(seconds: list[float], share: float) -> float:
    """A percentile of sorted times."""
    return seconds[max(0, -(-len(seconds) * int(share * 1000) // 1000) - 1)]


@dataclass(slots=True)
class Client:
    """Sends one request after the other over one connection, without a pause unless it is told to wait.

    Attributes:
        products: codes of products; `listings` those of listings.
        asked: all requests, in order.
        drafts: its quotations that can be issued.
        issued: its quotations that can be accepted.
        tags: entity tags of known sheets, by address.
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
        """Make a connection, which opens with the first request."""
        self.connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)

    def ask(self, kind: str, method: str, path: str, body: Any = None, *, tag: str = "") -> tuple[int, Any, bytes]:
        """Send a request, and again if told to wait; returns status, headers and body of the answer."""
        headers = {"Authorization": f"Bearer {self.key}"}
        if method == "POST":
            headers["Idempotency-Key"] = f'"{uuid4()}"'
        if tag:
            headers["If-None-Match"] = tag
        sent = None
        if body is not None:
            headers["Content-Type"], sent = "application/json", json.dumps(body)
        while True:
            found = self._timed(kind, method, path, sent, headers)
            if not self.asked[-1].wait:
                return found
            time.sleep(self.asked[-1].wait)

    def _timed(
        self, kind: str, method: str, path: str, sent: str | None, headers: dict[str, str]
    ) -> tuple[int, Any, bytes]:
        begun = time.perf_counter()
        try:
            status, known, content = self._answer(method, path, sent, headers)
        except (OSError, http.client.HTTPException) as error:
            self.connection.close()  # it is opened again by the next request
            status, known, content = 0, {}, repr(error).encode()
        told = "" if status in ANSWERED else content[:300].decode(errors="replace")
        wait = int(known.get("Retry-After", 0)) if status == BUSY else 0
        self.asked.append(Asked(kind, begun, time.perf_counter() - begun, status, told, wait))
        return status, known, content

    def _answer(self, method: str, path: str, sent: str | None, headers: dict[str, str]) -> tuple[int, Any, bytes]:
        self.connection.request(method, f"/v1/{path}", sent, headers)
        answer = self.connection.getresponse()
        return answer.status, answer.headers, answer.read()

    def any_product(self) -> str:
        """The code of a random product."""
        return self.chance.choice(self.products)

    def cost_sheet(self) -> None:
        """A cost sheet of a random batch, most likely a new one."""
        quantity = self.chance.randrange(1, 5000)
        self.ask("cost sheet", "GET", f"products/{self.any_product()}/cost-sheet?quantity={quantity}")

    def known_cost_sheet(self) -> None:
        """A cost sheet of a common batch, with its last entity tag."""
        path = f"products/{self.any_product()}/cost-sheet?quantity=500"
        _, headers, _ = self.ask("cost sheet, known", "GET", path, tag=self.tags.get(path, ""))
        self.tags[path] = headers.get("ETag", "")

    def price_sheet(self) -> None:
        """A price sheet of a listing."""
        listing = self.chance.choice(self.listings)
        self.ask("price sheet of a listing", "GET", f"listings/{listing}/price-sheet")

    def price_list(self) -> None:
        """The price list."""
        self.ask("price list", "GET", "price-list")

    def rate_card(self) -> None:
        """The rate card."""
        self.ask("rate card", "GET", "rate-card")

    def quotations(self) -> None:
        """A page of quotations."""
        self.ask("list of quotations", "GET", "quotations?limit=50")

    def quotation(self) -> None:
        """A quotation of its own."""
        if self.issued:
            self.ask("quotation", "GET", f"quotations/{self.chance.choice(self.issued)}")

    def quotation_page(self) -> None:
        """A quotation of its own, as the customer reads it."""
        if self.issued:
            self.ask("quotation as a page", "GET", f"quotations/{self.chance.choice(self.issued)}/quotation.html")

    def draft(self) -> None:
        """Draft a quotation of one to three products."""
        products = self.chance.sample(self.products, self.chance.randrange(1, 4))
        lines = [{"product": code, "quantity": self.chance.randrange(1, 2000), **LINE} for code in products]
        body = {"customer": {"name": "Harbour Garden Trust"}, "lines": lines}
        status, _, content = self.ask("quotation drafted", "POST", "quotations", body)
        if status == 201:
            self.drafts = [*self.drafts, json.loads(content)["id"]][-RECENT:]

    def issue(self) -> None:
        """Issue the latest draft."""
        if self.drafts:
            name = self.drafts.pop()
            if self.ask("quotation issued", "POST", f"quotations/{name}/issue")[0] == 200:
                self.issued = [*self.issued, name][-RECENT:]

    def accept(self) -> None:
        """Accept the quotation issued last."""
        if self.issued:
            self.ask("quotation accepted", "POST", f"quotations/{self.issued.pop()}/accept", {})

    def material_rate(self) -> None:
        """Change the price of a material."""
        price = {"amount": f"0.{self.chance.randrange(30, 99)}", "currency": "EUR"}
        code = self.chance.choice(["hdpe-flakes", "pp-flakes", "ldpe-flakes", "ps-flakes"])
        self.ask("rate changed", "PUT", f"materials/{code}/rates/{DAY}", {"price": price})

    def tariff_rate(self) -> None:
        """Change the electricity rate."""
        bands = {
            band: {"amount": f"0.{self.chance.randrange(150, 400)}", "currency": "EUR"} for band in ("day", "night")
        }
        self.ask("rate changed", "PUT", f"tariffs/grid/rates/{DAY}", {"price_per_kwh": bands})

    def preview(self) -> None:
        """Preview a repricing of all listings."""
        self.ask("repricing previewed", "POST", "repricings", {})

    def reprice(self) -> None:
        """Apply a repricing of all listings."""
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
"""Share of each request, in per cent."""


def ask_on(client: Client, seconds: float) -> list[Asked]:
    """Send requests for so many seconds; in a process of its own, so that clients do not block each other."""
    kinds, weights = list(MIX), list(MIX.values())
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        client.chance.choices(kinds, weights)[0](client)
    return client.asked
