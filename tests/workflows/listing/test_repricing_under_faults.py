"""Repricing while processes are killed, others reprice and rates change: it is atomic and sees one state."""

import random
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from decimal import Decimal
from itertools import count
from threading import Barrier
from typing import Any
from uuid import UUID

import pytest
import sqlalchemy as sa

from service.domain.costing.variance import unit_costs
from service.domain.listing.listings import Listing
from service.domain.listing.repricing import RepricingRequest
from service.domain.making.bill_of_resources import BatchBill
from service.domain.values.exact import exactly
from service.domain.values.references import Thing
from service.encoding import decoded, plain_data
from service.store.engine.tables import listing_prices, price_changes
from service.store.listing import repricings
from service.store.registering import registrations
from service.workflows.errors import ChangedMeanwhileError
from service.workflows.listing import repricing
from tests.domain.examples import TODAY
from tests.support import builders, processes
from tests.support.processes import context, ended, started
from tests.support.profiles import first_seed, is_nightly
from tests.support.writes import everything_of
from tests.workflows.owner import Owner

LISTINGS = 1_600
"""So many that it takes several statements to write them."""
KILLED = -9


def put_on_sale(owner: Owner, how_many: int) -> None:
    """Store this many listings of a sheet, in one transaction."""
    with owner.database.writing() as connection:
        for number in range(how_many):
            policy = builders.policy(value=str(Decimal(number % 40 + 10) / 100))
            facts = decoded(builders.listing(policy=policy), Listing)
            registrations.save_registrations(
                connection, owner.workshop_id, {Thing("listings", f"sheet-{number:04}"): facts}, 0
            )


def prices_of(owner: Owner) -> dict[str, UUID]:
    """The id of the repricing that set each listing's price in force."""
    with owner.database.reading() as connection:
        rows = connection.execute(
            sa.select(listing_prices)
            .where(listing_prices.c.workshop_id == owner.workshop_id)
            .order_by(listing_prices.c.valid_from, listing_prices.c.revision)
        )
        return {row.listing: row.repricing_id for row in rows}


def sell(owner: Owner, how_many: int) -> Owner:
    """Put this many prices in force, then change a rate."""
    put_on_sale(owner, how_many)
    owner.reprice()
    owner.put_rate("materials/hdpe", "2026-06-01", builders.material_rate("0.95"))
    return owner


@pytest.fixture
def selling(furnished: Owner) -> Owner:
    return sell(furnished, 100)


@pytest.fixture
def selling_many(furnished: Owner) -> Owner:
    return sell(furnished, LISTINGS)


class TestAProcessThatIsKilled:
    def test_before_any_statement_of_an_application_leaves_all_or_nothing(
        self, selling_many: Owner, database_url: str
    ) -> None:
        """Tries every fourth statement, all of them at night: what is half-written at one is still so at the next."""
        before = everything_of(selling_many.database, selling_many.workshop_id)

        for moment in count(step=1 if is_nightly() else 4):
            exitcode = ended(started(processes.reprice_and_die, database_url, selling_many.workshop_id, moment))
            if exitcode == 0:
                break
            assert exitcode == KILLED
            assert everything_of(selling_many.database, selling_many.workshop_id) == before

        assert moment > 12
        assert len(set(prices_of(selling_many).values())) == 1
        assert len(everything_of(selling_many.database, selling_many.workshop_id)["price_changes"]) == 2 * LISTINGS
        assert selling_many.reprice().repricing is None

    @pytest.mark.nightly
    def test_at_any_time_leaves_all_or_nothing_and_others_finish(self, selling_many: Owner, database_url: str) -> None:
        workshop_id, chance = selling_many.workshop_id, random.Random(first_seed())
        begun = time.perf_counter()
        assert ended(started(processes.reprice_and_die, database_url, workshop_id, -1)) == 0
        takes = time.perf_counter() - begun

        for number in range(10):
            selling_many.put_rate("materials/hdpe", "2026-07-01", builders.material_rate(f"1.{number:02}"))
            before = everything_of(selling_many.database, workshop_id)
            process = started(processes.reprice_and_die, database_url, workshop_id, -1)
            time.sleep(takes * chance.uniform(0.2, 1))
            process.kill()
            was_killed = ended(process) == KILLED
            applied = repricing_recorded(selling_many, before)

            assert applied or was_killed
            assert len(set(prices_of(selling_many).values())) == 1
            assert len(prices_of(selling_many)) == LISTINGS
            assert (selling_many.reprice().repricing is None) == applied


def repricing_recorded(owner: Owner, before: dict[str, list[str]]) -> bool:
    """Whether a complete repricing was recorded since. Fails if only a part of one was."""
    # A server notices only at its next step that the process is gone, and may have committed before.
    with owner.database.writing() as connection:
        processes.lock_workshop(connection, owner.workshop_id)
    after = everything_of(owner.database, owner.workshop_id)
    if after == before:
        return False
    more = {
        table: len(after[table]) - len(before[table]) for table in before if len(after[table]) != len(before[table])
    }
    assert more == {"repricings": 1, "price_changes": LISTINGS, "listing_prices": LISTINGS, "changes": LISTINGS}
    return True


class TestTwoAtOnce:
    @pytest.mark.parametrize("is_previewed", [False, True])
    def test_in_threads_record_one_repricing(self, selling: Owner, is_previewed: bool) -> None:
        tag = preview_tag(selling) if is_previewed else None
        begin = Barrier(4)

        def apply(_: int) -> str | None:
            begin.wait()
            return processes.reprice(selling.database, selling.workshop_id, tag)

        with ThreadPoolExecutor(4) as threads:
            answers = list(threads.map(apply, range(4)))

        assert_one_was_recorded(selling, answers, is_previewed=is_previewed)

    @pytest.mark.parametrize("is_previewed", [False, True])
    def test_in_processes_record_one_repricing(self, selling: Owner, database_url: str, is_previewed: bool) -> None:
        tag = preview_tag(selling) if is_previewed else None
        begin, queue = context.Barrier(3), context.Queue()
        arguments = database_url, selling.workshop_id, tag, begin, queue

        others = [started(processes.reprice_at_once, *arguments) for _ in range(3)]
        answers = [queue.get(timeout=processes.SECONDS) for _ in others]

        assert [ended(each) for each in others] == [0, 0, 0]
        assert_one_was_recorded(selling, answers, is_previewed=is_previewed)


def preview_tag(owner: Owner) -> str:
    with repricing.preview(owner.workspace, RepricingRequest(as_of=TODAY)) as seen:
        return seen.tag


def assert_one_was_recorded(owner: Owner, answers: list[str | None], *, is_previewed: bool) -> None:
    recorded = [each for each in answers if each is not None and not each.startswith("stale")]
    refused = f"stale: {recorded[0]}" if is_previewed else None
    assert Counter(answers) == {recorded[0]: 1, refused: len(answers) - 1}
    assert set(prices_of(owner).values()) == {UUID(recorded[0])}
    with owner.database.reading() as connection:
        assert len(repricings.page_of_repricings(connection, owner.workshop_id, before=None, limit=10)) == 2


class TestWhileRatesChange:
    def test_each_repricing_is_computed_from_the_one_latest_state(self, furnished: Owner) -> None:
        """Two rates are changed alternately, so that a mixture of two states would show."""
        put_on_sale(furnished, 60)
        at: dict[int, tuple[str, str]] = {furnished.revision: ("0.80", "15")}
        latest = ["0.80", "15"]

        def change_rates() -> Iterator[None]:
            for number in range(1, 31):
                latest[0] = f"1.{number:02}"
                done = furnished.put_rate("materials/hdpe", "2026-01-01", builders.material_rate(latest[0]))
                at[done.revision] = (latest[0], latest[1])
                latest[1] = str(15 + number)
                done = furnished.put_rate("labour-grades/operator", "2026-01-01", builders.labour_rate(latest[1]))
                at[done.revision] = (latest[0], latest[1])
                time.sleep(0.02)  # a writer without pauses would lock others out of SQLite
                yield

        with ThreadPoolExecutor(1) as thread:
            changing = thread.submit(list, change_rates())
            found = []
            while not changing.done():
                found.append(furnished.reprice())
        found.append(furnished.reprice())

        recorded = [each.repricing.id for each in found if each.repricing is not None]
        first, last = min(at), furnished.revision
        revisions = sorted(set(range(first, last + 1)) - set(at))  # each repricing used up one revision
        assert len(recorded) == len(revisions) > 2
        for repricing_id, revision in zip(recorded, revisions, strict=True):
            assert basis_of(furnished, repricing_id) == at[max(each for each in at if each < revision)]
            assert_prices_follow_from_their_basis(furnished, repricing_id)


@contextmanager
def changing_rates_during(owner: Owner, looks: int) -> Iterator[None]:
    """Somebody changes a rate while listings are looked at, so many times; it fails if others have to wait for that."""
    numbers = iter(range(looks))

    def change(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if "AS found" in statement and (number := next(numbers, None)) is not None:
            owner.put_rate("materials/hdpe", "2026-06-01", builders.material_rate(f"2.{number:02}"))

    sa.event.listen(owner.database.engine, "before_cursor_execute", change)
    try:
        yield
    finally:
        sa.event.remove(owner.database.engine, "before_cursor_execute", change)


def applied_in_a_request(owner: Owner) -> repricing.Application:
    """As a request does it: with everything it stores in one transaction."""
    with owner.workspace.until_answered() as joint:
        return repricing.apply(joint, RepricingRequest(as_of=TODAY), lambda _: True)


class TestARateThatChangesDuringEveryAttempt:
    def test_lets_few_listings_be_looked_at_under_the_lock(self, selling: Owner) -> None:
        with changing_rates_during(selling, 3):
            applied = applied_in_a_request(selling)

        assert applied.repricing is not None
        assert basis_of(selling, applied.repricing.id)[0] == "2.02"

    def test_refuses_whoever_reprices_many_and_nobody_else(self, furnished: Owner) -> None:
        put_on_sale(furnished, repricing._FEW + 1)

        with changing_rates_during(furnished, 3), pytest.raises(ChangedMeanwhileError, match="try again"):
            applied_in_a_request(furnished)

        assert prices_of(furnished) == {}
        assert applied_in_a_request(furnished).figures.summary.first == repricing._FEW + 1


def basis_of(owner: Owner, repricing_id: UUID) -> tuple[str, str]:
    """The rates of the material and of the labour that a repricing was computed with."""
    with owner.database.reading() as connection:
        card: Any = repricings.get_basis(connection, owner.workshop_id, repricing_id).card
    material, operator = (card.rates[name].terms for name in ("materials/hdpe", "labour-grades/operator"))
    return str(material.price.amount), str(operator.wage_per_hour.amount)


def assert_prices_follow_from_their_basis(owner: Owner, repricing_id: UUID) -> None:
    """Assert that every recorded unit cost follows from the recorded bill and rates."""
    with owner.database.reading() as connection:
        table = repricings.get_basis(connection, owner.workshop_id, repricing_id).table
        found = connection.execute(
            sa.select(price_changes.c.unit_cost, price_changes.c.bill).where(
                price_changes.c.workshop_id == owner.workshop_id,
                price_changes.c.repricing_id == repricing_id,
                price_changes.c.bill.is_not(None),
            )
        ).all()
    assert found
    for cost, bill in found:
        kept = plain_data(bill)
        quantities = {part: Decimal(quantity) for part, quantity in kept["quantities"].items()}
        rates = {part: (rate, rate) for part, rate in table.full().items()}
        kept_bill = BatchBill(pieces=Decimal(kept["pieces"]), quantities=quantities)
        assert exactly(unit_costs)(kept_bill, rates) == (cost, cost)
