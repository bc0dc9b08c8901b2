"""The table of faults in service/feeds/README.md: every row is tried and has the stated outcome."""

import gzip
import re
from collections.abc import Callable
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from service import cli
from service.app import create_app
from service.config import Settings
from service.feeds.patience import Patience
from service.store.engine.schema import migrate
from tests.api.operating.test_metrics import told as figures
from tests.conftest import Client, make_client
from tests.support.builders import listing, quotation, register_workshop
from tests.support.contract import Contract
from tests.support.demo import Ended, end_of
from tests.support.feed import (
    AS_PATIENT_AS_THE_SERVICE,
    BOMB,
    DAILY,
    HEAD,
    QUICK,
    RATES,
    TAIL,
    Answer,
    FeedServer,
    day_of,
    endless,
    entities,
    feed_at,
    know_names,
    memory,
    nobody_accepting,
    nobody_listening,
    sending,
    silent,
    trickling,
    trickling_header,
    with_rates,
    xml_of,
)
from tests.support.pages import FEEDS

COMMAND = "refresh-exchange-rates"
TODAY = day_of()
GOOD = xml_of({TODAY: RATES})
ABSURD = with_rates(USD="1077.2")
AGE = "pugmill_feed_newest_day_age_seconds", ()
LARGEST = 20_000_000
"""The most bytes that a whole walk may hold in memory; an unpacked bomb has sixty million."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A row of the table: the result that /metrics counts, the message, the rates in use, the exit status."""

    result: str
    sentence: str
    rates: str
    status: int


def row_of(told: str, rates: str, ends: str) -> Row:
    found = re.fullmatch(r"(?:`(?P<result>[a-z-]+)`: )?(?P<sentence>.+)", told)
    assert found is not None
    status, _, remedy = ends.partition(", ")
    assert remedy
    return Row(result=found["result"] or "", sentence=found["sentence"], rates=rates, status=int(status))


def rows() -> dict[str, Row]:
    """The rows of the table, by what happened."""
    section = FEEDS.section("Every fault, and what to do")
    lines = [line.strip("| ").split(" | ") for line in section.splitlines() if line.startswith("| ")]
    found = {cells[0]: row_of(*cells[1:]) for cells in lines[2:]}
    assert len(found) == len(lines) - 2
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """How a row is tried.

    Attributes:
        answers: the feed's answer to each refresh in turn; each must have the row's outcome.
        place: gives the address where the service looks for the feed, from that of the tests' own feed.
        last_good: how many days ago the rates in use were published; None at the first start.
        age: how many days old the rates in use are afterwards.
        arguments: arguments of the script.
        is_measured: whether memory use is measured.
    """

    answers: tuple[Answer, ...] = (sending(GOOD),)
    place: Callable[[str], AbstractContextManager[str]] = nullcontext
    last_good: int | None = 2
    age: int | None = 2
    patience: Patience = AS_PATIENT_AS_THE_SERVICE
    arguments: tuple[str, ...] = ()
    is_measured: bool = False


def answering(*answers: Answer, **options: Any) -> Scene:
    return Scene(answers=answers, **options)


def publishing(*bodies: bytes, **options: Any) -> Scene:
    return answering(*(sending(body) for body in bodies), **options)


def replacing(old: str, *new: str) -> Scene:
    """Scene of a good file in which `old` is replaced, once for each of `new`."""
    assert old.encode() in GOOD
    return publishing(*(GOOD.replace(old.encode(), each.encode(), 1) for each in new))


def declaring(declarations: str) -> bytes:
    """A good file with these declarations, which uses the entity i."""
    typed = f"<!DOCTYPE x [{declarations}]><gesmes:Envelope"
    return GOOD.replace(b"<gesmes:Envelope", typed.encode(), 1).replace(b"Reference", b"&i;")


def redirecting_to_itself(handler: Any) -> None:
    sending(b"", 302, Location=f"http://127.0.0.1:{handler.server.server_port}/inner")(handler)


def absurd_today(handler: Any) -> None:
    """Today's absurd rates; in the file of 90 days also two good days before."""
    before = {} if handler.path.endswith(DAILY) else {day_of(1): RATES, day_of(2): RATES}
    sending(xml_of({TODAY: ABSURD, **before}))(handler)


def nowhere(_: str) -> AbstractContextManager[str]:
    return nobody_listening()


def unknown(_: str) -> AbstractContextManager[str]:
    return nullcontext("http://rates.example/")


FAILING = (sending(b"", 429, Retry_After="soon"), sending(b"", 500), sending(b"", 503, Retry_After="7"), endless(503))
ENTITIES = (entities("i"), '<!ENTITY i SYSTEM "file:///etc/passwd">', '<!ENTITY i SYSTEM "http://127.0.0.1:9/">')
PAGE = b"<html><body>Sorry</body></html>"
FEW = dict(list(RATES.items())[:14])

SCENES: dict[str, Scene] = {
    "the feed is down: no connection": Scene(place=nowhere),
    "its name is not known: no DNS, no network": Scene(place=unknown),
    "the same at the first start": Scene(place=unknown, last_good=None, age=None),
    "it cannot prove who it is: another's certificate, a wrong clock": Scene(
        place=lambda url: nullcontext(url.replace("http:", "https:"))
    ),
    "it is slow to accept a connection": Scene(place=lambda _: nobody_accepting(), patience=QUICK),
    "it accepts, and answers nothing": answering(silent, patience=QUICK),
    "it sends one byte now and then": answering(trickling, trickling_header, patience=QUICK),
    "it is overloaded or fails (429, 5xx)": answering(*FAILING, is_measured=True),
    "it is cut off in the middle (truncated)": answering(
        sending(GOOD[:500], Content_Length=str(len(GOOD))), sending(GOOD[:500]), sending(b"")
    ),
    "it does not have the file, or not for us (403, 404)": answering(sending(b"", 403), sending(PAGE, 404)),
    "it redirects: to elsewhere, to an inner address, to `file:`": answering(
        sending(b"", 301, Location="https://rates.example/"),
        redirecting_to_itself,
        sending(BOMB, 302, Location="http://169.254.169.254/", Content_Encoding="gzip"),
        sending(b"", 307, Location="file:///etc/passwd"),
        is_measured=True,
    ),
    "another type of file (JSON, a packed one)": answering(
        sending(b"{}", Content_Type="application/json"), sending(gzip.compress(GOOD), Content_Type="application/gzip")
    ),
    "a page (HTML) with status 200": answering(sending(PAGE, Content_Type="text/html; charset=utf-8")),
    "the same page, said to be XML": publishing(PAGE),
    "not well-formed XML": replacing("<Cube>", "<Cube><<", "<Cube></Sphere>"),
    "more than 64 KiB, whatever length it claims": answering(sending(b" " * 300_000), endless(), is_measured=True),
    "a bomb: 60 MB packed into 60 kB": answering(sending(BOMB, Content_Encoding="gzip"), is_measured=True),
    "a bomb of entities, or one that reads a file or an address": publishing(
        *map(declaring, ENTITIES), is_measured=True
    ),
    "a rate of zero, below zero, NaN or none": replacing('"1.0772"', '"0"', '"-1"', '"NaN"', '""'),
    "a day that there is not (2026-13-01)": replacing(TODAY, "2026-13-01"),
    "a day in the future": publishing(xml_of({day_of(-1): RATES, TODAY: RATES})),
    "no day at all": publishing(f"{HEAD}{TAIL}".encode()),
    "a day twice": replacing("</Cube></gesmes", f'<Cube time="{TODAY}"/></Cube></gesmes'),
    "a currency twice": replacing('currency="JPY"', 'currency="USD"'),
    "a currency that is none ('yen'), or the euro itself": replacing('"JPY"', '"yen"', '"EUR"'),
    "too few currencies": publishing(xml_of({TODAY: FEW})),
    "a currency that nobody knows yet": publishing(xml_of({TODAY: with_rates(ZZZ="3")}), age=0),
    "an absurd rate: 1000 times the last, or a thousandth": publishing(
        xml_of({TODAY: ABSURD}), xml_of({TODAY: with_rates(USD="0.0010772")})
    ),
    "a rate jumps by more than 20 %": publishing(xml_of({TODAY: with_rates(USD="1.3")})),
    "an absurd rate at the first start, or after a pause: the last 90 days are fetched to compare it with": answering(
        absurd_today, last_good=None, age=1
    ),
    "the same where `--span latest` asks for that day alone": answering(
        absurd_today, last_good=None, age=0, arguments=("--span", "latest")
    ),
    "a weekend: the file is the same, or it says that it has not changed": answering(
        sending(xml_of({day_of(2): RATES}), ETag='"2"'), sending(b"", 304)
    ),
    "the feed is down for eight days": Scene(place=nowhere, last_good=8, age=8),
    "for eleven days": Scene(place=nowhere, last_good=11, age=11),
    "it answers, but its last day is eleven days ago": publishing(xml_of({day_of(11): RATES}), last_good=11, age=11),
}
SETTINGS = {
    "`PUGMILL_FEED_URL` is a `file:`": ("file:///srv/rates/", "file://127.0.0.1/rates/"),
    "`PUGMILL_FEED_URL` is http, at an inner address": ("http://10.0.0.5/", "http://169.254.169.254/latest/"),
}
USABLE = {"the last good ones", "the new ones, without it", "the new ones: there is nothing to compare them with"}


@dataclass(kw_only=True)
class Owner(Client):
    """A client of a workshop with listings at home and abroad, which records the service's answers."""

    answers: list[Any] = field(default_factory=list)

    def request(self, method: str, path: str, body: Any = None, **options: Any) -> Any:
        self.answers.append(super().request(method, path, body, **options))
        return self.answers[-1]

    def found(self) -> dict[str, Any]:
        """The answers that a refresh might change."""
        return {path: self.get(path).json for path in ("exchange-rates", *PRICED)}


PRICED = ("listings/home/price-sheet", "listings/abroad/price-sheet")


@pytest.fixture
def owner(client: Client) -> Owner:
    register_workshop(client)
    client.register("listings/home", listing())
    client.register("listings/abroad", listing(currency="USD"))
    return Owner(app=client.app, contract=client.contract, key=client.key, workshop=client.workshop)


def begin(owner: Owner, feed: FeedServer, days_before: int | None) -> None:
    """Have rates in use that were published this many days ago."""
    if days_before is None:
        return
    younger = min(days_before, 10)
    feed.answer = sending(xml_of({day_of(days_before): RATES, day_of(younger): RATES}), ETag='"good"')
    assert owner.post("exchange-rates/refresh", {}).status_code == 200
    if younger != days_before:  # as if days had passed since
        assert owner.delete(f"exchange-rates/{day_of(younger)}?source=ECB").status_code == 204


def is_said(sentence: str, ended: Ended) -> bool:
    """Whether the sentence was printed; "…" stands for any text."""
    pattern = re.escape(sentence).replace("…", ".+")
    return re.search(pattern, " ".join(f"{ended.out} {ended.err}".split())) is not None


def check_prices(owner: Owner, rates: str, age: int | None) -> None:
    """Check that listings are priced where rates allow it, and state the age of the rates."""
    home, abroad = (owner.get(path) for path in PRICED)
    assert home.status_code == 200
    if rates in USABLE:
        assert [each["age_days"] for each in abroad.json["exchange_rates"]] == [age]
    else:
        assert rates == "none"
        assert (abroad.status_code, abroad.json["type"].rpartition("/")[2]) == (422, "missing-exchange-rate")


def check_quotations(owner: Owner, rates: str) -> None:
    """Check that quoting works in the workshop's own currency always, in another if there are rates."""
    home, abroad = (owner.post("quotations", quotation(currency=code)).status_code for code in ("EUR", "USD"))
    assert (home, abroad) == (201, 201 if rates in USABLE else 422)


STATUSES = {1: {502}, 4: {503, 504}}
"""The service's status codes by the script's exit status."""


def check_problem(answer: Any, row: Row, scene: Scene) -> None:
    """Check that it names the fault and the age of the last good rates, with Retry-After if a retry may help."""
    assert answer.status_code in STATUSES[row.status]
    assert ("Retry-After" in answer.headers) is (row.status == 4)
    assert answer.json["type"].endswith(f"/feed-{row.result}")
    assert answer.json["age_days"] == scene.last_good
    assert answer.json["last_published_on"] == (None if scene.last_good is None else day_of(scene.last_good))


@dataclass(frozen=True, kw_only=True)
class Walk:
    """One row, tried with the real script against a real feed server."""

    row: Row
    scene: Scene
    owner: Owner
    feed: FeedServer
    capsys: pytest.CaptureFixture[str]
    caplog: pytest.LogCaptureFixture

    @property
    def is_fault(self) -> bool:
        return self.row.result not in ("good", "held")

    def figures(self) -> tuple[float, float | None]:
        """The number of refreshes with this result, and the age of the newest day in any workshop."""
        told = figures(self.owner)
        return told.get(("pugmill_feed_refreshes_total", (self.row.result,)), 0), told.get(AGE)

    def refresh(self, answer: Answer) -> None:
        """Refresh once, and check that everything reported agrees with the row."""
        self.feed.reset()
        self.feed.answer = answer
        self.owner.answers.clear()
        self.caplog.clear()

        with memory() if self.scene.is_measured else nullcontext(lambda: 0) as most:
            ended = end_of(self.owner, self.capsys, COMMAND, *self.scene.arguments)

        assert ended.status == self.row.status
        assert is_said(self.row.sentence, ended), ended
        if self.is_fault:
            check_problem(self.owner.answers[0], self.row, self.scene)
        logged = [each.fault for each in self.caplog.records if hasattr(each, "fault")]
        assert logged == ([self.row.result] if self.is_fault else [])
        assert len({path for path, _ in self.feed.requests}) <= 1  # no redirect is followed
        assert most() < LARGEST

    def everything(self) -> None:
        """Try all of the feed's answers in turn; the rates in use stay the same to the last figure."""
        before, (counted, age) = self.owner.found(), self.figures()
        for answer in self.scene.answers:
            self.refresh(answer)

            held = self.owner.get("exchange-rates/held").json["items"]
            assert len(held) == (self.row.result == "held")
            if self.is_fault or (self.row.rates == "the last good ones" and self.scene.last_good is not None):
                assert self.owner.found() == before
        counted_after, age_after = self.figures()
        assert counted_after == counted + len(self.scene.answers)
        assert age_after == age or not self.is_fault
        check_prices(self.owner, self.row.rates, self.scene.age)
        check_quotations(self.owner, self.row.rates)

    def recover(self) -> None:
        """Check that the next good file is accepted as if there had been no fault."""
        self.feed.reset()

        assert end_of(self.owner, self.capsys, COMMAND).status == 0

        assert self.owner.get(f"exchange-rates/{TODAY}?source=ECB").json["rates"] == RATES
        assert self.owner.get("exchange-rates/held").json["items"] == []
        check_prices(self.owner, "the last good ones", 0)


def test_every_row_has_a_scene_and_every_scene_a_row() -> None:
    assert list(rows()) == [*SCENES, *SETTINGS]


@pytest.mark.parametrize("what", SCENES)
def test_a_fault_of_the_feed_has_the_outcome_of_its_row_and_the_next_good_file_is_accepted(
    what: str,
    owner: Owner,
    feed_server: FeedServer,
    capsys: pytest.CaptureFixture[str],
    caplog: pytest.LogCaptureFixture,
) -> None:
    scene = SCENES[what]
    walk = Walk(row=rows()[what], scene=scene, owner=owner, feed=feed_server, capsys=capsys, caplog=caplog)
    begin(owner, feed_server, scene.last_good)

    with scene.place(feed_server.url) as address, pytest.MonkeyPatch.context() as patch:
        patch.setitem(owner.app.extensions, "pugmill.feed", feed_at(address, scene.patience))
        know_names(patch)
        walk.everything()

    walk.recover()


def test_metrics_state_the_age_of_the_newest_day_however_often_the_feed_fails(
    tmp_path: Path, contract: Contract, feed_server: FeedServer
) -> None:
    app = create_app(Settings(database_url=f"sqlite:///{tmp_path / 'pugmill.db'}", feed_url=feed_server.url))
    migrate(app.extensions["pugmill.database"])
    alone = make_client(app, contract)
    assert AGE not in figures(alone)

    feed_server.answer = sending(xml_of({day_of(8): RATES}))
    alone.post("exchange-rates/refresh", {})
    feed_server.answer = sending(b"", 403)
    for _ in range(2):
        alone.post("exchange-rates/refresh", {})

    told = figures(alone)
    app.extensions["pugmill.database"].dispose()
    assert told[AGE] == 8 * 86_400
    assert told["pugmill_feed_refreshes_total", ("good",)] == 1
    assert told["pugmill_feed_refreshes_total", ("unexpected-status",)] == 2


@pytest.mark.parametrize("what", SETTINGS)
def test_the_service_does_not_start_with_such_a_setting(what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    row = rows()[what]
    assert row.rates == "the service does not start"
    for address in SETTINGS[what]:
        monkeypatch.setenv("PUGMILL_FEED_URL", address)

        ended = CliRunner().invoke(cli.main, ["serve"])

        assert ended.exit_code == row.status
        assert ended.stderr == f"Error: {row.sentence}\n"
