"""Keys: what they give access to, that their secret is stored nowhere, and that they can be revoked."""

import base64

import sqlalchemy as sa

from service.store.engine.tables import api_keys
from service.workflows.workshop import keys
from tests.workflows.owner import Owner


class TestKeys:
    def test_open_their_workshop_with_their_scopes(self, owner: Owner) -> None:
        key = keys.create_key(owner.database, owner.workshop.workshop_id, "reader", frozenset({"read"}))

        access = keys.open_with(owner.database, key)

        assert access is not None
        assert access.workshop == owner.workshop
        assert access.scopes == {"read"}

    def test_that_are_unknown_or_misshapen_open_nothing(self, owner: Owner, other_owner: Owner) -> None:
        key = keys.create_key(owner.database, owner.workshop.workshop_id, "reader", frozenset({"read"}))
        other = other_owner.workshop.workshop_id.hex
        wrong = [
            key[:-1],
            f"{key}x",
            key.replace("pugmill", "pugmall"),
            key.replace(owner.workshop.workshop_id.hex, other),
            key.replace(owner.workshop.workshop_id.hex, "z" * 32),
            key.rpartition("_")[0],
            "pugmill",
            "",
            f"{key}é",
        ]

        assert [keys.open_with(owner.database, each) for each in wrong] == [None] * len(wrong)

    def test_hold_256_bits_that_are_never_the_same(self, owner: Owner) -> None:
        secrets = {
            keys.create_key(owner.database, owner.workshop.workshop_id, "reader", frozenset({"read"})).split("_", 2)[2]
            for _ in range(20)
        }

        assert len(secrets) == 20
        assert {len(base64.urlsafe_b64decode(f"{secret}=")) for secret in secrets} == {32}

    def test_are_kept_as_a_digest_alone(self, owner: Owner) -> None:
        key = keys.create_key(owner.database, owner.workshop.workshop_id, "reader", frozenset({"read"}))

        with owner.database.reading() as connection:
            rows = connection.execute(
                sa.select(api_keys).where(api_keys.c.workshop_id == owner.workshop.workshop_id)
            ).all()

        secret = key.split("_", 2)[2]
        assert not any(secret in str(row) for row in rows)

    def test_are_listed_oldest_first_and_once_revoked_open_nothing(self, owner: Owner, other_owner: Owner) -> None:
        key = keys.create_key(owner.database, owner.workshop.workshop_id, "reader", frozenset({"read"}))
        first, second = keys.list_keys(owner.database, owner.workshop.workshop_id)
        assert [(each.name, sorted(each.scopes)) for each in (first, second)] == [
            ("tests", ["read", "write"]),
            ("reader", ["read"]),
        ]

        assert not keys.revoke_key(owner.database, other_owner.workshop.workshop_id, second.key_id)
        assert keys.revoke_key(owner.database, owner.workshop.workshop_id, second.key_id)
        assert not keys.revoke_key(owner.database, owner.workshop.workshop_id, second.key_id)

        assert keys.open_with(owner.database, key) is None
        revoked = keys.list_keys(owner.database, owner.workshop.workshop_id)[1]
        assert revoked.revoked_at is not None
        assert first.revoked_at is None

    def test_belong_to_workshops_that_are_listed_oldest_first(self, owner: Owner, other_owner: Owner) -> None:
        listed = keys.list_workshops(owner.database)

        assert [each for each in listed if each in (owner.workshop, other_owner.workshop)] == [
            owner.workshop,
            other_owner.workshop,
        ]
