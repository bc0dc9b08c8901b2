"""What the records of a product teach, and taking it over."""

from dataclasses import dataclass
from typing import Annotated

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import LEARNING
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import ETAG, IF_MATCH, IF_PREVIEWED, MAY_BE_REPEATED
from service.api.http.answers import answer, data_answer, is_expected
from service.api.http.auth import WRITE, require, workspace
from service.api.http.operations import operation
from service.api.http.remembered import remembered
from service.api.http.retries import once, once_if_keyed, sent_key
from service.api.listing.repricing_statements import RepricingAnswer, prices_told
from service.api.records.questions import PeriodQuery
from service.domain.records.observation import Fact, Learnable
from service.domain.values.declared import Code, Length, Name, declared
from service.domain.values.units import SoldQuantity
from service.encoding import encoded
from service.workflows.learning import learning, taking_over
from service.workflows.learning.learning import LearningStatement, Wanted
from service.workflows.learning.taking_over import TakenOver

blueprint = Blueprint(
    "learning",
    __name__,
    tag="batch-records",
    url_prefix="/v1/products",
    description="What the records of a product teach about its facts.",
)


@declared
class LearningQuery(PeriodQuery):
    """Which records.

    Attributes:
        without_outliers: true leaves batches that stand out out of the figures.
    """

    without_outliers: bool = False


@declared
class WantedFact:
    """A fact to take over, named as the records teach it.

    Attributes:
        fact: which one.
        product: code of a sub-assembly; the product itself if left out.
        item: name of the operation, or code of the material.
        grade: code of the labour grade, for attendance.
    """

    fact: Fact
    product: Code | None = None
    item: Name
    grade: Code | None = None


@declared
class LearningOrder(LearningQuery):
    """What to take over, from which records.

    Attributes:
        facts: those to take over; if left out, all that are proposed and at odds with today's.
        quantity: of the batch whose cost a preview tells; the good units of the newest record if left out.
        apply: true takes them over, false previews what that would do.
    """

    facts: Annotated[tuple[WantedFact, ...], Length(at_least=1, at_most=500)] | None = None
    quantity: SoldQuantity | None = None
    apply: bool = False

    def about(self, product: str) -> tuple[Learnable, ...] | None:
        """The facts to take over, of this product where they name no other."""
        if self.facts is None:
            return None
        return tuple(Learnable(each.fact, each.product or product, each.item, each.grade or "") for each in self.facts)


@dataclass(frozen=True, slots=True, kw_only=True)
class LearningAnswer(TakenOver):
    """What was taken over from records, or would be.

    Attributes:
        prices: in a preview, what a repricing of the listings concerned would do, with the first 100 changes.
        prices_problem: why that cannot be told.
    """

    prices: RepricingAnswer | None
    prices_problem: str | None


def _wanted(query: LearningQuery, facts: tuple[Learnable, ...] | None = None) -> Wanted:
    return Wanted(records=query.chosen, without_outliers=query.without_outliers, facts=facts)


def _told(taken: TakenOver) -> flask.Response:
    return data_answer({**encoded(taken), "prices": None, "prices_problem": None})


@blueprint.route("/<code>/learning")
class Learning(MethodView):
    """What records teach."""

    @remembered
    @operation("getLearning", is_heavy=True)
    @blueprint.arguments(schema_of(LearningQuery)(), location="query")
    @blueprint.response(200, schema_of(LearningStatement), headers=ETAG)
    def get(self, query: LearningQuery, code: str) -> flask.Response:
        """What the records of a product teach: yields, times, losses, people, electricity.

        Each fact pooled over all batches, with how sure it is, beside what the product states today. To see which
        facts were guesses.
        """
        return answer(learning.what_records_teach(workspace(), code, _wanted(query)))

    @operation(  # the view itself requires the scope to write if it applies
        "learn", stores=False, is_heavy=True, headers=(IF_PREVIEWED, MAY_BE_REPEATED)
    )
    @blueprint.arguments(schema_of(LearningOrder)(), examples=LEARNING)
    @blueprint.response(200, schema_of(LearningAnswer), headers=ETAG)
    def post(self, order: LearningOrder, code: str) -> flask.Response:
        """Take over what records teach, or preview what that would do to cost, prices and open quotations.

        The product is registered with the new facts, and sub-assemblies with theirs; the audit trail has the records as
        the reason. Prices in force stay until the next repricing. A preview stores nothing.
        """
        wanted = _wanted(order, order.about(code))
        if order.apply:
            require(WRITE)
            return once(lambda joint: _told(taking_over.take_over(joint, code, wanted, is_expected)))
        sent_key()  # not needed here, but refuses a malformed key before the client applies with it
        found = taking_over.preview(workspace(), code, wanted, order.quantity)
        told = {"prices": prices_told(found.prices), "prices_problem": found.prices_problem}
        response = data_answer({**encoded(found.taken), **told})
        response.set_etag(found.tag)
        return response


@blueprint.route("/<code>/learning/undo")
class LearningUndo(MethodView):
    """Undoing what was taken over."""

    @operation("undoLearning", headers=(IF_MATCH, MAY_BE_REPEATED), refuses=(409,))
    @blueprint.response(200, schema_of(LearningAnswer))
    def post(self, code: str) -> flask.Response:
        """Register the product as it was before it last took over facts from its records.

        Refused if it, or a sub-assembly that was changed with it, has changed since.
        """
        return once_if_keyed(lambda joint: _told(taking_over.undo(joint, code, is_expected)))
