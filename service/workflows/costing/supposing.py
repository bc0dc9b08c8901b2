"""What-if rates and facts: checked as they would be if they were registered, and used for one answer."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import RateTerms
from service.domain.making.products import Catalogue, Product, inconsistencies
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.references import Reference, Registered, Thing, references_in
from service.store.registering import registrations
from service.workflows.registering.fixed import fixed_problems, listing_problems
from service.workflows.registering.unknown import unregistered
from service.workflows.workspace import Workspace

WhatIf = Mapping[str, RateTerms]
"""Terms by resource that replace those in force, for one answer."""
WhatIfFacts = Mapping[str, Registered]
"""Facts by resource, or by any other registered thing such as "products/sheet", that replace the registered ones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Supposed:
    """What-if rates and facts."""

    rates: WhatIf = field(default_factory=dict)
    facts: WhatIfFacts = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.rates or self.facts)

    def references(self) -> Iterator[Reference]:
        """Everything that the facts refer to, each with its place in the request."""
        for resource, facts in self.facts.items():
            for path, thing in references_in(facts):
                yield ("facts", resource, *path), thing

    @property
    def things(self) -> tuple[str, ...]:
        """What has other rates or facts, for instance "machines/press"; sorted, each once."""
        return tuple(sorted({*self.rates, *self.facts}))

    def of(self, thing: Thing, registered: Registered) -> Registered:
        """The facts supposed of a thing, or those that are registered."""
        return self.facts.get(str(thing), registered)

    def check_products(self, catalogue: Catalogue) -> None:
        """Raises InvalidValuesError if a supposed product does not match the machines and tariffs that it names."""
        products = ((resource, facts) for resource, facts in self.facts.items() if isinstance(facts, Product))
        _refuse(
            InvalidValueError(("facts", resource, *problem.path), problem.reason)
            for resource, product in products
            for problem in inconsistencies(product, catalogue)
        )


NOTHING_SUPPOSED = Supposed()


def check_what_if_facts(workspace: Workspace, what_if: WhatIfFacts) -> None:
    """Raises InvalidValuesError if a thing is not registered, or what rests on a fact forbids another."""
    problems: list[InvalidValueError] = []
    unknown: list[str] = []
    for resource, facts in what_if.items():
        registered, thing = _registered(workspace, resource), Thing.of(resource)
        if registered is None:
            unknown.append(resource)
            continue
        with workspace.reading() as connection:
            found = fixed_problems(connection, workspace.workshop_id, thing, registered, facts)
            found += [each for _, each in listing_problems(connection, workspace.workshop_id, {thing: facts})]
        problems += [InvalidValueError(("facts", resource, *each.path), each.reason) for each in found]
    _refuse([*_unknown(workspace, "facts", unknown), *problems])


def supposed_in_force(
    workspace: Workspace, in_force: Iterable[tuple[DatedRate, Registered]], supposed: Supposed, as_of: date
) -> tuple[tuple[DatedRate, Registered], ...]:
    """Rates in force with the facts that they belong to, as supposed.

    Raises:
        InvalidValuesError: a resource is no longer registered.
    """
    found = {rate.resource: (rate, facts) for rate, facts in in_force}
    for resource, terms in supposed.rates.items():
        facts = found[resource][1] if resource in found else _registered(workspace, resource)
        if facts is None:  # it was registered when the terms were checked
            raise InvalidValuesError(_unknown(workspace, "rates", [resource]))
        found[resource] = DatedRate(resource=resource, valid_from=as_of, terms=terms), facts
    return tuple((rate, supposed.of(Thing.of(rate.resource), facts)) for rate, facts in found.values())


def _registered(workspace: Workspace, resource: str) -> Registered | None:
    with workspace.reading() as connection:
        found = registrations.find_registration(connection, workspace.workshop_id, Thing.of(resource))
    return None if found is None or found.retired_at is not None else found.facts


def _unknown(workspace: Workspace, member: str, resources: Sequence[str]) -> list[InvalidValueError]:
    if not resources:
        return []
    references = [((member, resource), Thing.of(resource)) for resource in resources]
    with workspace.reading() as connection:
        return [*unregistered(connection, workspace.workshop_id, references)]


def _refuse(problems: Iterable[InvalidValueError]) -> None:
    if found := list(problems):
        raise InvalidValuesError(found)
