"""Formulas as text, with names or with figures, and their evaluation."""

from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal

from service.domain.making.learning import learning_index, unit_times
from service.domain.values.exact import whole_up
from service.domain.values.traced import Traced

Known = Callable[[Traced], Decimal | str | None]
"""The name or value of a figure that is shown by itself; None for an intermediate one."""

SUM, PRODUCT, POWER, ATOM = range(4)
_BINDS = {"+": SUM, "−": SUM, "neg": SUM, "×": PRODUCT, "÷": PRODUCT, "log2": PRODUCT, "^": POWER}
_REDUCED: Mapping[str, Callable[..., Decimal]] = {
    "−": lambda left, right: left - right,
    "×": lambda left, right: left * right,
    "÷": lambda left, right: left / right,
    "^": lambda left, right: left**right,
    "neg": lambda figure: -figure,
    "⌈⌉": whole_up,
    "log2": learning_index,
    "Σ^": unit_times,
}


def terms_of(figure: Traced, known: Known) -> list[Decimal]:
    """The terms of a sum; nested sums that are not shown by themselves are flattened."""
    found: list[Decimal] = []
    left: Decimal = figure
    while isinstance(left, Traced) and left.operator == "+" and (left is figure or known(left) is None):
        left, right = left.operands
        found.append(right)
    return [left, *reversed(found)]


def parts_of(figure: Traced, known: Known) -> Iterator[Traced]:
    """The figures in its formula that are shown by themselves, possibly more than once."""
    waiting = list(figure.operands)
    while waiting:
        operand = waiting.pop()
        if isinstance(operand, Traced):
            if known(operand) is None:
                waiting.extend(operand.operands)
            else:
                yield operand


def evaluated(figure: Traced, known: Known) -> Decimal:
    """The result of the formula with the figures as shown."""

    def value(operand: Decimal) -> Decimal:
        found = known(operand) if isinstance(operand, Traced) else operand
        if found is None:
            assert isinstance(operand, Traced)
            return evaluated(operand, known)
        assert isinstance(found, Decimal)
        return found

    if figure.operator == "+":
        first, *others = map(value, terms_of(figure, known))
        for other in others:
            first += other
        return first
    return _REDUCED[figure.operator](*map(value, figure.operands))


def formula(figure: Traced, known: Known, *, alike_together: bool = False) -> str:
    """The formula in the signs of a pocket calculator; optionally with equal terms of a sum written once behind a Σ."""
    return _Writing(known, alike_together=alike_together).of(figure)[0]


class _Writing:
    """Writes formulas; each part comes with its operator precedence, so that no needless parentheses are written."""

    def __init__(self, known: Known, *, alike_together: bool) -> None:
        self.known, self.alike_together = known, alike_together

    def of(self, figure: Traced) -> tuple[str, int]:
        """The formula of a figure, even if it is shown by itself."""
        match figure.operator:
            case "+":
                return self._sum(figure), SUM
            case "⌈⌉":
                return f"⌈{self._within(figure.operands[0], SUM)}⌉", ATOM
            case "log2":
                return f"ln({self._within(figure.operands[0], SUM)}) ÷ ln(2)", PRODUCT
            case "neg":
                return f"−{self._within(figure.operands[0], PRODUCT)}", SUM
        return self._of_several(figure)

    def _of_several(self, figure: Traced) -> tuple[str, int]:
        match figure.operator:
            case "Σ^":
                before, after, index = (self._within(each, SUM) for each in figure.operands)
                return f"Σ(i ^ ({index})), i from {before} + 1 to {after}", SUM
            case "^":
                base, exponent = (self._within(each, ATOM) for each in figure.operands)
                return f"{base} ^ {exponent}", POWER
        binds = _BINDS[figure.operator]
        left, right = figure.operands
        return f"{self._within(left, binds)} {figure.operator} {self._within(right, binds + 1)}", binds

    def _within(self, operand: Decimal, least: int) -> str:
        """A part of a formula, in parentheses if its precedence is too low."""
        text, binds = self._part(operand)
        return text if binds >= least else f"({text})"

    def _part(self, operand: Decimal) -> tuple[str, int]:
        found = self.known(operand) if isinstance(operand, Traced) else operand
        if found is None:
            assert isinstance(operand, Traced)
            return self.of(operand)
        if isinstance(found, Decimal):
            return in_digits(found), ATOM if found >= 0 else SUM
        return found, ATOM

    def _sum(self, figure: Traced) -> str:
        texts = []
        for place, term in enumerate(terms_of(figure, self.known)):
            text, binds = self._part(term)
            is_bare = binds > SUM or not (place or self.alike_together)
            texts.append(text if is_bare else f"({text})")
        if not self.alike_together:
            return " + ".join(texts)
        return " + ".join(text if texts.count(text) == 1 else f"Σ {_whole(text)}" for text in dict.fromkeys(texts))


def _whole(text: str) -> str:
    """A term behind a Σ, in parentheses unless it is one name."""
    return text if text.startswith(("{", "(")) and text.count("{") <= 1 else f"({text})"


def in_digits(figure: Decimal) -> str:
    """The figure in plain notation, with the minus sign of formulas."""
    return f"{figure:f}".replace("-", "−")
