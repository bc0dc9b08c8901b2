"""Health and readiness, the contract, and its interactive documentation."""

import base64
import hashlib
import re
from importlib.metadata import version
from typing import Any

import flask
import yaml
from flask.views import MethodView
from flask_swagger_ui import get_swaggerui_blueprint

from service.api.contract.blueprints import Api, Blueprint
from service.api.contract.schemas import schema_of
from service.api.http.answers import answer
from service.api.http.auth import database
from service.api.http.operations import operation
from service.domain.values.declared import declared
from service.workflows.workshop.watching import Readiness, readiness

blueprint = Blueprint("service", __name__, description="The service itself.")
TITLE = "Pugmill"
_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)


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

    @operation("getHealth", is_keyed=False)
    @blueprint.response(200, schema_of(Health))
    def get(self) -> flask.Response:
        """Whether the process is up; does not ask the database."""
        return answer(Health(status="up", version=version("pugmill")))


@blueprint.route("/ready")
class ReadyView(MethodView):
    """Readiness."""

    @operation("getReadiness", is_keyed=False)
    @blueprint.response(200, schema_of(Readiness))
    @blueprint.alt_response(503, schema=schema_of(Readiness), description="No database, or its tables are out of date.")
    def get(self) -> flask.Response:
        """Whether the database answers and its tables are up to date."""
        found = readiness(database())
        return answer(found, 200 if found.is_ready else 503)


class _ContractDumper(yaml.SafeDumper):
    """Writes no YAML aliases, which not every reader of contracts knows; lists of words and references on one line."""

    def ignore_aliases(self, _data: object) -> bool:
        """Always true."""
        return True

    def represent_sequence(self, tag: str, sequence: Any, flow_style: bool | None = None) -> yaml.SequenceNode:
        """A list of scalars is on one line."""
        is_short = not any(isinstance(each, (dict, list)) for each in sequence)
        return super().represent_sequence(tag, sequence, is_short or flow_style)

    def represent_mapping(self, tag: str, mapping: Any, flow_style: bool | None = None) -> yaml.MappingNode:
        """A reference is on one line."""
        return super().represent_mapping(tag, mapping, list(mapping) == ["$ref"] or flow_style)


def contract(api: Api) -> str:
    """The OpenAPI document as YAML, in a stable order."""
    found: str = yaml.dump(api.spec.to_dict(), Dumper=_ContractDumper, sort_keys=True, allow_unicode=True, width=120)
    return found


def docs_blueprint() -> flask.Blueprint:
    """Interactive documentation at /docs/, from assets that ship with the service."""
    config = {
        "app_name": f"{TITLE}: interactive documentation",
        "persistAuthorization": True,
        "validatorUrl": None,  # no requests to other hosts
        "oauth2RedirectUrl": "",
    }
    blueprint: flask.Blueprint = get_swaggerui_blueprint("/docs", "/openapi.json", config=config)
    return blueprint


def docs_policy(page: str) -> str:
    """The content security policy of the documentation: its own scripts, requests to this service, nothing else.

    Source: W3C, Content Security Policy Level 3. The inline script is allowed by its digest.
    """
    digests = [base64.b64encode(hashlib.sha256(each.encode()).digest()).decode() for each in _SCRIPT.findall(page)]
    scripts = " ".join(["'self'", *(f"'sha256-{digest}'" for digest in digests)])
    allowed = f"default-src 'none'; script-src {scripts}; style-src 'self' 'unsafe-inline'; img-src 'self' data:"
    return f"{allowed}; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def to_docs() -> flask.Response:
    """Redirects /docs; the address is relative, so that it does not depend on the Host header."""
    return flask.Response(status=308, headers={"Location": "/docs/"}, content_type="text/plain")
