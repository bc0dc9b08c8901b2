"""Concurrent issuing of quotations: each has a different number, and there are no gaps."""

from typing import Any

import pytest

from tests.conftest import Client
from tests.support import processes
from tests.support.builders import quotation, register_workshop
from tests.support.processes import CLIENTS, context, ended, started
from tests.support.profiles import share

pytestmark = pytest.mark.every_engine

PROCESSES = 4
EACH = share(63)  # 4 processes × 4 clients × 63 quotations are more than 1,000; by day, a third of that
MINUTES = 4 * processes.SECONDS


def test_16_clients_of_4_processes_issue_hundreds_of_quotations_without_a_gap(
    client: Client, database_url: str
) -> None:
    register_workshop(client)
    begin, answers = context.Event(), context.Queue()
    given: tuple[Any, ...] = (database_url, client.key, quotation(), EACH, begin, answers)
    others = [started(processes.quote_and_issue, *given) for _ in range(PROCESSES)]

    begin.set()
    told = [answers.get(timeout=processes.SECONDS) for _ in others]

    assert [ended(each) for each in others] == [0] * PROCESSES
    count = PROCESSES * CLIENTS * EACH
    expected = [f"Q{number:06d}" for number in range(1, count + 1)]
    assert sorted(number for numbers, _ in told for number in numbers) == expected
    stored, page = [], client.get("quotations?status=issued&limit=500").json
    while page:
        stored += [each["number"] for each in page["items"]]
        page = client.get(page["next"]).json if page["next"] else None
    assert sorted(stored) == expected
