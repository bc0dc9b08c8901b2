"""A document of the register: all of it or nothing, whatever the order of its entries, on every database engine."""

import json
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
import sqlalchemy as sa

from service.domain.audit import Action
from service.domain.currency.exchange_rates import MANUAL, DayRates
from service.domain.register import COLLECTIONS
from service.domain.values.errors import InvalidValuesError, TooComplexError
from service.domain.values.references import Thing
from service.encoding import decoded
from service.store.engine.database import Database
from service.store.engine.metering import Quota, QuotaExceededError
from service.store.engine.tables import changes
from service.time_limit import OutOfTimeError
from service.workflows import register, register_document
from service.workflows.entity_tags import Precondition, always
from service.workflows.errors import NotRegisteredError, PreconditionFailedError
from service.workflows.register import Registered
from service.workflows.registering import registering
from service.workflows.registering.document import Outcome, RegisterDocument, Written
from tests.domain.examples import TODAY
from tests.support import builders
from tests.support.writes import nothing_is_stored
from tests.workflows.owner import Owner

DAY = "2026-01-01"
LATER = "2026-03-01"


def written(collection: str, entry: dict[str, Any]) -> Written:
    kind = COLLECTIONS[collection]
    facts = decoded(entry["facts"], kind.facts) if "facts" in entry else None
    rates = None
    if "rates" in entry:
        assert kind.terms is not None
        rates = {date.fromisoformat(day): decoded(terms, kind.terms) for day, terms in entry["rates"].items()}
    return Written(facts=facts, rates=rates)


def document(exchange_rates: dict[str, dict[str, str]] | None = None, **collections: Any) -> RegisterDocument:
    """The document with these entries; underscores stand for hyphens."""
    return RegisterDocument(
        collections={
            name.replace("_", "-"): {code: written(name.replace("_", "-"), each) for code, each in entries.items()}
            for name, entries in collections.items()
        },
        exchange_rates={
            day: DayRates(
                source=MANUAL,
                base="EUR",
                published_on=date.fromisoformat(day),
                rates={code: Decimal(rate) for code, rate in rates.items()},
            )
            for day, rates in (exchange_rates or {}).items()
        },
    )


def registered(owner: Owner, *, prune: bool = False, expected: Precondition = always, **entries: Any) -> Registered:
    return register.register_document(owner.workspace, document(**entries), prune=prune, expected=expected)


def tried(owner: Owner, *, prune: bool = False, as_of: date = TODAY, **entries: Any) -> Registered:
    return register.try_document(owner.workspace, document(**entries), prune=prune, as_of=as_of)


def outcomes(done: Registered) -> dict[str, str]:
    return {each.subject: each.outcome.value for each in done.entries}


def problems(error: pytest.ExceptionInfo[InvalidValuesError]) -> list[str]:
    return [str(problem) for problem in error.value.problems]


def made_of(*parts: str) -> dict[str, Any]:
    lines = [{"product": part, "quantity_per_piece": "1"} for part in parts]
    return {
        "facts": {
            "name": "Assembly",
            "bill_of_materials": lines,
            "operations": [{"name": "by hand", "cycle_minutes": "1"}],
        }
    }


def material(price: str = "0.80", **facts: Any) -> dict[str, Any]:
    return {"facts": builders.material(**facts), "rates": {DAY: builders.material_rate(price)}}


def has(owner: Owner, thing: str) -> bool:
    try:
        registering.find_one(owner.workspace, Thing.of(thing))
    except NotRegisteredError:
        return False
    return True


def days_of(owner: Owner, thing: str) -> list[str]:
    return [
        str(rate.valid_from) for rate in registering.list_rates(owner.workspace, Thing.of(thing), after=None, limit=9)
    ]


def whole(owner: Owner) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(b"".join(register.written_register(owner.workspace)))
    return found


def taken(owner: Owner, found: dict[str, Any], *, prune: bool = False) -> Registered:
    """Register a whole document as it was written."""
    collections = {name.replace("-", "_"): each for name, each in found.items() if name != "exchange-rates"}
    days = {day: entered["rates"] for day, entered in found["exchange-rates"].items()}
    return registered(owner, prune=prune, exchange_rates=days, **collections)


class TestEntries:
    def test_are_created_replaced_or_unchanged(self, owner: Owner) -> None:
        first = registered(
            owner, materials={"hdpe": material(), "pp": material()}, exchange_rates={DAY: {"GBP": "0.86"}}
        )
        again = registered(owner, materials={"hdpe": material("0.90"), "pp": material(name="PP")})

        assert first.counts == {"created": 5, "replaced": 0, "unchanged": 0, "retired": 0, "withdrawn": 0}
        assert outcomes(first)[f"exchange-rates/{DAY}/manual"] == "created"
        assert outcomes(again) == {
            "materials/hdpe": "unchanged",
            "materials/pp": "replaced",
            f"materials/hdpe/rates/{DAY}": "replaced",
            f"materials/pp/rates/{DAY}": "unchanged",
        }

    def test_may_come_in_any_order(self, owner: Owner) -> None:
        done = registered(
            owner,
            products={"sheet": {"facts": builders.product()}},
            machines={"press": {"facts": builders.machine(), "rates": {DAY: builders.machine_rate()}}},
            tariffs={"grid": {"facts": builders.tariff(), "rates": {DAY: builders.tariff_rate()}}},
            labour_grades={"operator": {"facts": {"name": "Operator"}, "rates": {DAY: builders.labour_rate()}}},
            materials={"hdpe": material()},
        )

        assert set(outcomes(done).values()) == {"created"}
        assert owner.cost().lines

    def test_may_turn_round_what_is_made_of_what(self, owner: Owner) -> None:
        registered(owner, products={"outer": made_of("inner"), "inner": made_of()})

        registered(owner, products={"outer": made_of(), "inner": made_of("outer")})

        owner.retire("products/inner")
        owner.retire("products/outer")

    def test_of_rates_alone_are_added_to_what_is_registered(self, furnished: Owner) -> None:
        registered(furnished, materials={"hdpe": {"rates": {LATER: builders.material_rate("0.95")}}})

        assert days_of(furnished, "materials/hdpe") == [DAY, LATER]

    def test_that_were_retired_are_created_again(self, owner: Owner) -> None:
        registered(owner, materials={"hdpe": material()})
        owner.retire("materials/hdpe")

        done = registered(owner, materials={"hdpe": material()})

        assert outcomes(done) == {"materials/hdpe": "created", f"materials/hdpe/rates/{DAY}": "unchanged"}

    def test_have_what_looks_implausible_about_them(self, owner: Owner) -> None:
        tax = {"facts": {"name": "VAT 21 %"}, "rates": {DAY: {"rate_share": "0.19"}}}

        registered(owner, exchange_rates={DAY: {"GBP": "0.8640"}})
        next_day = (date.fromisoformat(DAY) + timedelta(days=1)).isoformat()
        done = registered(owner, taxes={"vat": tax}, exchange_rates={next_day: {"GBP": "86.4"}})

        assert [(each.subject, [warning.code for warning in each.warnings]) for each in done.entries] == [
            ("taxes/vat", ["tax-name"]),
            (f"taxes/vat/rates/{DAY}", ["tax-name"]),
            (f"exchange-rates/{next_day}/manual", ["exchange-rate-jump"]),
        ]

    def test_are_one_act_in_the_audit_trail(self, database: Database, owner: Owner) -> None:
        registered(owner, materials={"hdpe": material()}, taxes={"vat": {"facts": {"name": "VAT"}}})
        registered(owner, materials={"hdpe": material()})

        with database.reading() as connection:
            ours = changes.c.workshop_id == owner.workshop_id, ~changes.c.subject.startswith("keys/")
            rows = connection.execute(sa.select(changes).where(*ours)).all()
        assert {row.subject for row in rows} == {"materials/hdpe", f"materials/hdpe/rates/{DAY}", "taxes/vat"}
        assert {row.action for row in rows} == {Action.REGISTERED.value}
        acts: set[UUID] = {row.change_id for row in rows}
        assert len(acts) == 1


ON_THIS = "on this; register another one under a new code instead"


class TestProblems:
    def test_are_all_named_with_their_places_and_nothing_is_stored(self, furnished: Owner) -> None:
        with nothing_is_stored(furnished.database, furnished.workshop_id), pytest.raises(InvalidValuesError) as error:
            registered(
                furnished,
                materials={
                    "new": material(),
                    "hdpe": {"facts": builders.material(unit="piece")},
                    "gone": {"rates": {DAY: builders.material_rate()}},
                },
                tariffs={"grid": {"rates": {LATER: {"price_per_kwh": {"flat": builders.money("0.3")}}}}},
                products={
                    "top": made_of("broken"),
                    "broken": made_of("nowhere"),
                    "sheet": {"facts": builders.product(operations=[builders.operation(band_shares={"noon": "1"})])},
                    "other": {"facts": builders.product(operations=[builders.operation(machine="none")])},
                },
            )

        assert problems(error) == [
            f"materials/hdpe/facts/unit: its rates and products/sheet rest {ON_THIS}",
            "products/broken/facts/bill_of_materials/0/product: there is no product 'nowhere'; did you mean 'other'?",
            "products/other/facts/operations/0/machine: there is no machine 'none'; register it first",
            "products/sheet/facts/operations/0/band_shares: the tariff has no band noon; it has day, night",
            "materials/gone: there is no material 'gone'; give its facts, too",
            f"tariffs/grid/rates/{LATER}/price_per_kwh: must price exactly the tariff's bands: day, night",
        ]

    def test_with_what_was_retired_are_the_same(self, owner: Owner) -> None:
        registered(owner, materials={"hdpe": material()})
        owner.retire("materials/hdpe")

        with pytest.raises(InvalidValuesError, match="materials/hdpe: there is no material 'hdpe'; give its facts"):
            registered(owner, materials={"hdpe": {"rates": {LATER: builders.material_rate()}}})

    def test_a_loop_is_told_of_every_product_of_the_document_on_it(self, owner: Owner) -> None:
        registered(owner, products={"a": made_of("b"), "b": made_of()})

        with pytest.raises(InvalidValuesError) as error:
            registered(owner, products={"b": made_of("c"), "c": made_of("a"), "top": made_of("a")})

        assert problems(error) == [
            "products/b/facts/bill_of_materials/0/product: a product cannot contain itself: b → c → a → b",
            "products/c/facts/bill_of_materials/0/product: a product cannot contain itself: c → a → b → c",
        ]

    def test_a_document_of_too_many_entries_is_one(self, owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(register_document, "MAX_ENTRIES", 2)
        registered(owner, materials={"hdpe": material()})

        with pytest.raises(TooComplexError, match="more than 2 facts and rates in one document; send its collections"):
            registered(owner, materials={"hdpe": material()}, exchange_rates={DAY: {"GBP": "0.86"}})

    def test_a_time_that_is_over_is_one_until_the_end(self, owner: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
        steps = iter([False, False, True])  # facts, rates, warnings
        monkeypatch.setattr("service.time_limit.is_over", lambda: next(steps))

        with nothing_is_stored(owner.database, owner.workshop_id), pytest.raises(OutOfTimeError):
            registered(owner, materials={"hdpe": material()})

    def test_a_register_that_has_changed_since_it_was_read_is_one(self, owner: Owner) -> None:
        seen = registered(owner, materials={"hdpe": material()}).tag

        registered(owner, expected=lambda tag: tag == seen, materials={"hdpe": material("0.90")})
        with pytest.raises(PreconditionFailedError, match="the register has changed since you read it"):
            registered(owner, expected=lambda tag: tag == seen, materials={"hdpe": material("0.95")})


class TestPruning:
    def test_retires_what_its_collections_have_beyond_it_and_withdraws_rates(self, furnished: Owner) -> None:
        furnished.put_rate("materials/hdpe", LATER, builders.material_rate("0.90"))
        furnished.register("materials/pp", builders.material(name="PP"))

        done = registered(furnished, prune=True, materials={"hdpe": material()})

        assert outcomes(done) == {
            "materials/hdpe": "unchanged",
            f"materials/hdpe/rates/{DAY}": "unchanged",
            f"materials/hdpe/rates/{LATER}": "withdrawn",
            "materials/pp": "retired",
        }
        assert days_of(furnished, "materials/hdpe") == [DAY]
        assert not has(furnished, "materials/pp")
        assert has(furnished, "products/sheet"), "the document does not have this collection"

    def test_leaves_the_rates_of_which_it_says_nothing(self, furnished: Owner) -> None:
        registered(furnished, prune=True, materials={"hdpe": {"facts": builders.material()}})

        assert days_of(furnished, "materials/hdpe") == [DAY]

    def test_retires_what_uses_each_other_in_any_order(self, owner: Owner) -> None:
        registered(owner, products={"a": made_of(), "b": made_of("a"), "c": made_of("b")})

        registered(owner, prune=True, products={})

        assert not any(has(owner, f"products/{code}") for code in "abc")

    def test_of_what_is_used_elsewhere_is_a_problem(self, furnished: Owner) -> None:
        with nothing_is_stored(furnished.database, furnished.workshop_id), pytest.raises(InvalidValuesError) as error:
            registered(furnished, prune=True, materials={})

        told = "materials: the material 'hdpe' is not in the document, but used by products/sheet; keep it, or change"
        assert problems(error) == [f"{told} these, too"]

    def test_works_over_the_quota_as_long_as_nothing_is_added(self, owner: Owner) -> None:
        registered(owner, materials={"hdpe": material(), "pp": material()})

        with limited(owner) as full:
            registered(full, prune=True, materials={"hdpe": material()})

            with pytest.raises(QuotaExceededError):
                registered(full, materials={"ps": material()})


@contextmanager
def limited(owner: Owner) -> Iterator[Owner]:
    """The same owner, who may store one row."""
    url = owner.database.engine.url.render_as_string(hide_password=False)
    database = Database(url, quota=Quota(rows=1))
    yield Owner(database=database, workshop_id=owner.workshop_id)
    database.dispose()


class TestATrial:
    def test_stores_nothing_and_tells_the_prices_afterwards(self, furnished: Owner) -> None:
        furnished.put("listings/sheet-online", builders.listing())
        furnished.reprice()

        with nothing_is_stored(furnished.database, furnished.workshop_id):
            found = tried(furnished, materials={"hdpe": {"rates": {LATER: builders.material_rate("1.60")}}})

        assert outcomes(found) == {f"materials/hdpe/rates/{LATER}": "created"}
        assert found.prices is not None
        assert found.prices.figures.summary.changed == 1
        (change,) = found.prices.changes
        assert (change["listing"], change["decision"]) == ("sheet-online", "changed")
        registered(furnished, materials={"hdpe": {"rates": {LATER: builders.material_rate("1.60")}}})
        assert furnished.reprice().figures.summary == found.prices.figures.summary

    def test_is_not_remembered(self, furnished: Owner) -> None:
        before = furnished.cost().subtotals

        tried(furnished, materials={"hdpe": {"rates": {LATER: builders.material_rate("1.60")}}})
        furnished.put("taxes/vat", {"name": "VAT"})  # the revision that the trial had, too

        assert furnished.cost().subtotals == before

    def test_shows_only_prices_that_change(self, furnished: Owner) -> None:
        furnished.put("listings/sheet-online", builders.listing())
        furnished.reprice()

        found = tried(furnished, materials={"hdpe": {"facts": builders.material(note="white")}})

        assert found.prices is not None
        assert (found.prices.figures.summary.same, found.prices.changes) == (1, ())

    def test_of_nothing_new_says_nothing_about_prices(self, furnished: Owner) -> None:
        found = tried(furnished, materials={"hdpe": {"facts": builders.material()}})

        assert (found.prices, found.prices_problem) == (None, None)

    def test_looks_at_no_listing_for_what_has_no_rate_yet(self, furnished: Owner) -> None:
        found = tried(furnished, materials={"pp": {"facts": builders.material()}})

        assert (found.counts["created"], found.prices, found.prices_problem) == (1, None, None)

    def test_says_which_rate_is_missing_once_it_is_withdrawn(self, furnished: Owner) -> None:
        furnished.put("listings/sheet-online", builders.listing())

        found = tried(furnished, prune=True, materials={"hdpe": {"facts": builders.material(), "rates": {}}})

        assert found.counts["withdrawn"] > 0
        assert "materials/hdpe" in str(found.prices_problem)

    def test_of_exchange_rates_looks_at_every_listing(self, furnished: Owner) -> None:
        furnished.put("listings/sheet-online", builders.listing())

        found = tried(furnished, exchange_rates={"2026-11-20": {"GBP": "0.86"}})

        assert found.prices is not None
        assert found.prices.figures.summary.listings == 1

    def test_says_why_it_cannot_tell_prices(self, furnished: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
        furnished.put("listings/sheet-online", builders.listing())
        entries = {"materials": {"hdpe": {"rates": {LATER: builders.material_rate("1.60")}}}}

        early = tried(furnished, as_of=date(2025, 1, 1), materials={"hdpe": {"facts": builders.material(note="x")}})
        unpriced = tried(furnished, as_of=date(2025, 1, 1), products={"sheet": {"facts": builders.measured(note="x")}})
        monkeypatch.setattr(register, "_FEW", 0)
        many = tried(furnished, **entries)

        assert (early.prices, early.prices_problem) == (None, None), "the material has no rate on that day"
        assert str(unpriced.prices_problem).startswith("none of 1 listings can be priced: sheet-online:")
        assert str(many.prices_problem).startswith("more than 0 listings depend on what changes")

    def test_is_refused_where_the_quota_would_refuse_it(self, owner: Owner) -> None:
        with limited(owner) as full, pytest.raises(QuotaExceededError):
            tried(full, materials={"hdpe": material(), "pp": material()})


class TestTheWhole:
    def test_changes_nothing_at_home_and_is_the_same_elsewhere(
        self, furnished: Owner, other_owner: Owner, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(register, "_PAGE", 1)
        monkeypatch.setattr(register_document, "_PAGE", 1)
        furnished.put_rate("materials/hdpe", LATER, builders.material_rate("0.90"))
        furnished.register("materials/old", builders.material(), **{DAY: builders.material_rate()})
        furnished.retire("materials/old")
        furnished.register("materials/pp", builders.material(name="PP"))
        furnished.put_exchange_rates("2026-11-20", GBP="0.86")
        furnished.put_exchange_rates("2026-11-18", GBP="0.87")
        furnished.put_exchange_rates("2026-11-19", source="customs", GBP="0.88")
        registered(other_owner, materials={"only-here": material()})
        before, found = furnished.revision, whole(furnished)

        at_home, elsewhere = taken(furnished, found, prune=True), taken(other_owner, found, prune=True)

        assert [*found["materials"]] == ["hdpe", "pp"]
        assert [*found["exchange-rates"]] == ["2026-11-18", "2026-11-20"]
        assert set(outcomes(at_home).values()) == {Outcome.UNCHANGED.value}
        assert furnished.revision == before
        assert outcomes(elsewhere)["materials/only-here"] == "retired"
        assert whole(other_owner) == found
        assert [furnished.cost().subtotals] == [other_owner.cost().subtotals]

    def test_of_a_workshop_with_nothing_in_it_has_every_collection(self, owner: Owner) -> None:
        assert whole(owner) == {name: {} for name in (*COLLECTIONS, "exchange-rates")}
