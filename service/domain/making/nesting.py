"""How products are nested in each other: in which order to make them, which contain themselves or go too deep."""

from collections import deque
from collections.abc import Iterable, Iterator, Mapping

from service.domain.making.errors import ProductLoopError
from service.domain.making.products import Product
from service.domain.values.errors import TooComplexError

MAX_DEPTH = 50
"""The most levels of sub-assemblies."""
_MOST_LOOPS = 50
"""Most loops that are looked for, each of which may go through everything."""
_Graph = Mapping[str, set[str]]


def made_in_order(code: str, products: Mapping[str, Product]) -> list[str]:
    """The product and all its sub-assemblies, each before those it is made of.

    Raises:
        ProductLoopError: a product would contain itself.
        TooComplexError: nested deeper than MAX_DEPTH levels.
    """
    done: dict[str, None] = {}
    path: list[str] = []

    def visit(code: str) -> None:
        if code in path:
            raise ProductLoopError([*path[path.index(code) :], code])
        if code in done:
            return
        if len(path) == MAX_DEPTH:
            raise TooComplexError("levels of sub-assemblies", MAX_DEPTH)
        path.append(code)
        for part in products[code].sub_assemblies():
            visit(part)
        path.pop()
        done[code] = None

    visit(code)
    return list(reversed(done))


def misnested(
    made_of: Iterable[tuple[str, str]], codes: Iterable[str]
) -> Iterator[tuple[str, ProductLoopError | TooComplexError]]:
    """Those of some products that contain themselves, or are in a chain of more than MAX_DEPTH levels.

    Args:
        made_of: each product with a part of it, for everything above and below the products.
        codes: the products.

    Returns:
        Each with the error; its path is the code of the part that closes the loop, or leads deepest.
    """
    parts, users = _both_ways(made_of)
    below, above = _levels(parts, users), _levels(users, parts)
    loops = 0
    for code in codes:
        if code in below and code in above:
            if below[code] + above[code] >= MAX_DEPTH:
                deepest = max(sorted(parts[code]), key=lambda part: below[part], default="")
                yield code, TooComplexError("levels of sub-assemblies", MAX_DEPTH, (deepest,))
        elif code in parts and loops < _MOST_LOOPS and (loop := _loop(code, parts)):
            loops += 1
            yield code, ProductLoopError(loop, (loop[1],))


def _both_ways(made_of: Iterable[tuple[str, str]]) -> tuple[_Graph, _Graph]:
    """By product, its parts; and by product, those that it is a part of."""
    parts: dict[str, set[str]] = {}
    users: dict[str, set[str]] = {}
    for code, part in made_of:
        for graph, one, other in ((parts, code, part), (users, part, code)):
            graph.setdefault(one, set()).add(other)
            graph.setdefault(other, set())
    return parts, users


def _levels(neighbours: _Graph, back: _Graph) -> dict[str, int]:
    """The length of the longest path from each product; without those from which a loop can be reached."""
    waiting = {code: len(others) for code, others in neighbours.items()}
    ready = deque(code for code, number in waiting.items() if not number)
    found: dict[str, int] = {}
    while ready:
        code = ready.popleft()
        found[code] = max((found[other] + 1 for other in neighbours[code]), default=0)
        for other in back[code]:
            waiting[other] -= 1
            if not waiting[other]:
                ready.append(other)
    return found


def _loop(code: str, parts: _Graph) -> list[str]:
    """A shortest way from the product to itself; empty if there is none."""
    came_from: dict[str, str] = {}
    waiting = deque([code])
    while waiting and code not in came_from:
        now = waiting.popleft()
        for part in sorted(parts[now] - came_from.keys()):
            came_from[part] = now
            waiting.append(part)
    if code not in came_from:
        return []
    loop = [code, came_from[code]]
    while loop[-1] != code:
        loop.append(came_from[loop[-1]])
    return loop[::-1]
