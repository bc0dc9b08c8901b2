"""The job sheet of a batch, for those who make it."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.making.explosion import bill_of_resources
from service.domain.making.job_sheet import JobSheet, job_sheet
from service.domain.making.plausibility import cautions_of
from service.domain.safety.cautions import Caution
from service.workflows.costing.costing import subject, surroundings_of
from service.workflows.workspace import Workspace


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A batch to be made.

    Attributes:
        cautions: where the work or the product can hurt someone.
    """

    sheet: JobSheet
    cautions: tuple[Caution, ...]


def job_of_product(workspace: Workspace, code: str, quantity: Decimal) -> Job:
    """What a batch needs, step by step; needs no rates. Raises NotRegisteredError if the product is not registered."""
    catalogue = surroundings_of(workspace, [subject("products", code)], date.min).catalogue
    bill = bill_of_resources(code, quantity, catalogue)
    return Job(sheet=job_sheet(bill, catalogue), cautions=cautions_of([bill], catalogue))
