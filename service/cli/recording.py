"""Records what the examples of the contract are answered: each is sent as it stands, in order, to a new workshop.

Nothing is answered by hand: a service over an empty database answers on a fixed day. Only the ids that it gives are
replaced, by their order, and its exchange rates come from an invented feed.
"""

import json
import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

import flask

from service import clock
from service.api.contract.document import Document, operations
from service.api.contract.examples import DAY
from service.api.http.forms import CSV, JSON, JSON_LD, NDJSON, TEXT
from service.app import create_app
from service.config import Settings
from service.domain.currency.exchange_rates import FEED, DayRates
from service.feeds.reference_rates import BASE, Published, ReferenceRates, Span
from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys

Answers = dict[str, dict[str, Any]]
"""Answers by operation and status; JSON as data, else text."""
_WORKSHOP = {
    "name": "Sieve Lane Plastics Workshop",
    "address": "3 Sieve Lane\nPort Quillan\n(an invented workshop in an invented town)",
    "currency": "EUR",
    "locale": "en_IE",
    "time_zone": "Europe/Dublin",
}
_NOW = datetime.combine(date.fromisoformat(DAY), time(9, 30), ZoneInfo("Europe/Dublin"))
_SHOWN = (JSON, CSV, JSON_LD, NDJSON, TEXT)
_CHANGING = ("getMetrics",)
"""Operations whose answers are never the same."""
_ID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}")
_SUCCESS = range(200, 300)


class UnansweredError(Exception):
    """An example of the contract is refused."""


class _InventedFeed(ReferenceRates):
    """A feed whose newest rates jump, so that they are held back."""

    def published(self, span: Span, today: date, conditions: Mapping[str, str]) -> Published | None:
        """The rates of one day; or of three, of which the last two jump."""
        rates = ["1.1580"] if span is Span.LATEST else ["1.1580", "11.5810", "1.9870"]
        days = [today - timedelta(days=each) for each in (2, 1, 0)]
        return Published(days=tuple(map(_day_of, days, rates)), conditions={})


def _day_of(day: date, dollars: str) -> DayRates:
    rates = {"GBP": Decimal("0.8640"), "USD": Decimal(dollars)}
    return DayRates(source=FEED, base=BASE, published_on=day, rates=rates)


def recorded() -> Answers:
    """The answers to all examples of the contract; raises UnansweredError if one is refused."""
    with TemporaryDirectory(prefix="pugmill-") as folder, clock.set_to(_NOW):
        url = f"sqlite:///{Path(folder) / 'examples.db'}"
        database = Database(url)
        migrate(database)
        app = create_app(Settings(database_url=url, rate_limit=None))
        app.extensions["pugmill.feed"] = _InventedFeed(base_address="")
        key = keys.create_workshop(database, new_workshop(**_WORKSHOP), "examples")
        try:
            return _answers(app, key)
        finally:
            app.extensions["pugmill.database"].dispose()
            database.dispose()


def written(answers: Answers) -> str:
    """The answers as text, one operation on a line, so that a change shows where it is."""
    lines = (f"{json.dumps(name)}: {json.dumps(each, ensure_ascii=False)}" for name, each in answers.items())
    return "{\n" + ",\n".join(lines) + "\n}\n"


def _answers(app: flask.Flask, key: str) -> Answers:
    document = app.extensions["pugmill.api"].document(with_answers=False)
    client, found, ids = app.test_client(), Answers(), dict[str, str]()
    for template, method, operation in operations(document):
        if not _is_shown(operation):  # a paper or a picture, which changes nothing
            continue
        for address, options in requests_of(document, template, operation):
            options["headers"]["Authorization"] = f"Bearer {key}"
            # A PUT is sent twice: it creates, then changes nothing.
            for _ in range(2 if method == "put" else 1):
                answer = client.open(address, method=method.upper(), buffered=True, **options)
                if answer.status_code not in _SUCCESS:
                    raise UnansweredError(f"{method.upper()} {address} is answered {answer.status}: {answer.text}")
                if answer.mimetype in _SHOWN:
                    shown = found.setdefault(operation["operationId"], {})
                    shown[str(answer.status_code)] = _data(answer, ids)
    return found


def _is_shown(operation: Document) -> bool:
    """Whether its answer can be shown, or it has none."""
    forms = [form for answer in operation["responses"].values() for form in answer.get("content", ())]
    return operation["operationId"] not in _CHANGING and (not forms or any(form in _SHOWN for form in forms))


def _data(answer: Any, ids: dict[str, str]) -> Any:
    """The answer as data, with ids that tell their order."""

    def renamed(given: re.Match[str]) -> str:
        return ids.setdefault(given[0], f"019abcde-0000-7000-8000-{len(ids) + 1:012}")

    text = _ID.sub(renamed, answer.get_data(as_text=True))
    return json.loads(text) if answer.mimetype in (JSON, JSON_LD) else text


def requests_of(document: Document, template: str, operation: Document) -> Iterator[tuple[str, dict[str, Any]]]:
    """Address and options of each request that the examples of an operation make, the first ones first.

    Examples of the same name belong together; what has none of that name is sent with its first.
    """
    parameters = [_resolved(document, each) for each in operation.get("parameters", ())]
    body = next(iter(operation.get("requestBody", {}).get("content", {}).items()), None)
    places = [*parameters, *([body[1]] if body else [])]
    names = dict.fromkeys(name for place in places for name in place.get("examples", ()))
    sent = []
    for name in names or [""]:
        told = {(each["in"], each["name"]): _example(document, each, name) for each in parameters}
        address = template
        for (where, parameter), value in told.items():
            if where == "path":
                address = address.replace(f"{{{parameter}}}", quote(str(value), safe=""))
        query, headers = (
            {parameter: value for (where, parameter), value in told.items() if where == place and value is not None}
            for place in ("query", "header")
        )
        options: dict[str, Any] = {"headers": headers, "query_string": query}
        if body is not None:
            data = _example(document, body[1], name)
            options |= {"data": data if isinstance(data, str) else json.dumps(data), "content_type": body[0]}
        if (address, options) not in sent:
            sent.append((address, options))
    for address, options in sent:
        yield address, {**options, "headers": dict(options["headers"])}


def _example(document: Document, place: Document, name: str) -> Any:
    """The example of that name, or the first; None if there is none."""
    named = place.get("examples", {})
    if not named:
        return place.get("example")
    return _resolved(document, named.get(name) or next(iter(named.values())))["value"]


def _resolved(document: Document, part: Document) -> Document:
    kind, _, name = part.get("$ref", "").removeprefix("#/components/").partition("/")
    return document["components"][kind][name] if name else part
