"""What is wrong with an exported workshop as a whole: what its rows say of each other."""

from collections.abc import Iterator, Mapping
from datetime import date

from service.domain.costing.rate_card import rate_problems
from service.domain.currency.exchange_rates import DayRates
from service.domain.listing.listings import Listing, misfits
from service.domain.listing.repricing import COMING_INTO_FORCE
from service.domain.making.nesting import made_in_order
from service.domain.making.overheads import needed_by
from service.domain.making.products import Catalogue, Product, inconsistencies
from service.domain.quoting.life import Status
from service.domain.reviewing.day_facts import DayFacts
from service.domain.selling.logo import logo_problem
from service.domain.values.errors import InvalidValuesError, PugmillError
from service.domain.values.references import Registered, Thing, references_in
from service.store.records.record_facts import digest_of as digest_of_facts
from service.store.workshop.letterheads import digest_of
from service.store.workshop.moving import ReadRow, ReadTables, place_of
from service.workflows.registering.unknown import described


def problems_across(tables: ReadTables) -> Iterator[str]:
    """What would have been refused if the rows had been sent to the service one by one, each with its place."""
    yield from _shown(tables)
    yield from _registered(tables)
    yield from _rated(tables)
    yield from _published(tables)
    yield from _quoted(tables)
    yield from _recorded(tables)
    yield from _priced(tables)
    yield from _of_later_revisions(tables)


def _shown(tables: ReadTables) -> Iterator[str]:
    for number, row in enumerate(tables.rows["logos"]):
        picture, at = row.documents["picture"], place_of("logos", number)
        if row.values["digest"] != digest_of(picture):
            yield f"{at}/digest: is not that of the picture"
        elif (problem := logo_problem(picture)) is not None:
            yield f"{at}/picture: {problem}"
    for number, row in enumerate(tables.rows["letterheads"]):
        if row.documents["facts"].logo is not None:
            yield f"{place_of('letterheads', number, 'facts')}: logo: belongs to /tables/logos"
    known = {row.values["digest"] for row in tables.rows["logos"]}
    for number, row in enumerate(tables.rows["quotations"]):
        letterhead = row.documents.get("letterhead")
        if letterhead is not None and letterhead.logo not in {None, *known}:
            yield f"{place_of('quotations', number, 'letterhead')}: its logo is missing"


def _things(tables: ReadTables) -> dict[Thing, ReadRow]:
    rows = tables.rows["registrations"]
    return {Thing(row.values["collection"], row.values["code"]): row for row in rows}


def _registered(tables: ReadTables) -> Iterator[str]:
    """References and their rows; what holds of a product only with what it is made of and on."""
    place = {thing: number for number, thing in enumerate(_things(tables))}
    live = {thing: row.documents["facts"] for thing, row in _things(tables).items() if row.values["retired_at"] is None}
    used = {thing: set[Thing]() for thing in place}
    for number, row in enumerate(tables.rows["uses"]):
        user = Thing(row.values["collection"], row.values["code"])
        used.setdefault(user, set()).add(Thing(row.values["used_collection"], row.values["used_code"]))
        if user not in live:
            yield f"{place_of('uses', number)}: {user} is not registered, or is retired"
    catalogue = _catalogue(live)
    for thing, facts in live.items():
        at = place_of("registrations", place[thing], "facts")
        unknown = [(path, named) for path, named in references_in(facts) if named not in live]
        for path, named in unknown:
            yield f"{at}/{'/'.join(map(str, path))}: there is no {described(named)}"
        if {named for _, named in references_in(facts)} != used[thing]:
            yield f"{at}: /tables/uses does not have what this refers to"
        if isinstance(facts, Product) and not unknown:
            yield from (f"{at}: {told}" for told in _of_product(thing.code, facts, catalogue))
        if isinstance(facts, Listing) and not unknown:
            yield from (f"{at}: {told}" for told in misfits(facts, catalogue.products[facts.product]))


def _catalogue(live: Mapping[Thing, Registered]) -> Catalogue:
    names = {name: name.replace("_", "-") for name in Catalogue.__dataclass_fields__}
    facts = {
        name: {thing.code: each for thing, each in live.items() if thing.collection == collection}
        for name, collection in names.items()
    }
    return Catalogue(**facts)  # type: ignore[arg-type]


def _of_product(code: str, product: Product, catalogue: Catalogue) -> Iterator[str]:
    try:
        made_in_order(code, catalogue.products)
    except KeyError:
        return  # what a part of it refers to is missing, which is told there
    except PugmillError as error:
        yield str(error)
    if all(step.machine is None or _is_complete(step.machine, catalogue) for step in product.operations):
        yield from (str(each) for each in inconsistencies(product, catalogue))


def _is_complete(machine: str, catalogue: Catalogue) -> bool:
    return all(tariff.code in catalogue.tariffs for _, tariff in references_in(catalogue.machines[machine]))


def _rated(tables: ReadTables) -> Iterator[str]:
    things = _things(tables)
    for number, row in enumerate(tables.rows["rates"]):
        thing = things.get(Thing(row.values["collection"], row.values["code"]))
        if thing is None:
            continue  # the database refuses it
        for problem in rate_problems(row.documents["terms"], thing.documents["facts"], row.values["valid_from"]):
            yield f"{place_of('rates', number, 'terms')}: {problem}"


def _published(tables: ReadTables) -> Iterator[str]:
    for table in ("exchange_rates", "held_exchange_rates"):
        for number, row in enumerate(tables.rows[table]):
            told = {name: row.values[name] for name in ("source", "base", "published_on")}
            try:
                DayRates(**told, rates=row.documents["rates"])
            except InvalidValuesError as error:
                yield f"{place_of(table, number)}: {error}"


def _quoted(tables: ReadTables) -> Iterator[str]:
    known = {row.values["quotation_id"] for row in tables.rows["quotations"]}
    last = max((row.values["last"] for row in tables.rows["quotation_numbers"]), default=0)
    for number, row in enumerate(tables.rows["quotations"]):
        its = row.values
        at = place_of("quotations", number)
        if its["number"] is not None and its["number"] > last:
            yield f"{at}/number: is greater than the last one given, {last}"
        if its["status"] != Status.DRAFT and (its["number"] is None or its["issued_on"] is None):
            yield f"{at}/status: only a draft has no number and no day of issue"
        if its["status"] in (Status.ACCEPTED, Status.COMPLETED) and its["acceptance"] is None:
            yield f"{at}/acceptance: is missing, although it was accepted"
        for name in ("revises_id", "superseded_by_id"):
            if its[name] is not None and its[name] not in known:
                yield f"{at}/{name}: there is no such quotation"


def _recorded(tables: ReadTables) -> Iterator[str]:
    """Records with the facts of their day, which need not be those that are registered."""
    facts_of: dict[str, DayFacts] = {}
    for number, row in enumerate(tables.rows["record_facts"]):
        facts_of[row.values["digest"]] = row.documents["facts"]
        if row.values["digest"] != digest_of_facts(row.values["facts"]):
            yield f"{place_of('record_facts', number, 'digest')}: is not that of the facts"
        at = place_of("record_facts", number, "facts")
        yield from (f"{at}: {told}" for told in _of_a_day(row.documents["facts"]))
    numbers = {row.values["number"] for row in tables.rows["quotations"]}
    for number, row in enumerate(tables.rows["batch_records"]):
        its, record, at = row.values, row.documents["record"], place_of("batch_records", number)
        facts = facts_of.get(its["facts"])  # if there are none, the database refuses it
        if (record.product, record.made_on) != (its["product"], its["made_on"]):
            yield f"{at}/record: is of another product or day than the row"
        elif facts is not None and record.product not in facts.catalogue.products:
            yield f"{at}/facts: have no product '{record.product}'"
        if its["quotation"] is not None and its["quotation"] not in numbers:
            yield f"{at}/quotation: there is no such quotation"


def _of_a_day(facts: DayFacts) -> Iterator[str]:
    catalogue = facts.catalogue
    things = {
        Thing(name.replace("_", "-"), code): each
        for name in Catalogue.__dataclass_fields__
        for code, each in getattr(catalogue, name).items()
    }
    unknown = [named for each in things.values() for named in needed_by(each) if named not in things]
    yield from (f"there is no {described(named)}" for named in unknown)
    if not unknown:
        for code, product in catalogue.products.items():
            yield from _of_product(code, product, catalogue)
    for resource, rate in facts.rates.items():
        if rate.resource != resource or Thing.of(resource) not in things:
            yield f"the rate of '{resource}' is not of anything in it"
        else:
            yield from map(str, rate_problems(rate.terms, things[Thing.of(resource)], rate.valid_from))


def _priced(tables: ReadTables) -> Iterator[str]:
    first_days: dict[object, date] = {
        row.values["repricing_id"]: row.values["valid_from"] for row in tables.rows["repricings"]
    }
    needed = ("price", "currency", "unit_cost", "bill")
    for number, row in enumerate(tables.rows["price_changes"]):
        its, at = row.values, place_of("price_changes", number)
        if its["decision"] in COMING_INTO_FORCE and any(its[name] is None for name in needed):
            yield f"{at}: has no {', '.join(name for name in needed if its[name] is None)}, although it came into force"
        if its["previous_id"] is not None and its["previous_id"] not in first_days:
            yield f"{at}/previous_id: there is no such repricing"
    for number, row in enumerate(tables.rows["listing_prices"]):
        if first_days.get(row.values["repricing_id"]) != row.values["valid_from"]:
            yield f"{place_of('listing_prices', number, 'valid_from')}: is not the first day of its repricing"


def _of_later_revisions(tables: ReadTables) -> Iterator[str]:
    """The workshop's revision tells states apart, so no row is of a later one."""
    (workshop,) = tables.rows["workshops"]
    for table in ("letterheads", "registrations", "rates", "exchange_rates", "batch_records", "listing_prices"):
        for number, row in enumerate(tables.rows[table]):
            if row.values["revision"] > workshop.values["revision"]:
                yield f"{place_of(table, number, 'revision')}: is later than the workshop's"
