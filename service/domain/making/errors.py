"""Errors of products: loops, inconsistencies and missing measures."""

from collections.abc import Sequence

from service.domain.values.errors import InvalidValueError, PugmillError


class ProductLoopError(PugmillError, ValueError):
    """A product would contain itself; the path is the member that closes the loop, if it is known."""

    def __init__(self, loop: Sequence[str], path: Sequence[str | int] = ()) -> None:
        super().__init__(f"a product cannot contain itself: {' → '.join(loop)}")
        self.loop = tuple(loop)
        self.path = tuple(path)


class InconsistentProductError(PugmillError, ValueError):
    """A product no longer fits the machines and tariffs it names."""

    def __init__(self, product: str, problems: Sequence[InvalidValueError]) -> None:
        super().__init__(f"register the product '{product}' again: {'; '.join(str(problem) for problem in problems)}")
        self.product = product
        self.problems = tuple(problems)


class MissingMeasuresError(PugmillError, ValueError):
    """A product lacks a mass or a side that something needs.

    Attributes:
        purpose: what needs it, for instance "shipping it".
        members: what to register.
        path: the member that names the product; set by the caller that knows it.
    """

    def __init__(self, product: str, purpose: str, members: Sequence[str]) -> None:
        super().__init__(f"{purpose} needs {' and '.join(members)}: register the product '{product}' with it")
        self.product = product
        self.purpose = purpose
        self.members = tuple(members)
        self.path: tuple[str | int, ...] = ()
