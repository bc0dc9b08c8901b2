r"""Change what electricity costs from a day on, and reprice the listings that this affects.

    pugmill change-tariff grid --from 2026-11-30 \
        --price day=0.39 --price night=0.24 --dry-run
    pugmill change-tariff grid --from 2026-11-30 \
        --price day=0.39 --price night=0.24 \
        --least-move 0.01 --greatest-move 0.25 --csv changes.csv
    pugmill change-tariff grid --from 2026-11-30 \
        --standing-charge 41.50 --rate-only

Terms not given stay as in the rate in force on that day. New prices are computed with the rates of that day, or of
today if that is later, and are in force from that day on. To change them by hand, give --rate-only and run
pugmill reprice later. The command can be repeated: it continues where it was interrupted, and changes nothing
twice. Shares are fractions of one.
"""

from datetime import date, datetime
from typing import Any, BinaryIO

import click

from service.client.command import NamedAmount, Options, option, owners_command
from service.client.ends import RefusedError
from service.client.files.new_file import new_file
from service.client.http import Service
from service.client.members import Path
from service.client.rates import Rates, Terms, new_terms, next_day, put_rate, read_rates, terms_in_force, try_rate
from service.client.repricing import Answer, Question, question_of, repriced, show, with_repricing

_RATE = "The rate"
_CHARGES = ("standing_charge_per_month", "demand_charge_per_month")


def _day(_context: click.Context, _parameter: click.Parameter, text: str) -> str:
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise click.BadParameter(f"'{text}' is not a day; write for instance 2026-11-30") from None


@owners_command(__doc__)
@click.argument("tariff", help="The tariff's code.")
@option("--from", "day", metavar="DAY", required=True, callback=_day, help="The first day of the rate.")
@option("--rate-only", is_flag=True, help="Change the rate and leave the prices alone.")
@option(
    "--price",
    section=_RATE,
    metavar="BAND=AMOUNT",
    multiple=True,
    type=NamedAmount("the price of a band", "day=0.39"),
    help="Price of a kWh in a band; repeat for each band.",
)
@option("--standing-charge", _CHARGES[0], section=_RATE, metavar="AMOUNT", help="Charge per month; '' removes it.")
@option("--demand-charge", _CHARGES[1], section=_RATE, metavar="AMOUNT", help="Charge per month; '' removes it.")
@option("--expected-kwh", section=_RATE, metavar="KWH", help="kWh a month over which the charges are spread.")
@option("--currency", section=_RATE, metavar="CODE", help="Currency of these amounts (default: the present rate's).")
@with_repricing
def change_tariff(service: Service, options: Options) -> None:
    """Run the command; prints only at the end, because a closed pipe would interrupt it."""
    if options.rate_only and options.csv:
        raise click.UsageError("--csv writes changed prices, and --rate-only leaves them alone")
    resource, answer = f"tariffs/{options.tariff}", None
    rates = read_rates(service, resource)
    before = terms_in_force(rates, options.day)
    terms = new_terms(before, changes(options, before))
    with new_file(options.csv) as file:
        store = try_rate if options.dry_run else put_rate
        stored = store(service, resource, options.day, terms, rates)
        done = "\n".join([told(options, rates, stored.outcome), *stored.warnings])
        if not options.rate_only:
            answer = _repriced(service, options, question(options, resource, terms), done, file)
    print(done)
    if answer:
        print()
        show(answer, options)


def _repriced(service: Service, options: Options, question: Question, done: str, file: BinaryIO | None) -> Answer:
    try:
        return repriced(service, question, is_dry_run=options.dry_run, file=file)
    except RefusedError as error:
        raise type(error)(f"{done} Then {error}", error.status) from None


def question(options: Options, resource: str, terms: Terms) -> Question:
    """Which listings to reprice: those that depend on the rate, in a dry run at the new terms."""
    supposed = {"rates": {resource: terms}} if options.dry_run else {}
    options.as_of = options.as_of or _pricing_day(options.day)
    return question_of(options, {"resources": [resource]}, **supposed)


def changes(options: Options, before: Terms) -> dict[Path, Any]:
    """The changes given on the command line, by the paths of the rate's members."""
    currency = options.currency or _currency(before)

    def amount(figure: str) -> dict[str, str] | None:
        if figure and currency is None:
            raise click.UsageError("no rate in force names a currency: give --currency")
        return {"amount": figure, "currency": str(currency)} if figure else None

    found: dict[Path, Any] = {("price_per_kwh", band): amount(price) for band, price in options.price}
    charges = {name: getattr(options, name) for name in _CHARGES}
    found |= {(name,): amount(charge) for name, charge in charges.items() if charge is not None}
    if options.expected_kwh is not None:
        found["expected_kwh_per_month",] = options.expected_kwh
    if not found:
        raise click.UsageError(
            "say what changes, for instance --price day=0.39; to reprice without a change, run 'pugmill reprice'"
        )
    return found


def _currency(terms: Terms) -> str | None:
    amounts = [*terms.get("price_per_kwh", {}).values(), *(terms[name] for name in _CHARGES if name in terms)]
    return amounts[0]["currency"] if amounts else None


def _pricing_day(first: str) -> str:
    """The first day of the rate or, if it has begun, today, so that later rates count too."""
    return max(first, datetime.now().astimezone().date().isoformat())


def told(options: Options, rates: Rates, outcome: str) -> str:
    """What happens to the rate, in one line."""
    would = "would be " if options.dry_run else ""
    following = next_day(rates, options.day)
    end = f", until another begins on {following}" if following else ""
    return f"The rate of tariffs/{options.tariff} from {options.day} {would or 'is '}{outcome}{end}."
