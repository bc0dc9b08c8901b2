"""How many random examples the tests run: hypothesis's profiles, and helpers that scale with them.

`dev` runs a third of the full budget, with new examples each time. `ci` runs as many, with the same examples each time,
so that a build fails only because of the change. `nightly` runs the full budget, starts with the given seed, and runs
the tests marked `nightly`:

    pytest --hypothesis-profile nightly --hypothesis-seed 12345
"""

import os
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

FULL = 100
"""Examples of a test in the full budget, unless the test sets another number."""
THIRD = 33

# No deadlines: the time of a test depends on the machine and says nothing about the property tested.
_patient: dict[str, Any] = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow], "print_blob": True}
settings.register_profile("dev", max_examples=THIRD, **_patient)
settings.register_profile("ci", max_examples=THIRD, derandomize=True, database=None, **_patient)
settings.register_profile("nightly", max_examples=FULL, database=None, **_patient)
settings.load_profile("ci" if os.environ.get("CI") else "dev")

_first_seed = 0


def pytest_configure(config: pytest.Config) -> None:
    global _first_seed  # noqa: PLW0603 # set once, before any test is collected
    _first_seed = int(config.getoption("--hypothesis-seed") or 0)


def is_nightly() -> bool:
    return settings.get_current_profile_name() == "nightly"


def pytest_itemcollected(item: pytest.Item) -> None:
    if is_nightly() and item.get_closest_marker("every_engine_by_night"):
        item.add_marker("every_engine")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out tests marked nightly, unless the profile is `nightly` or `-m` names the marker."""
    if is_nightly() or "nightly" in config.option.markexpr:
        return
    left_out = [each for each in items if each.get_closest_marker("nightly")]
    config.hook.pytest_deselected(items=left_out)
    items[:] = [each for each in items if each not in left_out]


def share(full: int) -> int:
    """The profile's share of a full number, at least one:  full × profile's examples ÷ 100."""
    return max(1, round(full * settings().max_examples / FULL))


def examples(full: int, *unconcerned: HealthCheck) -> settings:
    """Settings of a test with `full` examples in the full budget; the named health checks are suppressed."""
    return settings(max_examples=share(full), suppress_health_check=[HealthCheck.too_slow, *unconcerned])


def first_seed() -> int:
    """The first seed given to the nightly run; 0 otherwise."""
    return _first_seed


def seeds(full: int) -> range:
    """The seeds of a loop that runs over `full` seeds in the full budget."""
    return range(_first_seed, _first_seed + share(full))
