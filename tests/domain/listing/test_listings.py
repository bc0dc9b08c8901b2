"""Listings: which are valid, which are refused, and what each refers to."""

from typing import Any

import pytest

from service.domain.listing.listings import Listing
from service.domain.values.errors import InvalidValuesError
from service.domain.values.references import references_in
from service.encoding import decoded
from tests.support import builders

SENT = {"shipping_service": "post", "shipping_zone": "home"}


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"currency": "ZZZ"}, "currency: "),
        ({"policy": builders.policy(price_step="0.005")}, "policy/price_step: "),
        (
            {"policy": builders.policy(display="tax_exclusive")},
            "policy/display: is decided by the channel; leave it out",
        ),
        ({"base_quantity": 7}, "base_quantity: must be one of 1, 12, 100, 1000"),
        ({"base_quantity": 1001}, "base_quantity: must be 1000 or less"),
        (
            {"base_quantity": 100, "standard_batch": 99},
            "standard_batch: must be at least the 100 that the price is for; make the batch larger, or the base",
        ),
        ({"shipping_service": "post"}, "shipping_zone: is required with a shipping service"),
        ({"shipping_zone": "home"}, "shipping_zone: has no meaning without a shipping service"),
    ],
)
def test_an_invalid_listing_is_refused_naming_the_member(changed: dict[str, Any], message: str) -> None:
    with pytest.raises(InvalidValuesError) as error:
        decoded(builders.listing(**changed), Listing)

    assert str(error.value).startswith(message)


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({}, ["products/sheet", "channels/quay-market", "taxes/vat"]),
        ({"tax": None}, ["products/sheet", "channels/quay-market"]),
        (SENT, ["products/sheet", "channels/quay-market", "taxes/vat", "shipping-services/post"]),
    ],
)
def test_a_listing_names_its_product_channel_tax_and_shipping_service(
    changed: dict[str, Any], named: list[str]
) -> None:
    found = references_in(decoded(builders.listing(**changed), Listing))

    assert [str(thing) for _, thing in found] == named
