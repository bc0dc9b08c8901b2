"""Documents that another database stored, read as strictly as what a client sends."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import is_dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Any, NamedTuple, get_origin
from uuid import UUID

from cattrs import Converter, ForbiddenExtraKeysError, transform_error
from cattrs.cols import homogenous_tuple_structure_factory, mapping_structure_factory
from cattrs.gen import make_dict_structure_fn

from service.domain.audit import Action
from service.domain.currency.jump_check import Jump
from service.domain.listing.price_change import PriceChange, RepricingBasis, RepricingFigures
from service.domain.listing.repricing import Decision, RepricingRequest
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.life import Event, Status
from service.domain.quoting.quotation import Acceptance, QuotationFigures, Remarks
from service.domain.quoting.request import QuotationRequest
from service.domain.records.batch_record import BatchRecord
from service.domain.records.observation import Observation
from service.domain.register import COLLECTIONS
from service.domain.reviewing.day_facts import DayFacts
from service.domain.selling.base_quantity import base_quantity_problems
from service.domain.selling.letterhead import Letterhead
from service.domain.selling.seller import Seller
from service.domain.values.declared import MAX_DIGITS, Code, Name, Text, declared, first_of, rules_and_type
from service.domain.values.errors import InvalidValuesError
from service.domain.values.forms import FIRST_DAY, day_of, decimal_of, locale_problem, time_zone_problem
from service.domain.values.message import Message
from service.domain.values.money import currency_problem
from service.domain.values.units import SoldQuantity, Unit
from service.encoding import plain_data, with_decoders
from service.store.engine import column_types  # noqa: F401 (it says how messages and dated rates are decoded)

COMPUTED_DIGITS = 100
"""Most digits of a computed figure: 34 of them (`exactly`), after so many zeros."""
MAX_INTEGER = 10**18 - 1
MAX_ADDRESS = 10_000
_MOST_TOLD = 5


def _must_be(form: type, words: str, data: Any) -> Any:
    if type(data) is not form:
        raise ValueError(words)
    return data


def _whole_number(data: Any, _: Any) -> int:
    if type(data) is not int or abs(data) > MAX_INTEGER:
        raise ValueError("must be a whole number of at most 18 digits")
    return data


def _decimal_of(data: Any, digits: int) -> Decimal:
    """A decimal; quantities were whole numbers of pieces before other units were sold."""
    if type(data) is int:
        return Decimal(_whole_number(data, int))
    return decimal_of(data if isinstance(data, str) else None, digits)


def _instant(data: Any, _: Any) -> datetime:
    found = datetime.fromisoformat(_must_be(str, "must be an instant", data))
    if found.tzinfo is None:
        raise ValueError("must be an instant with its time zone")
    return found


def _check_figures(data: Any) -> None:
    """The facts of a message are decoded before anything else can check them."""
    if isinstance(data, dict):
        if "figure" in data:
            decimal_of(_must_be(str, "must be a decimal", data["figure"]), COMPUTED_DIGITS)
        for each in data.values():
            _check_figures(each)
    elif isinstance(data, list):
        for each in data:
            _check_figures(each)


def _converter(*, digits: int, knows_all: bool) -> Converter:
    """A converter that accepts only what its own encoding writes.

    Args:
        digits: the most digits of a decimal.
        knows_all: whether members that a class does not have are refused.
    """
    converter = Converter(detailed_validation=True)
    hooks: Mapping[type, Callable[[Any, Any], Any]] = {
        Decimal: lambda data, _: _decimal_of(data, digits),
        int: _whole_number,
        str: lambda data, _: _must_be(str, "must be a text", data),
        StrEnum: lambda data, to: to(data),
        bool: lambda data, _: _must_be(bool, "must be true or false", data),
        date: lambda data, _: day_of(data),
        datetime: _instant,
        UUID: lambda data, _: UUID(_must_be(str, "must be an id", data)),
    }
    for to, hook in hooks.items():
        converter.register_structure_hook(to, hook)
    factories: Any = converter

    def add(applies: Callable[[Any], bool], form: type, words: str, make: Callable[[Any], Any]) -> None:
        def factory(hint: Any) -> Any:
            read = make(hint)
            return lambda data, to: read(_must_be(form, words, data), to)

        factories.register_structure_hook_factory(applies, factory)

    def of_class(hint: Any) -> Any:
        return make_dict_structure_fn(hint, converter, _cattrs_forbid_extra_keys=knows_all)

    add(is_dataclass, dict, "must be an object", of_class)
    add(_is(tuple), list, "must be a list", lambda hint: homogenous_tuple_structure_factory(hint, converter))
    add(_is(Mapping), dict, "must be an object", lambda hint: mapping_structure_factory(hint, converter))
    with_decoders(converter)
    read_message = converter.get_structure_hook(Message)

    def message(data: Any, to: Any) -> Any:
        _check_figures(data)
        return read_message(data, to)

    converter.register_structure_hook(Message, message)
    return converter


def _is(origin: Any) -> Callable[[Any], bool]:
    return lambda hint: get_origin(hint) is origin


_sent, _computed = _converter(digits=MAX_DIGITS, knows_all=True), _converter(digits=COMPUTED_DIGITS, knows_all=False)


@declared
class _Bill:
    """A bill of resources as it is stored beside a price."""

    pieces: SoldQuantity
    quantities: Mapping[str, Decimal]
    unit: Unit = Unit.PIECE


class Kind(NamedTuple):
    """What a document is: its type, and whether a client sent it, so that it has no other members."""

    to: Any
    is_sent: bool


def _sent_as(to: Any) -> Callable[[Mapping[str, Any]], Kind]:
    return lambda _: Kind(to, True)


def _computed_as(to: Any) -> Callable[[Mapping[str, Any]], Kind]:
    return lambda _: Kind(to, False)


def _rates_of(row: Mapping[str, Any]) -> Kind:
    return Kind(COLLECTIONS[row["collection"]].terms, True)


DOCUMENTS: dict[str, Callable[[Mapping[str, Any]], Kind]] = {
    "logos.picture": _sent_as(str),
    "letterheads.facts": _sent_as(Seller),
    "registrations.facts": lambda row: Kind(COLLECTIONS[row["collection"]].facts, True),
    "rates.terms": _rates_of,
    "exchange_rates.rates": _sent_as(Mapping[str, Decimal]),
    "held_exchange_rates.rates": _sent_as(Mapping[str, Decimal]),
    "held_exchange_rates.jumps": _sent_as(tuple[Jump, ...]),
    "feed_files.conditions": _sent_as(Mapping[str, str]),
    "quotations.request": _sent_as(QuotationRequest),
    "quotations.basis": _computed_as(QuotationBasis),
    "quotations.figures": _computed_as(QuotationFigures),
    "quotations.remarks": _computed_as(Remarks),
    "quotations.letterhead": _computed_as(Letterhead),
    "quotations.acceptance": _computed_as(Acceptance),
    "quotations.promised": _computed_as(Mapping[str, Decimal]),
    "record_facts.facts": _computed_as(DayFacts),
    "batch_records.record": _sent_as(BatchRecord),
    "batch_records.observations": _computed_as(tuple[Observation, ...]),
    "repricings.request": _sent_as(RepricingRequest),
    "repricings.figures": _computed_as(RepricingFigures),
    "repricings.basis": _computed_as(RepricingBasis),
    "price_changes.change": _computed_as(PriceChange),
    "price_changes.bill": _computed_as(_Bill),
    "listing_prices.bill": _computed_as(_Bill),
    "changes.before": _computed_as(Any),
    "changes.after": _computed_as(Any),
}
"""The kind of each document, by table and column; it may depend on other columns of the row."""


def _rule(hint: Any) -> Callable[[Any], str | None]:
    return first_of(rules_and_type(hint)[0])


def _one_of(words: Iterable[str]) -> Callable[[Any], str | None]:
    allowed = tuple(words)
    return lambda value: None if value in allowed else f"must be one of {', '.join(allowed)}"


def _decimal(text: str) -> str | None:
    try:
        decimal_of(text, COMPUTED_DIGITS)
    except ValueError as error:
        return str(error)
    return None


def _currency(code: str) -> str | None:
    return currency_problem(code, FIRST_DAY)  # ended ones too


def _positive(number: int) -> str | None:
    return None if number > 0 else "must be more than 0"


_collection, _rated = _one_of(COLLECTIONS), _one_of(each.name for each in COLLECTIONS.values() if each.terms)
COLUMNS: dict[str, Callable[[Any], str | None]] = {
    "workshops.name": _rule(Name),
    "workshops.address": _rule(Annotated[str, Text(max_length=MAX_ADDRESS, min_length=0, lines=True)]),
    "workshops.currency": _currency,
    "workshops.locale": locale_problem,
    "workshops.time_zone": time_zone_problem,
    "registrations.collection": _collection,
    "registrations.code": _rule(Code),
    "uses.collection": _collection,
    "uses.used_collection": _collection,
    "rates.collection": _rated,
    "exchange_rates.source": _rule(Name),
    "held_exchange_rates.source": _rule(Name),
    "quotations.status": _one_of(Status),
    "quotations.number": _positive,
    "quotations.version": _positive,
    "quotations.revision": _positive,
    "batch_records.code": _rule(Code),
    "batch_records.product": _rule(Code),
    "batch_records.quotation": _positive,
    "quotation_events.event": _one_of(Event),
    "price_changes.decision": _one_of(Decision),
    "price_changes.price": _decimal,
    "price_changes.unit_cost": _decimal,
    "price_changes.margin_share": _decimal,
    "price_changes.currency": _currency,
    "price_changes.base_quantity": lambda number: next((each.reason for each in base_quantity_problems(number)), None),
    "changes.action": _one_of(Action),
}
"""What is wrong with a value, for columns that hold no document but have a rule."""


def read_document(text: str, kind: Kind) -> Any:
    """The value of a stored document, with all its checks; raises ValueError saying what is wrong and where in it."""
    try:
        data = plain_data(text)
    except ValueError:
        raise ValueError("is not JSON") from None
    if kind.to is Any:
        return data
    try:
        return (_sent if kind.is_sent else _computed).structure(data, kind.to)
    except Exception as error:
        told = (each.rpartition(" @ ") for each in transform_error(error, path="", format_exception=_reason))
        problems = [f"{place.removeprefix('.')}: {reason}" if place else reason for reason, _, place in told]
        raise ValueError("; ".join(problems[:_MOST_TOLD])) from None


def _reason(error: BaseException, _: Any) -> str:
    match error:
        case InvalidValuesError():
            return str(error)
        case ForbiddenExtraKeysError():
            return f"has unknown members {', '.join(sorted(error.extra_fields))[:200]}"
        case KeyError():
            return "something is missing or unknown"
        case ValueError():
            return str(error)[:200]
    return "is not of this form"
