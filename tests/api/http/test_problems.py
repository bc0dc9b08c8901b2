"""Every error of the domain and the workflows is in the table of problems."""

from collections.abc import Iterator

from service.api.http.errors import PROBLEMS
from service.domain.values import errors as domain
from service.workflows import errors as workflow

assert workflow  # imported so that its subclasses exist


def _subclasses(base: type[domain.PugmillError]) -> Iterator[type[domain.PugmillError]]:
    for found in base.__subclasses__():
        yield found
        yield from _subclasses(found)


def test_every_error_has_a_problem() -> None:
    """But those that no workflow lets out, which have names of their own modules."""
    errors = {error.__name__ for error in _subclasses(domain.PugmillError)}
    assert {name for name in errors if not name.startswith("_")} == {error.__name__ for error in PROBLEMS}
