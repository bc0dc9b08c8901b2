"""What is refused of products: loops, misfits, and measures that are not registered."""

from collections.abc import Sequence

from service.domain.values.errors import InvalidValueError, PugmillError


class ProductLoopError(PugmillError, ValueError):
    """A product would contain itself.

    Attributes:
        loop: the codes on the way from the product back to itself.
        path: the member that closes the loop, if it is known.
    """

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
    """A product's mass or a side is not registered, and something takes it.

    Attributes:
        product: what it is called.
        purpose: what takes it, for instance "shipping it".
        members: what to register.
        path: the member that names the product; put there by whoever knows it.
    """

    def __init__(self, product: str, purpose: str, members: Sequence[str]) -> None:
        super().__init__(f"{purpose} takes {' and '.join(members)}: register the product '{product}' with it")
        self.product = product
        self.purpose = purpose
        self.members = tuple(members)
        self.path: tuple[str | int, ...] = ()
