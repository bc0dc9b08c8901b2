"""Health and readiness."""

from importlib.metadata import version

import flask
from flask.views import MethodView

from service.api.contract.blueprints import Blueprint
from service.api.contract.schemas import schema_of
from service.api.http.answers import answer
from service.api.http.auth import database
from service.api.http.operations import operation
from service.domain.values.declared import declared
from service.workflows.workshop.watching import Readiness, readiness

blueprint = Blueprint(
    "service",
    __name__,
    description="For whatever watches the service: is it up, can it answer, what has it done. No key is needed.",
)


@declared
class Health:
    """The process is up.

    Attributes:
        status: "up".
        version: version of the service.
    """

    status: str
    version: str


@blueprint.route("/health")
class HealthView(MethodView):
    """Liveness."""

    @operation("getHealth", is_keyed=False, refuses=(400,))
    @blueprint.response(200, schema_of(Health))
    def get(self) -> flask.Response:
        """Whether the process is up; does not ask the database.

        For whatever restarts a service that hangs.
        """
        return answer(Health(status="up", version=version("pugmill")))


@blueprint.route("/ready")
class ReadyView(MethodView):
    """Readiness."""

    @operation("getReadiness", is_keyed=False, refuses=(400,))
    @blueprint.response(200, schema_of(Readiness))
    @blueprint.alt_response(503, schema=schema_of(Readiness), description="No database, or its tables are out of date.")
    def get(self) -> flask.Response:
        """Whether the database answers and its tables are up to date.

        For whatever sends it requests only while it can answer them.
        """
        found = readiness(database())
        return answer(found, 200 if found.is_ready else 503)
