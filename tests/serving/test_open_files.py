"""A process takes no more connections than it may open files for."""

import resource
from multiprocessing import Pipe
from typing import Any

import pytest

from service.serving.open_files import FILES_EACH, OTHER_FILES, room_for
from tests.support.processes import ended, started


def find_room(allowed: int, most: int, told: Any) -> None:
    resource.setrlimit(resource.RLIMIT_NOFILE, (allowed, most))
    told.send((room_for(800), resource.getrlimit(resource.RLIMIT_NOFILE)[0]))


@pytest.mark.parametrize(
    ("allowed", "most", "wanted"),
    [
        (1024, 4096, (800, 800 * FILES_EACH + OTHER_FILES)),  # raised
        (1024, 1024, ((1024 - OTHER_FILES) // FILES_EACH, 1024)),  # fewer connections
        (4000, 4096, (800, 4000)),  # left as it is
    ],
)
def test_the_limit_is_raised_as_far_as_it_may_be(allowed: int, most: int, wanted: tuple[int, int]) -> None:
    heard, telling = Pipe(duplex=False)

    process = started(find_room, allowed, most, telling)

    assert heard.recv() == wanted
    assert ended(process) == 0
