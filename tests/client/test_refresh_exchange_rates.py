"""pugmill refresh-exchange-rates: its report of days added and held back, and its exit status."""

import csv
import io
from pathlib import Path

import pytest

from tests.conftest import Client
from tests.support.demo import end_of
from tests.support.feed import RATES, FeedServer, day_of, sending, with_rates, xml_of

COMMAND = "refresh-exchange-rates"
TODAY, YESTERDAY = day_of(), day_of(1)


@pytest.fixture(autouse=True)
def columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture
def jumping(feed_server: FeedServer) -> FeedServer:
    """A feed whose rate of the dollar yesterday was very different from today's."""
    feed_server.answer = sending(xml_of({YESTERDAY: with_rates(USD="2.5000")}))
    return feed_server


def rows(text: str) -> list[list[str]]:
    return [line.split() for line in text.splitlines()]


class TestRefreshing:
    def test_reports_new_days(
        self, client: Client, feed_server: FeedServer, capsys: pytest.CaptureFixture[str]
    ) -> None:
        ended = end_of(client, capsys, COMMAND)

        assert ended.status == 0
        assert ended.err == ""
        assert ["new", "days", "1"] in rows(ended.out)
        assert f"{TODAY}, 0 days old" in ended.out
        assert client.get(f"exchange-rates/{TODAY}?source=ECB").json["rates"]["USD"] == RATES["USD"]

    def test_again_adds_nothing_and_says_so(
        self, client: Client, feed_server: FeedServer, capsys: pytest.CaptureFixture[str]
    ) -> None:
        end_of(client, capsys, COMMAND)

        ended = end_of(client, capsys, COMMAND)

        assert ended.status == 0
        assert ["new", "days", "0"] in rows(ended.out)
        assert ["unchanged", "days", "1"] in rows(ended.out)

    def test_after_a_pause_fetches_the_days_in_between(
        self, client: Client, feed_server: FeedServer, capsys: pytest.CaptureFixture[str]
    ) -> None:
        feed_server.answer = sending(xml_of({TODAY: RATES, YESTERDAY: RATES}))

        ended = end_of(client, capsys, COMMAND, "--span", "90-days")

        assert ended.status == 0
        assert ["new", "days", "2"] in rows(ended.out)
        assert feed_server.requests[0][0].endswith("hist-90d.xml")

    def test_reports_a_day_that_is_held_back_and_ends_with_3_until_it_is_confirmed(
        self, client: Client, jumping: FeedServer, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        end_of(client, capsys, COMMAND)
        jumping.reset()
        path = tmp_path / "held.csv"

        held = end_of(client, capsys, COMMAND, "--csv", str(path))
        again = end_of(client, capsys, COMMAND)
        confirmed = end_of(client, capsys, COMMAND, "--confirm", TODAY)
        after = end_of(client, capsys, COMMAND)

        assert (held.status, again.status, confirmed.status, after.status) == (3, 3, 0, 0)
        assert (
            held.err == f"pugmill {COMMAND}: held back until confirmed: {TODAY};"
            " --confirm DAY uses a day, --drop DAY discards it\n"
        )
        assert [TODAY, "ECB", "USD", "2.5000", "1.0772", "56.9", "%"] in rows(held.out)
        (record,) = csv.DictReader(io.StringIO(path.read_text(), newline=""))
        assert record == {
            "published_on": TODAY,
            "source": "ECB",
            "currency": "USD",
            "from_rate": "2.5000",
            "to_rate": "1.0772",
            "share": "0.569120",
        }
        assert confirmed.out == f"In use now: {TODAY}\n"
        assert client.get(f"exchange-rates/{TODAY}?source=ECB").json["rates"]["USD"] == "1.0772"

    def test_throws_away_a_day_that_is_held_back(
        self, client: Client, jumping: FeedServer, capsys: pytest.CaptureFixture[str]
    ) -> None:
        end_of(client, capsys, COMMAND)
        jumping.reset()
        end_of(client, capsys, COMMAND)
        asked = len(jumping.requests)

        dropped = end_of(client, capsys, COMMAND, "--drop", TODAY)

        assert (dropped.status, dropped.out, dropped.err) == (0, f"Discarded: {TODAY}\n", "")
        assert len(jumping.requests) == asked
        assert client.get("exchange-rates/held").json["items"] == []
        assert [each["published_on"] for each in client.get("exchange-rates").json["items"]] == [YESTERDAY]

    def test_in_a_dry_run_fetches_nothing(
        self, client: Client, feed_server: FeedServer, capsys: pytest.CaptureFixture[str]
    ) -> None:
        before = end_of(client, capsys, COMMAND, "--dry-run")
        end_of(client, capsys, COMMAND)
        asked = len(feed_server.requests)

        after = end_of(client, capsys, COMMAND, "--dry-run")

        assert (before.status, after.status) == (0, 0)
        assert before.out == "No exchange rates are in use.\n"
        assert after.out == f"The last day in use is {TODAY}, source ECB.\n"
        assert len(feed_server.requests) == asked


class TestAFeedThatFails:
    @pytest.mark.parametrize(
        ("answer", "status"),
        [
            pytest.param(sending(b"", status=503), 4, id="out of order"),
            pytest.param(sending(b"<html>Maintenance</html>"), 1, id="invalid"),
            pytest.param(sending(xml_of({day_of(40): RATES})), 1, id="late"),
        ],
    )
    def test_changes_nothing_and_each_fault_has_its_exit_status(
        self, client: Client, feed_server: FeedServer, capsys: pytest.CaptureFixture[str], answer: object, status: int
    ) -> None:
        feed_server.answer = answer  # type: ignore[assignment]

        ended = end_of(client, capsys, COMMAND)

        assert ended.status == status
        assert ended.out == ""
        assert ended.err.startswith(f"pugmill {COMMAND}: POST /v1/exchange-rates/refresh was refused with 50")
        assert client.get("exchange-rates").json["items"] == []

    def test_leaves_the_file_as_it_was(
        self, client: Client, feed_server: FeedServer, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        feed_server.answer = sending(b"", status=503)
        path = tmp_path / "held.csv"
        path.write_text("what stood there before")

        end_of(client, capsys, COMMAND, "--csv", str(path))

        assert [each.name for each in tmp_path.iterdir()] == ["held.csv"]
        assert path.read_text() == "what stood there before"


@pytest.mark.parametrize(
    ("arguments", "told"), [(("--span", "year"), "--span"), (("--dry-run", "--confirm", TODAY), "not allowed with")]
)
def test_a_command_line_that_makes_no_sense_ends_with_2(
    client: Client, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], told: str
) -> None:
    ended = end_of(client, capsys, COMMAND, *arguments)

    assert ended.status == 2
    assert told in ended.err


@pytest.mark.parametrize("what", ["--confirm", "--drop"])
def test_a_day_that_nothing_is_held_back_for_cannot_be_confirmed_or_thrown_away(
    client: Client, capsys: pytest.CaptureFixture[str], what: str
) -> None:
    ended = end_of(client, capsys, COMMAND, what, TODAY)

    assert ended.status == 1
    assert "refused with 404" in ended.err
