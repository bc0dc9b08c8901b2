"""The cache follows the workshop's state: no answer differs because of it, on every database engine."""

from datetime import date

from service.store.engine.database import Database
from tests.support import builders
from tests.workflows.owner import Owner


class TestTheDatabasesMemory:
    def test_gives_the_same_answers_as_a_database_without_a_cache_after_every_change(self, owner: Owner) -> None:
        url = owner.database.engine.url.render_as_string(hide_password=False)
        without = Owner(database=Database(url, has_memory=False), workshop_id=owner.workshop_id)
        builders.register_workshop(owner)
        changes = [
            lambda: owner.put_rate("materials/hdpe", "2026-11-01", builders.material_rate("2")),
            lambda: owner.put("products/sheet", builders.product(name="Plate")),
            lambda: owner.put("machines/press", builders.machine(load_factor="1")),
            lambda: owner.retire("overheads/rent"),
        ]

        for change in changes:
            before = owner.cost()
            change()

            assert owner.cost() == owner.cost() == without.cost() != before

        without.database.dispose()

    def test_keeps_days_and_workshops_apart(self, furnished: Owner, other_owner: Owner) -> None:
        builders.register_workshop(other_owner)
        other_owner.put("products/sheet", builders.product(name="Another's"))
        furnished.put_rate("materials/hdpe", "2026-11-01", builders.material_rate("2"))

        early, late = furnished.cost(as_of=date(2026, 10, 31)), furnished.cost(as_of=date(2026, 11, 1))

        assert early.subtotals != late.subtotals
        assert other_owner.cost().name == "Another's"
        assert furnished.cost().name == "Sheet"
