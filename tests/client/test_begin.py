"""pugmill begin: a small workshop of one's own, with a comment on every figure."""

import re
from pathlib import Path

import flask
import pytest
from click.testing import CliRunner, Result

from service.cli import main
from service.store.workshop.workshops import find_workshop, workshop_of_key
from tests.conftest import Client, make_client
from tests.support.contract import Contract
from tests.support.demo import end_of

WORDS = ("--name", 'The "Tide"', "--place", "1 Quay Road\\nPort Quillan", "--currency", "eur", "--kwh", "0,32")
FIGURE = re.compile(r"(?<![\w-])[0-9]+(?:\.[0-9]+)?(?![\w-])")


@pytest.fixture(autouse=True)
def directory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def begun(*words: str, answers: str = "", **environment: str) -> Result:
    return CliRunner().invoke(main, ["begin", *words], input=answers, env=environment)


@pytest.mark.parametrize(
    ("costs", "price"),
    [
        ({"currency": "EUR", "kwh": "0.32", "hour": "22"}, "4.18"),
        ({"currency": "JPY", "kwh": "31", "hour": "1500"}, "290"),
        ({"currency": "KWD", "kwh": "0.029", "hour": "3.250"}, "0.607"),
    ],
    ids=str,
)
def test_what_it_writes_is_registered_priced_and_quoted_without_a_warning(
    app: flask.Flask, contract: Contract, capsys: pytest.CaptureFixture[str], costs: dict[str, str], price: str
) -> None:
    client = make_client(app, contract, currency=costs["currency"])
    assert begun("mine", *WORDS, *(word for name, cost in costs.items() for word in (f"--{name}", cost))).exit_code == 0

    registered = end_of(client, capsys, "register", "mine/workshop.yaml")
    quoted = end_of(client, capsys, "quote", "mine/order.yaml")

    assert registered.status == quoted.status == 0, registered.err + quoted.err
    assert "Warning" not in registered.out + quoted.out
    assert client.get("listings/tile-counter/price-sheet").json["price_per_piece"]["price"]["amount"] == price
    assert "Issued as Q000001." in quoted.out
    assert Path("mine/order.pdf").read_bytes().startswith(b"%PDF")


def test_it_says_that_no_overheads_are_in_its_prices() -> None:
    assert "until you add them, prices do not pay for these" in begun("mine", *WORDS, "--hour", "22").output
    assert "until you add them" in Path("mine/workshop.yaml").read_text()


def test_every_figure_has_a_unit_or_a_meaning_and_is_marked_unless_it_was_given() -> None:
    begun("mine", *WORDS, "--hour", "22")

    lines = Path("mine/workshop.yaml").read_text().partition("tariffs:")[2].splitlines()
    figures = [line for line in lines if FIGURE.search(re.sub("[0-9]{4}-01-01:|#.*", "", line))]
    named = [line for line in figures if "name: Tile" not in line]
    given = [line for line in named if " # * " not in line and not line.endswith(" # *")]
    assert len(named) > 35
    assert [line.split("#")[0].strip().split(":")[0] for line in given] == ["price_per_kwh", "wage_per_hour"]


def test_what_is_not_given_is_asked_and_has_a_usual_answer() -> None:
    ended = begun(
        "mine",
        "--name",
        "Tide",
        answers="\n1 Quay Road\nEURO\n\nfree\n\n0\n19.50\n",
        LANG="de_AT.UTF-8",
        TZ="Europe/Vienna",
    )

    assert ended.exit_code == 0, ended.output
    told = Path("mine/workshop.yaml").read_text()
    for line in (
        'name: "Tide"',
        'address: "1 Quay Road"',
        "currency: EUR",
        "locale: de_AT #",
        "time-zone: Europe/Vienna",
        "always: { amount: 0.30, currency: EUR }",
        "wage_per_hour: { amount: 19.50, currency: EUR }",
    ):
        assert line in told
    assert "'EURO' is not a currency; write its three letters" in ended.output
    assert "'free' is not an amount; write for instance 0.32" in ended.output


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--kwh", "1e99"], "'1e99' is not an amount"),
        (["--kwh", "NaN"], "'NaN' is not an amount"),
        (["--name", " "], "it must not be empty"),
        ([], "--name is needed, or an answer to: What is the workshop called?"),
    ],
)
def test_what_it_cannot_use_is_told(words: list[str], told: str) -> None:
    ended = begun("mine", *words)

    assert ended.exit_code == 2
    assert told in " ".join(ended.output.split())
    assert not Path("mine").exists()


def test_replaces_no_file() -> None:
    Path("mine").mkdir()
    Path("mine/order.yaml").write_text("mine")
    Path("file").write_text("")

    assert "mine/order.yaml is there already" in begun("mine", *WORDS, "--hour", "22").output
    assert "cannot be written" in begun("file/mine", *WORDS, "--hour", "22").output
    assert Path("mine/order.yaml").read_text() == "mine"


def test_the_workshop_is_created_as_its_file_says(client: Client) -> None:
    begun("mine", *WORDS, "--hour", "22", "--locale", "nl_BE", "--time-zone", "Europe/Brussels")
    url = client.database.engine.url.render_as_string(hide_password=False)

    def created(*words: str) -> Result:
        return CliRunner().invoke(main, ["workshop", "create", *words], env={"DATABASE_URL": url})

    made = created("--file", "mine/workshop.yaml", "--locale", "fr_BE")

    workshop_id = workshop_of_key(made.stdout.strip())
    assert workshop_id is not None, made.output
    with client.database.reading() as connection:
        found = find_workshop(connection, workshop_id)
    assert found is not None
    assert (found.name, found.address) == ('The "Tide"', "1 Quay Road\nPort Quillan")
    assert (found.currency, found.locale, found.time_zone) == ("EUR", "fr_BE", "Europe/Brussels")
    Path("tab.yaml").write_text("a:\n\tb: 1")
    Path("other.yaml").write_text("materials: {}")
    for name, told in (
        ("missing.yaml", "missing.yaml: "),
        ("tab.yaml", "tab.yaml: line 2: has a tab"),
        ("other.yaml", "other.yaml has no section `workshop`"),
    ):
        refused = created("--file", name)
        assert refused.exit_code == 2
        assert told in " ".join(refused.output.split())
