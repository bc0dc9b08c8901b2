"""What somebody probably meant by a name that is not there."""

from collections.abc import Iterable
from difflib import get_close_matches

_LONGEST = 100
"""Characters of a name that are compared; no name of ours is longer."""


def _bare(name: str) -> str:
    """The name without what is often written otherwise: capitals, and what joins its words."""
    return name.casefold().replace("-", "_").replace(" ", "_")


def nearest(name: str, names: Iterable[str]) -> str | None:
    """The name that is most like this one; None if none is much like it."""
    bare = {_bare(each): each for each in names}
    found = get_close_matches(_bare(name[:_LONGEST]), bare, n=1)
    return bare[found[0]] if found else None


def in_place_of(name: str, names: Iterable[str]) -> str:
    """The end of a refusal where a required name is missing, "; 'quantitty' is there in place of 'quantity'"."""
    found = nearest(name, names)
    return "" if found is None else f"; '{found}' is there in place of '{name}'"


def did_you_mean(name: str, names: Iterable[str]) -> str:
    """The end of a refusal, "; did you mean 'brick'?"; empty if no name is much like this one."""
    found = nearest(name, names)
    return "" if found is None else f"; did you mean '{found}'?"
