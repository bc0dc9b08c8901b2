"""The verdict on a month, and for a plan that cannot be made what is missing and what fits."""

from collections.abc import Callable, Iterator

from service.documents.month.month_writing import MonthWriting
from service.documents.writing.formats import isolated
from service.domain.month.best_mix_statement import MixOutcome
from service.domain.month.statement import LoadStatement, MonthStatement
from service.domain.month.verdict import Verdict
from service.domain.values.money import in_currency


def verdict(of: MonthWriting) -> str:
    """Whether the plan can be made, and then whether it pays."""
    profit, words = of.month.profit, of.words
    match of.month.verdict:
        case Verdict.CANNOT_BE_MADE:
            missing = (_missing(of, load, isolated) for load in _over_full(of))
            return " ".join([words("The plan cannot be made."), *missing, *_what_fits(of)])
        case Verdict.LOSES:
            short = in_currency(-profit.amount, profit.currency)
            return words("The month does not pay: the plan is {shortfall} short.", shortfall=of.money(short))
        case Verdict.BREAKS_EVEN:
            return words("The month breaks even: nothing is left and nothing is short.")
        case Verdict.PAYS:
            return words("The month pays: the plan leaves {profit}.", profit=of.money(profit))


def why_it_cannot_be_made(statement: MonthStatement, locale: str, shown: Callable[[str], str]) -> tuple[str, ...]:
    """The resource that lacks the most time, and what the best mix that fits leaves; empty if the plan can be made.

    Args:
        shown: how the name of a resource is written.
    """
    of = MonthWriting(statement, locale)
    missing = [_missing(of, load, shown) for load in _over_full(of)[:1]]
    return (*missing, *_what_fits(of)) if missing else ()


def _over_full(of: MonthWriting) -> list[LoadStatement]:
    """The resources with too little time, the one that lacks the most first."""
    return sorted((load for load in of.month.loads if load.is_over_full), key=lambda load: not load.is_bottleneck)


def _missing(of: MonthWriting, load: LoadStatement, shown: Callable[[str], str]) -> str:
    needed, available = of.minutes(load)
    told = of.words(
        "It needs {needed} minutes of {name}, and there are {available}",
        needed=needed,
        name=shown(load.name),
        available=available,
    )
    return f"{told} ({of.share(load.load_share)})." if load.load_share is not None else f"{told}."


def _what_fits(of: MonthWriting) -> Iterator[str]:
    """What the best mix leaves, if one is known."""
    best, words = of.month.best_mix, of.words
    if best is None or best.outcome is not MixOutcome.FOUND or best.profit is None:
        return
    if best.profit.amount < 0:
        short = in_currency(-best.profit.amount, best.profit.currency)
        yield words("The best mix found that fits is {shortfall} short.", shortfall=of.money(short))
    else:
        yield words("The best mix found that fits leaves {profit}.", profit=of.money(best.profit))
