"""A ledger of what a service that is repeatedly killed has acknowledged, and checks that none of it is lost."""

import contextlib
import json
import random
import threading
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

import requests

DAY = "2026-01-01"
LISTINGS = 8
REPRICING = {"as_of": "2026-11-25"}
QUOTATION = {
    "customer": {"name": "Harbour Garden Trust"},
    "lines": [{"product": "sheet", "quantity": 20, "tax": "vat", "policy": {"target": "margin", "value": "0.35"}}],
}
_UNSETTLED = {409, 429, 503}


def money(amount: str) -> dict[str, str]:
    """An amount in the workshop's currency."""
    return {"amount": amount, "currency": "EUR"}


class Asking:
    """A workshop's session with a service that may be killed at any moment."""

    def __init__(self, url: str, key: str) -> None:
        self.url, self._session = url, requests.Session()
        self._session.headers["Authorization"] = f"Bearer {key}"

    def send(self, method: str, path: str, body: Any = None, key: str | None = None) -> requests.Response:
        """Send a request."""
        headers = {"Idempotency-Key": f'"{key}"'} if key else {}
        return self._session.request(method, f"{self.url}{path}", json=body, headers=headers, timeout=60)

    def all_of(self, path: str) -> Iterator[dict[str, Any]]:
        """Every entry of a list."""
        following: str | None = f"{path}{'&' if '?' in path else '?'}limit=500"
        while following:
            answer = self.send("GET", following)
            answer.raise_for_status()
            page = answer.json()
            yield from page["items"]
            following = page["next"]


@dataclass
class Put:
    """The last write to an address.

    Attributes:
        etag: entity tag of the last answer; None before the first.
        body: the body acknowledged.
        unanswered: later bodies without an answer, which may have been stored.
    """

    etag: str | None = None
    body: Any = None
    unanswered: list[Any] = field(default_factory=list)


@dataclass
class Ledger:
    """All requests and their answers.

    Attributes:
        puts: by address.
        created: by key, path, body, status and id of each creation.
        unanswered: by key, creations without an answer.
        quotations: by id, the last state acknowledged, and the number.
        wrong: disagreements found.
        counts: number of operations by kind.
    """

    puts: dict[str, Put] = field(default_factory=dict)
    created: dict[str, tuple[str, Any, int, str | None]] = field(default_factory=dict)
    unanswered: dict[str, tuple[str, Any]] = field(default_factory=dict)
    quotations: dict[str, tuple[str, str | None]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def expect(self, is_so: bool, told: str) -> None:
        """Add the sentence to `wrong` if the condition is false."""
        if not is_so:
            self.wrong.append(told)

    def put(self, asking: Asking, path: str, body: Any) -> None:
        """Write, and record the answer."""
        entry = self.puts.setdefault(path, Put())
        entry.unanswered.append(body)
        answer = asking.send("PUT", path, body)
        if answer.status_code in (200, 201):
            entry.etag, entry.body, entry.unanswered = answer.headers["ETag"], body, []
            self.counts["rates and registrations"] += 1
        else:  # if the database died during the commit, it may have committed
            self._refused(answer, path)

    def create(self, asking: Asking, path: str, body: Any, key: str) -> requests.Response | None:
        """Create something under the key; None without a final answer."""
        with self.lock:
            self.unanswered[key] = (path, body)
        answer = asking.send("POST", path, body, key)
        if answer.status_code not in (200, 201):
            self._refused(answer, path)
            return None
        with self.lock:
            del self.unanswered[key]
            self.created[key] = (path, body, answer.status_code, answer.json()["id"])
            if path == "/v1/quotations":
                self.quotations[answer.json()["id"]] = ("draft", None)
            self.counts["quotations made" if path == "/v1/quotations" else "repricings asked for"] += 1
        return answer

    def step(self, asking: Asking, quotation: str, step: str) -> None:
        """Issue or accept."""
        answer = asking.send("POST", f"/v1/quotations/{quotation}/{step}", {} if step == "accept" else None)
        if answer.status_code != 200:
            self._refused(answer, step)
            return
        with self.lock:
            self.quotations[quotation] = (answer.json()["status"], answer.json()["number"])
            self.counts[f"quotations {step}ed".replace("eed", "ed")] += 1

    def _refused(self, answer: requests.Response, what: str) -> None:
        self.counts[f"answered {answer.status_code}"] += 1
        self.expect(answer.status_code in _UNSETTLED, f"{what} was answered {answer.status_code}: {answer.text[:300]}")


def register(asking: Asking) -> None:
    """A workshop with a product of one material, on sale in several listings."""
    machine = {"replacement_value": money("24000"), "life_years": "10", "planned_hours_per_year": "1600"}
    policy = {"target": "margin", "value": "0.35"}
    listing = {"product": "sheet", "channel": "shop", "currency": "EUR", "locale": "en_IE", "policy": policy}
    sheet = {
        "name": "Sheet",
        "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "9.6"}],
        "operations": [{"name": "pressing", "machine": "press", "cycle_minutes": "40", "band_shares": {"all": "1"}}],
    }
    facts = {
        "tariffs/grid": {"name": "Grid", "bands": ["all"]},
        "tariffs/grid/rates": {"price_per_kwh": {"all": money("0.3")}},
        "machines/press": {"name": "Press", "rated_power_kw": "12", "tariff": "grid"},
        "machines/press/rates": machine,
        "materials/hdpe": {"name": "HDPE flakes", "unit": "kg"},
        "materials/hdpe/rates": {"price": money("0.8")},
        "channels/shop": {"name": "Shop", "display": "tax_inclusive"},
        "channels/shop/rates": {"currency": "EUR", "fees": []},
        "taxes/vat": {"name": "VAT 21 %"},
        "taxes/vat/rates": {"rate_share": "0.21"},
        "products/sheet": sheet,
        **{f"listings/sheet-{each}": {**listing, "standard_batch": 10 + each} for each in range(LISTINGS)},
    }
    for path, body in facts.items():
        place = f"/v1/{path}/{DAY}" if path.endswith("/rates") else f"/v1/{path}"
        answer = asking.send("PUT", place, body)
        if answer.status_code != 201:
            raise SystemExit(f"{place}: {answer.text}")


def write(ledger: Ledger, asking: Asking, number: int, seed: str) -> None:
    """One client: writes to its own addresses until the service is gone. The first client reprices."""
    chance = random.Random(seed)
    with contextlib.suppress(requests.RequestException):
        while True:
            if number == 0:
                ledger.put(asking, f"/v1/materials/hdpe/rates/{DAY}", {"price": money(_price(chance))})
                ledger.create(asking, "/v1/repricings", {**REPRICING, "apply": True}, str(uuid4()))
                continue
            code = f"/v1/materials/c{number}-{chance.randrange(5)}"
            ledger.put(asking, code, {"name": f"Material {_price(chance)}", "unit": "kg"})
            ledger.put(asking, f"{code}/rates/{DAY}", {"price": money(_price(chance))})
            made = ledger.create(asking, "/v1/quotations", QUOTATION, str(uuid4()))
            for step in ("issue", "accept")[: chance.randrange(3)] if made is not None else ():
                ledger.step(asking, made.json()["id"], step)  # type: ignore[union-attr]


def _price(chance: random.Random) -> str:
    return f"{chance.randrange(1, 10)}.{chance.randrange(1, 10**6):06}1"  # does not end in 0, so it is returned as sent


class Check:
    """Checks the restarted service for everything not yet checked."""

    def __init__(self, ledger: Ledger, asking: Asking) -> None:
        self.ledger, self.asking = ledger, asking
        self._looked_at: set[str] = set()

    def __call__(self) -> None:
        """Check everything once."""
        self._ask_again()
        self._check_puts()
        self._check_quotations()
        self._check_repricings()

    @property
    def is_settled(self) -> bool:
        """Whether every creation has been answered."""
        return not self.ledger.unanswered

    def _ask_again(self) -> None:
        """Repeat every unanswered creation with its key, and the last answered ones."""
        ledger = self.ledger
        for key, (path, body) in list(ledger.unanswered.items()):
            if ledger.create(self.asking, path, body, key) is not None:
                ledger.counts["unanswered creations retried"] += 1
        for key, (path, body, status, found) in list(ledger.created.items())[-5:]:
            again = self.asking.send("POST", path, body, key)
            same = (again.status_code, again.json().get("id")) == (status, found)
            ledger.expect(same, f"{path} {key} was answered {status} {found}, then {again.status_code} {again.text}")

    def _check_puts(self) -> None:
        for path, entry in self.ledger.puts.items():
            answer = self.asking.send("GET", path)
            found, etag = answer.json(), answer.headers.get("ETag")
            if answer.status_code == 404 and entry.etag is None:
                continue
            is_old = entry.etag is not None and etag == entry.etag and _agrees(entry.body, found)
            is_new = etag != entry.etag and any(_agrees(body, found) for body in entry.unanswered)
            self.ledger.expect(is_old or is_new, f"{path} is {etag} {json.dumps(found)}, but {entry} was written")
            if is_new:
                entry.etag, entry.body = etag, next(body for body in entry.unanswered if _agrees(body, found))
                self.ledger.counts["unanswered writes that were done"] += 1
            entry.unanswered = []

    def _check_quotations(self) -> None:
        ledger = self.ledger
        listed = {each["id"]: each for each in self.asking.all_of("/v1/quotations")}
        ledger.expect(listed.keys() == ledger.quotations.keys(), f"lost {ledger.quotations.keys() - listed.keys()}, "
                      f"made without an answer {listed.keys() - ledger.quotations.keys()}")  # fmt: skip
        numbers = sorted(each["number"] for each in listed.values() if each["number"])
        expected = [f"Q{number:06d}" for number in range(1, len(numbers) + 1)]
        ledger.expect(numbers == expected, "the numbers have a gap or are given twice")
        for found, (status, number) in list(ledger.quotations.items()):
            if found in listed:
                self._check_quotation(listed[found], status, number)

    def _check_quotation(self, shown: dict[str, Any], status: str, number: str | None) -> None:
        ledger, name = self.ledger, shown["id"]
        states = ["draft", "issued", "accepted"]
        is_kept = states.index(shown["status"]) >= states.index(status) and number in (None, shown["number"])
        ledger.expect(is_kept, f"quotation {name} was {status} {number}, and is {shown['status']} {shown['number']}")
        ledger.quotations[name] = (shown["status"], shown["number"])
        if (looked := f"{name} {shown['status']}") in self._looked_at:
            return
        self._looked_at.add(looked)
        again = self.asking.send("GET", f"/v1/quotations/{name}/recomputation").json()
        ledger.expect(again.get("agrees") is True, f"quotation {name} computed again: {again}")
        events = [each["event"] for each in self.asking.send("GET", f"/v1/quotations/{name}/events").json()["items"]]
        wanted = ["drafted", "issued", "accepted"][: states.index(shown["status"]) + 1]
        ledger.expect(events == wanted, f"quotation {name} is {shown['status']}, its events are {events}")
        ledger.counts["quotations computed again"] += 1

    def _check_repricings(self) -> None:
        """Check that exactly the acknowledged ones exist, all complete, and that the last one's prices are in force."""
        ledger = self.ledger
        listed = [each["id"] for each in self.asking.all_of("/v1/repricings")]
        told = [found for path, _, _, found in ledger.created.values() if path == "/v1/repricings" and found]
        ledger.expect(Counter(listed) == Counter(told), f"repricings {set(listed) ^ set(told)} are lost or not told of")
        for name in listed:
            if name not in self._looked_at:
                self._looked_at.add(name)
                changes = list(self.asking.all_of(f"/v1/repricings/{name}/changes"))
                ledger.expect(len(changes) == LISTINGS, f"repricing {name} has {len(changes)} of {LISTINGS} changes")
                ledger.counts["repricings looked at"] += 1
        if listed:
            self._check_prices(listed[0])

    def _check_prices(self, last: str) -> None:
        """Check that the prices in force are those that the last repricing recorded."""
        recorded = {each["listing"]: each["new"] for each in self.asking.all_of(f"/v1/repricings/{last}/changes")}
        preview = self.asking.send("POST", "/v1/repricings", {**REPRICING, "include_unchanged": True}).json()
        for change in preview["changes"]["items"]:
            in_force, listing = change["old"] or {}, change["listing"]
            wanted = (last, recorded.get(listing, {}).get("price"))
            is_so = (in_force.get("repricing"), in_force.get("price")) == wanted
            self.ledger.expect(is_so, f"{listing} has {in_force} in force, not {wanted}")
        self.ledger.expect(len(preview["changes"]["items"]) == LISTINGS, f"a preview has not all {LISTINGS} listings")


def _agrees(sent: Any, found: Any) -> bool:
    """Whether the answer has every member that was sent, with the same value."""
    return isinstance(found, dict) and all(found.get(name) == value for name, value in sent.items())
