"""What a workshop's papers say of it: replaced as a whole, recorded, moved, and kept by what is issued."""

import json
from base64 import b64encode
from dataclasses import replace
from typing import Any

import pytest

from service.documents.quoting.quotation_page import quotation_page
from service.documents.quoting.quotation_view import quotation_view
from service.domain.selling.seller import Seller
from service.domain.values.errors import InvalidValuesError
from service.encoding import decoded, encoded
from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.workshop.audit import Chosen
from service.store.workshop.letterheads import digest_of
from service.workflows.quoting import quotation_life, quotations
from service.workflows.registering.changing import Registering
from service.workflows.workshop import letterhead, moving
from service.workflows.workshop.audit import list_changes
from tests.support import builders
from tests.workflows.owner import Owner

TODAY = {"quoted_on": None}


def put(owner: Owner, **changes: Any) -> Registering:
    return letterhead.put_seller(owner.workspace, decoded(builders.seller(**changes), Seller))


def test_of_a_new_workshop_is_known_what_it_was_made_with(owner: Owner) -> None:
    seller, revision = letterhead.find_seller(owner.workspace)

    workshop, told = owner.workshop, encoded(seller)
    assert revision == 0
    assert told["address"]["street"] == workshop.address
    assert [told[name] for name in ("name", "locale", "time_zone", "currency")] == [
        workshop.name,
        workshop.locale,
        workshop.time_zone,
        workshop.currency,
    ]


def test_what_is_read_can_be_sent_back_and_changes_nothing(owner: Owner) -> None:
    put(owner, locale="de_AT", time_zone="Europe/Vienna")
    seller, revision = letterhead.find_seller(owner.workspace)

    again = letterhead.put_seller(owner.workspace, seller)

    assert encoded(seller).items() >= {"logo": builders.LOGO, "locale": "de_AT", "url": "https://kiln.example"}.items()
    assert (again.action, again.revision, again.state) == (None, revision, seller)
    assert revision == owner.revision
    workshop = owner.workshop
    assert (workshop.name, workshop.time_zone) == ("Kiln Lane Workshop", "Europe/Vienna")
    assert workshop.address == "1 Kiln Lane\nThe yard\n1010 Marrow Bay"


def test_the_locale_and_the_time_zone_stay_where_they_are_left_out(owner: Owner) -> None:
    before = owner.workshop

    put(owner)

    assert (owner.workshop.locale, owner.workshop.time_zone) == (before.locale, before.time_zone)


def test_another_currency_and_a_damaged_logo_are_refused_and_nothing_is_stored(owner: Owner) -> None:
    damaged = b64encode(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\2\0\0\0xxxx").decode()

    with pytest.raises(InvalidValuesError) as refused:
        put(owner, currency="USD", logo=damaged)

    told = {problem.path: problem.reason for problem in refused.value.problems}
    assert "cannot be changed" in told["currency",]
    assert "cannot be drawn" in told["logo",]
    assert letterhead.find_seller(owner.workspace)[1] == 0


def test_a_change_is_recorded_with_the_digest_of_the_logo(owner: Owner) -> None:
    put(owner)
    put(owner, name="Kiln Lane Plastics", logo=None)

    last, first = list_changes(owner.workspace, Chosen(subject="workshop"), before=None, limit=10)

    assert (first.after["logo"], last.before["logo"], last.after["logo"]) == (*[digest_of(builders.LOGO)] * 2, None)
    assert (last.before["name"], last.after["name"]) == ("Kiln Lane Workshop", "Kiln Lane Plastics")


class TestAQuotation:
    def test_that_is_issued_has_the_letterhead_of_its_day_for_good(self, furnished: Owner) -> None:
        draft = furnished.quote(**TODAY)
        put(furnished)
        issued = quotation_life.issue(furnished.workspace, draft.id)
        put(furnished, name="Another", logo=None, account=None)

        again = quotations.find_quotation(furnished.workspace, issued.id)

        told = again.letterhead
        assert told == issued.letterhead
        assert (told.seller, told.email, told.logo) == (
            "Kiln Lane Workshop",
            "desk@kiln.example",
            digest_of(builders.LOGO),
        )
        page = quotation_page(quotation_view(quotations.quotation_paper(furnished.workspace, again)))
        assert f"data:image/svg+xml;base64,{builders.LOGO}" in page
        assert furnished.quote(**TODAY).letterhead.seller == "Another"

    def test_is_written_in_the_workshops_locale_or_its_own(self, furnished: Owner) -> None:
        put(furnished, locale="nl_NL")

        own, theirs = furnished.quote(**TODAY), furnished.quote(**TODAY, locale="de_AT")

        assert (own.letterhead.locale, theirs.letterhead.locale) == ("nl_NL", "de_AT")


def test_a_workshop_takes_its_letterhead_and_its_logos_along(furnished: Owner, empty_database: Database) -> None:
    put(furnished)
    issued = furnished.issued(**TODAY)
    put(furnished, logo=None)
    migrate(empty_database)

    moving.import_workshop(
        empty_database, json.loads(b"".join(moving.export_workshop(furnished.database, furnished.workshop_id))), "moved"
    )

    there = replace(furnished, database=empty_database)
    assert letterhead.find_seller(there.workspace) == letterhead.find_seller(furnished.workspace)
    found = quotations.find_quotation(there.workspace, issued.id)
    assert quotations.quotation_paper(there.workspace, found).logo == builders.LOGO
