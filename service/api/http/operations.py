"""Operations of the interface, each declared once on its view; and the request that asks for one."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, wraps
from typing import Any, cast

import flask

from service.api.http.forms import FILES, JSON, PAPERS
from service.arrivals import Allowance
from service.domain.listing.price_change import RepricingSummary
from service.store.workshop.workshops import Access
from service.workflows.workspace import Workspace

_DECLARED = "operation"
SAFE_METHODS = frozenset({"GET", "HEAD"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One operation of the interface.

    Attributes:
        id: its name in the contract.
        forms: the media types that it offers at its own address, by Accept; the first is the default. Empty if it has
            no such address.
        documents: the media types that have an address of their own: this one's, with the file ending of the form.
        stores: whether the key needs the scope to write.
        is_long: whether it may take longer, because it reads everything or waits for another service.
        is_heavy: whether it may compute for seconds.
        is_keyed: whether it needs a key.
        refuses: statuses of refusals that do not follow from the other facts.
        headers: names of the shared header parameters that it takes.
        added: members that lists add to what it takes, with their values by parts of the address ("{code}"). They may
            be sent back, and are not read.
        takes_query: whether it reads query parameters.
        takes_body: whether it reads a body.
        may_lack_body: whether it reads one only if it is sent; an empty object is meant otherwise.
    """

    id: str
    forms: tuple[str, ...] = (JSON,)
    documents: tuple[str, ...] = ()
    stores: bool = True
    is_long: bool = False
    is_heavy: bool = False
    is_keyed: bool = True
    refuses: tuple[int, ...] = ()
    headers: tuple[str, ...] = ()
    added: Mapping[str, str] = field(default_factory=dict)
    takes_query: bool = False
    takes_body: bool = False
    may_lack_body: bool = False

    def is_done_apart(self, media_type: str) -> bool:
        """Whether a process for long work answers it: those can be ended, and give their memory back."""
        return self.is_long or self.is_heavy or media_type in PAPERS


def operation(operation_id: str, **facts: Any) -> Callable[[Callable[..., Any]], Any]:
    """Declare the view's operation; the facts are those of `Operation`."""
    declared = Operation(id=operation_id, **facts)

    def decorate(function: Any) -> Any:
        # A copy, because flask-smorest's decorators share this dictionary.
        function._apidoc = {**getattr(function, "_apidoc", {}), _DECLARED: declared}
        return function

    return decorate


def as_document(function: Any, media_type: str) -> Any:
    """The view at the address of one of its documents: the same, in this form alone."""
    file = FILES[media_type]
    declared = declared_in(function._apidoc)
    asked = replace(declared, id=declared.id + file.ending.capitalize(), forms=(media_type,), documents=())
    summary, line_break, rest = function.__doc__.partition("\n")

    @wraps(function)
    def view(*args: Any, **kwargs: Any) -> Any:
        return function(*args, **kwargs)

    told = f"{summary.removesuffix('.')}, as {file.words}.{line_break}{rest}"
    view.__doc__, view._apidoc = told, {**function._apidoc, _DECLARED: asked}  # type: ignore[attr-defined]
    return view


def declared_in(documentation: dict[str, Any]) -> Operation:
    """The operation in flask-smorest's documentation of a view."""
    return cast(Operation, documentation[_DECLARED])


def operations_of(app: flask.Flask) -> dict[tuple[str, str], Operation]:
    """Every operation of the contract, by endpoint and method."""
    found = {}
    for endpoint, view in app.view_functions.items():
        for method in getattr(view, "methods", None) or ():
            function = getattr(getattr(view, "view_class", None), method.lower(), None)
            documentation = getattr(function, "_apidoc", {})
            if _DECLARED in documentation:
                parameters = documentation.get("arguments", {}).get("parameters", [])
                required = {each["in"]: each["required"] for each in parameters}
                found[endpoint, method] = replace(
                    declared_in(documentation),
                    takes_query="query" in required,
                    takes_body="json" in required or "requestBody" in documentation.get("manual_doc", {}),
                    may_lack_body=not required.get("json", True),
                )
    return found


class Request(flask.Request):
    """A request, and what is found out about it on the way to its answer.

    Attributes:
        begun: when it was begun, on the performance counter.
        request_id: the client's, or a new one.
        access: what its key gives access to.
        workspace: database, workshop and actor.
        allowance: what its key has left of the rate limit.
        media_type: of the answer.
        is_negotiated: whether there was a choice of media types.
        body_digest: of the body, once it is read.
        repriced: of the repricing that it applied.
        feed_result: of the refresh of exchange rates that it made.
    """

    request_id = ""
    access: Access | None = None
    workspace: Workspace | None = None
    allowance: Allowance | None = None
    media_type = JSON
    is_negotiated = False
    body_digest = ""
    repriced: RepricingSummary | None = None
    feed_result: str | None = None

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.begun = time.perf_counter()

    @cached_property
    def extensions(self) -> dict[str, Any]:
        """What the application has for all requests; once, because it is behind a proxy."""
        return flask.current_app.extensions

    @cached_property
    def operation(self) -> Operation | None:
        """The contract's operation that it asks for, or None."""
        method = "GET" if self.method == "HEAD" else self.method
        return cast(Operation | None, self.extensions["pugmill.operations"].get((self.endpoint, method)))

    @cached_property
    def is_read(self) -> bool:
        """Whether it changes nothing, by its method."""
        return self.method in SAFE_METHODS

    @cached_property
    def is_of_workshop(self) -> bool:
        """Whether it asks for something of a workshop, for which it needs a key."""
        return self.path.startswith("/v1/")


def current() -> Request:
    """The request that is being answered; itself, because a proxy would look for it at each access."""
    return cast(Request, flask.request._get_current_object())  # type: ignore[attr-defined]
