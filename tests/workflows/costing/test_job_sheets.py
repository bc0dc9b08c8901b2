"""The job sheet of a registered product."""

import pytest

from service.workflows.costing.job_sheets import job_of_product
from service.workflows.errors import NotRegisteredError
from tests.support import builders
from tests.workflows.owner import Owner


def test_a_job_needs_no_rates(owner: Owner) -> None:
    owner.put("materials/hdpe", builders.material())
    owner.put("products/brick", builders.product(operations=[]))

    job = job_of_product(owner.workspace, "brick", 20)

    assert [each.quantity for part in job.sheet.parts for each in part.fetched] == [192]
    assert "storage" in {each.code for each in job.cautions}


def test_a_product_that_nobody_registered_has_none(owner: Owner) -> None:
    with pytest.raises(NotRegisteredError):
        job_of_product(owner.workspace, "brick", 20)
