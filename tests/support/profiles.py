"""How much is tried at random, in one place: hypothesis's profiles, and what is relative to them.

`dev` tries a third of the full budget, anew each time. `ci` tries as much, the same each time, so that a red build is
about the change. `nightly` tries all of it, begins with the seed that it is given, and runs what is marked `nightly`:

    pytest --hypothesis-profile nightly --hypothesis-seed 12345
"""

import os
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

FULL = 100
"""Examples of a test in the full budget, unless it says otherwise."""
THIRD = 33

# However slow the machine is: what a test takes is told elsewhere, and no property of what is tried.
_patient: dict[str, Any] = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow], "print_blob": True}
settings.register_profile("dev", max_examples=THIRD, **_patient)
settings.register_profile("ci", max_examples=THIRD, derandomize=True, database=None, **_patient)
settings.register_profile("nightly", max_examples=FULL, database=None, **_patient)
settings.load_profile("ci" if os.environ.get("CI") else "dev")

_first_seed = 0


def pytest_configure(config: pytest.Config) -> None:
    global _first_seed  # noqa: PLW0603 # told once, before any test is collected
    _first_seed = int(config.getoption("--hypothesis-seed") or 0)


def is_nightly() -> bool:
    return settings.get_current_profile_name() == "nightly"


def pytest_itemcollected(item: pytest.Item) -> None:
    if is_nightly() and item.get_closest_marker("every_engine_by_night"):
        item.add_marker("every_engine")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what is marked nightly, unless it is asked for: by the profile, or by the marker's name."""
    if is_nightly() or "nightly" in config.option.markexpr:
        return
    left_out = [each for each in items if each.get_closest_marker("nightly")]
    config.hook.pytest_deselected(items=left_out)
    items[:] = [each for each in items if each not in left_out]


def share(full: int) -> int:
    """As many of them as the profile tries, at least one:  full × profile's examples ÷ 100."""
    return max(1, round(full * settings().max_examples / FULL))


def examples(full: int, *unconcerned: HealthCheck) -> settings:
    """The settings of a test that takes so many examples in the full budget, whatever the health checks say of it."""
    return settings(max_examples=share(full), suppress_health_check=[HealthCheck.too_slow, *unconcerned])


def first_seed() -> int:
    """What the nightly run was told to begin with; 0 otherwise."""
    return _first_seed


def seeds(full: int) -> range:
    """The seeds of a loop that takes so many in the full budget."""
    return range(_first_seed, _first_seed + share(full))
