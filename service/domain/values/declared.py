"""Rules of fields, declared once beside the field; the checks, the stored form and the contract read them."""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import MISSING, dataclass, fields
from decimal import Decimal
from functools import cache
from types import NoneType, UnionType
from typing import Annotated, Any, TypeVar, Union, dataclass_transform, get_args, get_origin, get_type_hints

from service.domain.values.errors import InvalidValueError, InvalidValuesError, Path

T = TypeVar("T")
Rule = Callable[[Any], str | None]
"""Returns what is wrong with a value, or None."""

MAX_DIGITS = 28
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\ud800-\udfff]")
_CONTROL_BUT_LINES = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\ud800-\udfff]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """The range of a number.

    Attributes:
        at_least: the least value allowed.
        above: every value must be greater than this.
        at_most: the greatest value allowed.
        below: every value must be less than this.
    """

    at_least: Decimal | int | None = None
    above: Decimal | int | None = None
    at_most: Decimal | int | None = None
    below: Decimal | int | None = None

    @property
    def is_unsigned(self) -> bool:
        """Whether every negative number is outside the range."""
        return any(limit is not None and limit >= 0 for limit in (self.at_least, self.above))

    def __call__(self, value: Decimal | int) -> str | None:
        if (self.above is not None and value <= self.above) or (self.at_least is not None and value < self.at_least):
            return f"must be more than {self.above}" if self.at_least is None else f"must be {self.at_least} or more"
        if (self.at_most is not None and value > self.at_most) or (self.below is not None and value >= self.below):
            return f"must be less than {self.below}" if self.at_most is None else f"must be {self.at_most} or less"
        return None


@cache
def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern)


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """The form that a text must have.

    Attributes:
        max_length: the most characters it may have.
        min_length: the fewest.
        pattern: a regular expression that the whole text must match.
        form: the pattern in words, for the message.
        lines: whether line breaks are allowed.
    """

    max_length: int
    min_length: int = 1
    pattern: str | None = None
    form: str = ""
    lines: bool = False

    def __call__(self, value: str) -> str | None:
        if not self.min_length <= len(value) <= self.max_length:
            least = "" if self.min_length == self.max_length else f"{self.min_length} to "
            return f"must have {least}{self.max_length} characters"
        if self.pattern is not None:
            return None if _compiled(self.pattern).fullmatch(value) else f"must be {self.form}"
        if (_CONTROL_BUT_LINES if self.lines else _CONTROL).search(value):
            return "must not contain control characters" + ("" if self.lines else " or line breaks")
        if self.min_length and not value.strip():
            return "must not be blank"
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Length:
    """How many entries a list or a mapping may have.

    Attributes:
        at_most: the most entries.
        at_least: the fewest.
    """

    at_most: int
    at_least: int = 0

    def __call__(self, value: Any) -> str | None:
        if self.at_least <= len(value) <= self.at_most:
            return None
        return f"must have {self.at_least} to {self.at_most} entries"


@dataclass(frozen=True, slots=True, kw_only=True)
class Distinct:
    """No two entries of a list are equal; checked after the rules of the single fields.

    Attributes:
        by: the member to compare; the whole entry if left out.
        at_entry: report each repeated entry, not the list.
    """

    by: str | None = None
    reason: str = "must be different from each other"
    at_entry: bool = False

    def problems(self, entries: tuple[Any, ...], path: Path) -> Iterator[InvalidValueError]:
        keys = entries if self.by is None else [getattr(each, self.by) for each in entries]
        again = [(*path, index, self.by or "") for index, key in enumerate(keys) if key in keys[:index]]
        for place in again if self.at_entry else [path] if again else []:
            yield InvalidValueError(place, self.reason)


@dataclass(frozen=True, slots=True, kw_only=True)
class Then:
    """A rule of a whole field, checked after the rules of the single fields.

    Attributes:
        member: the member that the rule applies to; the value itself if left out.
    """

    rule: Rule
    member: str | None = None

    def problems(self, value: Any, path: Path) -> tuple[InvalidValueError, ...]:
        if (problem := self.rule(value if self.member is None else getattr(value, self.member))) is None:
            return ()
        return (InvalidValueError(path if self.member is None else (*path, self.member), problem),)


Positive = Annotated[Decimal, Bounds(above=0)]
NotNegative = Annotated[Decimal, Bounds(at_least=0)]
Share = Annotated[Decimal, Bounds(at_least=0, at_most=1)]
PositiveShare = Annotated[Decimal, Bounds(above=0, at_most=1)]
ProperShare = Annotated[Decimal, Bounds(at_least=0, below=1)]
Pieces = Annotated[int, Bounds(at_least=1, at_most=1_000_000_000)]
Code = Annotated[
    str,
    Text(
        max_length=64,
        pattern=r"[A-Za-z0-9][A-Za-z0-9._-]*",
        form="letters, digits, '.', '_' and '-', beginning with a letter or digit",
    ),
]
Name = Annotated[str, Text(max_length=200)]
Line = Annotated[str, Text(max_length=200, min_length=0)]
Paragraph = Annotated[str, Text(max_length=2000, min_length=0, lines=True)]
CurrencyCode = Annotated[str, Text(max_length=3, min_length=3, pattern="[A-Z]{3}", form="three capital letters")]


def marks_and_type(hint: Any) -> tuple[tuple[Any, ...], Any]:
    """Returns the annotations of a type, and the bare type."""
    if get_origin(hint) is Annotated:
        bare, *marks = get_args(hint)
        return tuple(marks), bare
    return (), hint


def rules_and_type(hint: Any) -> tuple[tuple[Rule, ...], Any]:
    """Returns the rules that a single value of an annotated type is checked against, and the bare type."""
    marks, bare = marks_and_type(hint)
    return tuple(mark for mark in marks if callable(mark)), bare


def _later_rules_on(hint: Any) -> tuple[Distinct | Then, ...]:
    return tuple(rule for rule in getattr(hint, "__metadata__", ()) if isinstance(rule, Distinct | Then))


def optional_of(hint: Any) -> Any | None:
    """Returns X if the type is X | None, else None."""
    if get_origin(hint) in (Union, UnionType) and NoneType in get_args(hint):
        (bare,) = (each for each in get_args(hint) if each is not NoneType)
        return bare
    return None


def field_types(declared_class: type) -> dict[str, Any]:
    """The annotated type of every field."""
    hints = get_type_hints(declared_class, include_extras=True)
    return {field.name: hints[field.name] for field in fields(declared_class)}


def is_required(declared_class: type, name: str) -> bool:
    """Whether the field has no default."""
    field = next(field for field in fields(declared_class) if field.name == name)
    return field.default is MISSING and field.default_factory is MISSING


def default_of(declared_class: type, name: str) -> Any:
    """The field's default; None if it has none, or a default factory."""
    field = next(field for field in fields(declared_class) if field.name == name)
    return None if field.default is MISSING else field.default


@cache
def meanings(declared_class: type) -> dict[str, str]:
    """The description of each field under 'Attributes:' in the docstrings of the class and its bases."""
    base = declared_class.__base__
    found = dict(meanings(base)) if base is not None and base is not object else {}
    _, _, section = (declared_class.__doc__ or "").partition("Attributes:")
    name = ""
    for line in section.splitlines():
        text = line.strip()
        if line.startswith("        ") and (start := re.match(r"(\w+): (.*)", text)) and line[8] != " ":
            name, found[start[1]] = start[1], start[2]
        elif name and text and line.startswith("            "):
            found[name] += f" {text}"
        elif text:
            name = ""
    return found


def _check_of(hint: Any) -> Rule | None:
    """Combines the rules of an annotated type and of its parts; None if there are none."""
    rules, bare = rules_and_type(hint)
    parts = [_check_of(part) for part in get_args(bare)] if get_origin(bare) in (tuple, Mapping) else []
    assert not any(map(_later_rules_on, get_args(bare)))  # they hold for whole fields and would never be checked here
    if not any(parts):
        return rules[0] if len(rules) == 1 else first_of(rules) if rules else None

    def check_parts(value: Any) -> str | None:
        columns = (value.keys(), value.values()) if isinstance(value, Mapping) else (value,)
        for part, column in zip(parts, columns, strict=False):
            for each in column if part is not None else ():
                if part is not None and (problem := part(each)) is not None:
                    return problem
        return None

    return first_of((*rules, check_parts))


def first_of(rules: tuple[Rule, ...]) -> Rule:
    """Combines rules into one that returns the first problem."""

    def check(value: Any) -> str | None:
        return next((problem for rule in rules if (problem := rule(value)) is not None), None)

    return check


@cache
def _checks(declared_class: Any) -> tuple[tuple[str, Rule], ...]:
    found = ((name, _check_of(optional_of(hint) or hint)) for name, hint in field_types(declared_class).items())
    return tuple((name, check) for name, check in found if check is not None)


@cache
def _later_rules(declared_class: Any) -> tuple[tuple[str, Distinct | Then], ...]:
    found = ((name, optional_of(hint) or hint) for name, hint in field_types(declared_class).items())
    return tuple((name, rule) for name, hint in found for rule in _later_rules_on(hint))


def _check_itself(self: Any) -> None:
    declared_class: Any = type(self)
    problems = []
    for name, check in _checks(declared_class):
        value = getattr(self, name)
        if value is not None and (problem := check(value)) is not None:
            problems.append(InvalidValueError((name,), problem))
    if not problems:
        for name, rule in _later_rules(declared_class):
            if (value := getattr(self, name)) is not None:
                problems += rule.problems(value, (name,))
        if hasattr(self, "problems"):
            problems += self.problems()
    if problems:
        raise InvalidValuesError(problems)


@dataclass_transform(frozen_default=True, kw_only_default=True)
def declared(declared_class: type[T]) -> type[T]:
    """Make a frozen dataclass that checks itself: rules of its fields, then `Distinct` and `Then`, then `problems()`.

    Raises:
        InvalidValuesError: on creation, naming every field that breaks a rule.
    """
    declared_class.__post_init__ = _check_itself  # type: ignore[attr-defined]
    return dataclass(frozen=True, slots=True, kw_only=True)(declared_class)
