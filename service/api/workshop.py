"""The workshop itself: what its papers say of it."""

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.examples import WORKSHOP
from service.api.contract.schemas import schema_of
from service.api.contract.shared_parts import CREATE_ONLY, ETAG, IF_MATCH
from service.api.http.answers import answer, may_be_put
from service.api.http.auth import workspace
from service.api.http.operations import operation
from service.domain.selling.seller import Seller
from service.workflows.workshop import letterhead

blueprint = Blueprint(
    "workshop",
    __name__,
    url_prefix="/v1/workshop",
    description="The workshop itself: its letterhead, its language, its time zone.",
)


@blueprint.route("")
class OneWorkshop(MethodView):
    """The workshop of the key."""

    @operation("getWorkshop")
    @blueprint.response(200, schema_of(Seller), headers=ETAG)
    def get(self) -> flask.Response:
        """Read what the workshop's papers say of it; a PUT takes the same.

        Look here first: it says whose key it is, in which time zone a day begins and in which language papers are.
        """
        seller, revision = letterhead.find_seller(workspace())
        return answer(seller, revision=revision)

    @operation("putWorkshop", headers=(IF_MATCH, CREATE_ONLY))
    @blueprint.arguments(schema_of(Seller)(), example=WORKSHOP)
    @blueprint.response(200, schema_of(Seller), headers=ETAG)
    def put(self, seller: Seller) -> flask.Response:
        """Replace what the workshop's papers say of it; quotations that are issued keep what they say.

        Members left out take their defaults. Repeating it changes nothing.
        """
        done = letterhead.put_seller(workspace(), seller, may_be_put)
        return answer(done.state, revision=done.revision)
