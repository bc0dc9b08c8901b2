"""Interest that a month bears twice, under its own name and in the rates of machines: a warning, never an error."""

import re
import unicodedata
from collections.abc import Iterable

from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import Convert, MachineRate
from service.domain.values.exact import MONTHS_PER_YEAR, ZERO, exactly, half_up
from service.domain.values.message import Message, RateWarning
from service.domain.values.money import minor_unit_decimals
from service.domain.values.references import Registered

_ENGLISH = "en"
_WORDS = {
    _ENGLISH: r"\binterest\b|\bloans?\b",
    "de": r"(?<!miet)(?<!pacht)zins|darlehen|kredit(?!kart)",
    "es": r"\binteres(es)?\b|\bprestamos?\b",
    "fr": r"\binterets?\b|\bemprunts?\b|\bprets?\b",
    "nl": r"rente\b|\brente|(?<!ver)lening",
    "pt": r"\bjuros?\b|\bemprestimos?\b",
}
"""Words for interest and loans in each language, without accents; in German and Dutch also within longer words."""


def is_interest(name: str, language: str) -> bool:
    """Whether a cost is named as interest or a loan, in a language or in English."""
    parts = unicodedata.normalize("NFD", name.casefold())
    plain_name = "".join(each for each in parts if not unicodedata.combining(each))
    return any(re.search(_WORDS[each], plain_name) for each in dict.fromkeys((language, _ENGLISH)) if each in _WORDS)


@exactly
def interest_counted_twice(
    costs: Iterable[str], rates: Iterable[tuple[DatedRate, Registered]], convert: Convert, currency: str
) -> tuple[RateWarning, ...]:
    """A warning if a month bears interest by its own name, and rates of machines hold interest too.

    Args:
        costs: the names of what the month bears as interest besides its rates.
        rates: those that the month bears.
        currency: that amounts are converted into.
    """
    names: dict[str, str] = {}
    interest = ZERO
    for rate, facts in rates:
        if isinstance(rate.terms, MachineRate) and (of_year := rate.terms.per_year(convert)["interest"]):
            names[rate.resource] = facts.name
            interest += of_year / MONTHS_PER_YEAR
    if not names or not (told := tuple(costs)):
        return ()
    text = Message(
        "Interest may be counted twice. It is entered as a fixed cost: {costs}. The rates of these machines hold "
        "{amount} {currency} of it a month: {machines}. If it is for them, leave that cost out, or set interest_share "
        "to 0 in their rates. If it is for something else, give the cost the kind 'other'.",
        costs=told,
        amount=half_up(interest, minor_unit_decimals(currency)),
        currency=currency,
        machines=tuple(names.values()),
    )
    source = "interest on the mean capital tied up is in the machine-hour rate; common practice, no source"
    return (RateWarning(code="interest-counted-twice", resources=tuple(names), text=text, source=source),)
