"""pugmill register and export-register: files taken together, and everything wrong by file and line."""

from pathlib import Path

import flask
import pytest

from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import DEMO, Ended, end_of, loaded_demo, new_demo, run_command
from tests.support.writes import nothing_is_stored

MATERIALS = """materials:
  hdpe:
    facts: { name: HDPE flakes, unit: kg }
    rates:
      2026-01-01: { price: { amount: 0.780, currency: EUR } }
"""
TAX = """
taxes:
  vat:
    facts: { name: VAT 21 % }
    rates:
      2026-01-01: { rate_share: 0.19 }
"""
MADE_OF = """products:
  {one}:
    facts:
      name: Assembly
      bill_of_materials:
        - { product: {other}, quantity_per_piece: 1 }
"""
PART = "facts/bill_of_materials/0/product"
TABLE = """materials,name,unit,polymer,valid_from,price EUR,reclaim_value EUR
hdpe,"HDPE flakes, washed",kg,HDPE,2026-01-01,0.780,0.30
hdpe,"HDPE flakes, washed",kg,HDPE,2027-01-01,0.82,
pp,PP flakes,kg,PP,,,
"""
RATES = """tariffs,valid_from,price_per_kwh/day EUR,price_per_kwh/night EUR,expected_kwh_per_month
grid,2026-12-01,0.39,0.24,1700
"""
DEEPER = "".join(
    f"  {name}: &{name} [{','.join(['*' + before] * 9)}]\n" for before, name in zip("abcdefgh", "bcdefghi", strict=True)
)
BOMB = f"materials:\n  a: &a [x, x, x, x, x, x, x, x, x]\n{DEEPER}"


@pytest.fixture
def empty(app: flask.Flask, contract: Contract) -> Client:
    return new_demo(app, contract)


@pytest.fixture(autouse=True)
def directory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def write(**files: str) -> list[str]:
    """Write files, a double underscore standing for the dot in their names; returns the names."""
    for name, text in files.items():
        Path(name.replace("__", ".")).write_text(text)
    return [name.replace("__", ".") for name in files]


def registered(client: Client, capsys: pytest.CaptureFixture[str], *words: str, **files: str) -> Ended:
    return end_of(client, capsys, "register", *write(**files), *words)


class TestFiles:
    def test_together_are_registered_exactly_as_they_are_written(
        self, empty: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        ended = registered(empty, capsys, materials__yaml=MATERIALS, tax__yaml=TAX)

        assert ended.status == 0, ended.err
        assert ended.out.splitlines()[0] == "created: materials 1, taxes 1, rates 2."
        assert empty.get("materials/hdpe/rates/2026-01-01").json["price"]["amount"] == "0.780"

    def test_in_csv_have_an_entry_a_row_and_amounts_with_their_currency(
        self, empty: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        ended = registered(empty, capsys, materials__csv=TABLE)

        summary, warned, *_ = ended.out.splitlines()
        assert summary == "created: materials 2, rates 2.", ended.err
        assert warned.startswith("materials/hdpe/rates/2027-01-01: Warning: ")  # its reclaim value is left out
        assert empty.get("materials/hdpe").json["name"] == "HDPE flakes, washed"
        assert empty.get("materials/hdpe/rates/2026-01-01").json == {
            "price": {"amount": "0.780", "currency": "EUR"},
            "reclaim_value": {"amount": "0.30", "currency": "EUR"},
            "disposal_cost": None,
        }

    def test_of_rates_alone_are_for_what_is_registered(
        self, app: flask.Flask, contract: Contract, capsys: pytest.CaptureFixture[str]
    ) -> None:
        ended = registered(loaded_demo(app, contract), capsys, "--dry-run", rates__csv=RATES)

        assert ended.status == 0, ended.err
        assert ended.out.startswith("DRY RUN, nothing is stored: created: rates 1.\n")

    def test_that_say_the_same_of_one_thing_are_taken_as_one(
        self, empty: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        more = MATERIALS.replace("2026-01-01", "2027-01-01")

        ended = registered(empty, capsys, one__yaml=MATERIALS, other__yaml=more)

        assert ended.out == "created: materials 1, rates 2.\n", ended.err

    @pytest.mark.parametrize(
        ("files", "problems"),
        [
            ({"a__yaml": MATERIALS + MATERIALS[11:]}, ["a.yaml line 6: 'hdpe' occurs twice; it is on line 2 already"]),
            (
                {"a__yaml": MATERIALS, "b__yaml": MATERIALS.replace("flakes", "film").replace("0.780", "0.70")},
                [
                    "b.yaml line 3: materials/hdpe/facts is in a.yaml line 3 already, with other contents",
                    "b.yaml line 5: materials/hdpe/rates/2026-01-01 is in a.yaml line 5 already, with other contents",
                ],
            ),
            ({"a__yaml": "materials:\n  hdpe:\n\tfacts: {}\n"}, ["a.yaml line 3: has a tab; indent with spaces"]),
            ({"a__yaml": BOMB}, ["a.yaml line 7: has more than 200000 values, with what its aliases repeat"]),
            ({"a__yaml": "materials: &a [*a]"}, ["a.yaml line 1: nested deeper than 20 levels"]),
            ({"a__yaml": "[" * 2000}, ["a.yaml line 1: while increasing flow level: exceeded maximum nesting depth"]),
            (
                {"a__yaml": "tools: !!python/object/apply:os.getcwd []\ntaxes: !foo {}\ntariffs:\n  <<: {}\n  [a]: b"},
                [
                    "a.yaml line 1: tags such as !!python/object/apply:os.getcwd are not read; leave it out",
                    "a.yaml line 2: tags such as !foo are not read; leave it out",
                    "a.yaml line 4: << is not read; write the members out",
                    "a.yaml line 5: a name must be a text",
                ],
            ),
            ({"a__yaml": "materials: \x07"}, ["a.yaml line 1: has a control character"]),
            (
                {"a__yaml": "- materials"},
                ["a.yaml line 1: must have collections, such as materials, each with entries"],
            ),
            (
                {"a__yaml": "gadgets:\n  a: {}\n" + MATERIALS.replace("unit", "units")},
                [
                    "a.yaml line 1: gadgets: is not a member that this object has",
                    "a.yaml line 5: materials/hdpe/facts/unit: is required",
                    "a.yaml line 5: materials/hdpe/facts/units: is not a member that this object has",
                ],
            ),
            (
                {
                    "a__yaml": "closures:\n  yule:\n    rates: {}\n    facts:\n"
                    "      {name: Yule, first_day: 2026-12-24, last_day: 2026-12-31}\n"
                },
                ["a.yaml line 3: closures/yule/rates: nothing in this collection has rates; leave them out"],
            ),
            ({"a__csv": "gadgets,name\n"}, ["a.csv line 1: gadgets: is not a member that this object has"]),
            ({"a__yaml": "materials: 3"}, ["a.yaml line 1: materials: must be an object"]),
            (
                {
                    "a__yaml": MADE_OF.replace("{one}", "one").replace("{other}", "two"),
                    "b__yaml": "# the other\n" + MADE_OF.replace("{one}", "two").replace("{other}", "one"),
                },
                [
                    f"a.yaml line 6: products/one/{PART}: a product cannot contain itself: one → two → one",
                    f"b.yaml line 7: products/two/{PART}: a product cannot contain itself: two → one → two",
                ],
            ),
            (
                {"a__csv": TABLE + "ps,PS,kg\nps,PS,kg,PS,,1.0,\npvc,PVC,kg,PVC,2026-13-01,1,\n"},
                ["a.csv line 5: has 3 values for 7 columns", "a.csv line 6: valid_from is missing"],
            ),
            ({"a__csv": TABLE + 'pvc,"PVC,kg'}, ["a.csv line 5: not CSV by RFC 4180: unexpected end of data"]),
            ({"a__csv": "Stoff;Preis"}, ["a.csv line 1: must name the columns, for instance materials,name,unit,"]),
            ({"a__csv": "materials,name,name"}, ["a.csv line 1: has the column name twice"]),
            ({"a__csv": "resource,valid_from"}, ["a.csv line 1: is a file for `pugmill import-rates`"]),
            ({"a__csv": "materials,n[x]\nhdpe,1"}, ["a.csv line 2: 'n[x]' is not a member"]),
        ],
        ids=lambda told: "" if isinstance(told, dict) else told[0][:40],
    )
    def test_that_are_wrong_are_refused_by_file_and_line(
        self, empty: Client, capsys: pytest.CaptureFixture[str], files: dict[str, str], problems: list[str]
    ) -> None:
        with nothing_is_stored(empty.database, empty.workshop.workshop_id):
            ended = registered(empty, capsys, **files)

        assert ended.status == 1
        first, *told = ended.err.splitlines()
        are = "1 thing is" if len(problems) == 1 else f"{len(problems)} things are"
        assert first == f"pugmill register: {are} wrong, and nothing is stored:"
        for line, problem in zip(told, problems, strict=True):
            assert line.startswith(f"  {problem}")

    def test_that_cannot_be_read_are_named(self, empty: Client, capsys: pytest.CaptureFixture[str]) -> None:
        Path("long.yaml").write_bytes(b"# long\n" * 7_000_000)
        Path("latin.yaml").write_bytes(b"materials:\n  caf\xe9: {}\n")

        ends = [
            end_of(empty, capsys, "register", name).err for name in ("long.yaml", "latin.yaml", "missing.yaml", ".")
        ]

        assert ends[0].startswith("pugmill register: long.yaml is longer than 4,194,304 bytes, and nothing is stored; ")
        assert ends[1].endswith("nothing is stored:\n  latin.yaml line 2: is not UTF-8\n")
        assert ends[2] == "pugmill register: missing.yaml cannot be read: No such file or directory\n"
        assert ends[3] == "pugmill register: . cannot be read: Is a directory\n"


class TestWhatItPrints:
    def test_has_warnings_by_what_they_are_about(self, empty: Client, capsys: pytest.CaptureFixture[str]) -> None:
        ended = registered(empty, capsys, tax__yaml=TAX)

        assert "taxes/vat/rates/2026-01-01: Warning: The tax 'VAT 21 %' is called" in " ".join(ended.out.split())

    def test_in_a_dry_run_has_what_would_change_and_the_prices(
        self, app: flask.Flask, contract: Contract, capsys: pytest.CaptureFixture[str]
    ) -> None:
        client = new_demo(app, contract)
        with nothing_is_stored(client.database, client.workshop.workshop_id):
            ended = end_of(
                client, capsys, "register", str(DEMO / "workshop.yaml"), "--dry-run", "--as-of", "2026-11-30"
            )

        assert ended.status == 0, ended.err
        assert "  created   materials/hdpe-crates\n" in ended.out
        assert " more; --full lists them\n" in ended.out
        assert "PREVIEW OF A REPRICING, nothing is stored" in ended.out
        assert "Warning" not in ended.out

    def test_says_why_there_are_no_prices(self, empty: Client, capsys: pytest.CaptureFixture[str]) -> None:
        run_command(empty, "register", str(DEMO / "workshop.yaml"))
        brick = "listings:\n  brick-stall:\n    facts:\n      {locale: en_IE, product: brick, channel: saturday-stall, "
        brick += "currency: EUR, policy: {target: margin, value: 0.9999}, standard_batch: 500, tax: standard}\n"

        ended = registered(empty, capsys, "--dry-run", "--as-of", "2024-01-01", a__yaml=brick)

        assert "Its effect on prices cannot be told: none of 1 listings can be priced" in " ".join(ended.out.split())


class TestPruning:
    def test_is_shown_first_and_done_once_somebody_agrees(
        self, empty: Client, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        registered(empty, capsys, materials__csv=TABLE)

        shown = registered(empty, capsys, "--prune", a__yaml=MATERIALS)
        assert (shown.status, shown.out) == (
            3,
            "  withdrawn materials/hdpe/rates/2027-01-01\n  retired   materials/pp\n",
        )
        assert empty.get("materials/pp").status_code == 200

        done = registered(empty, capsys, "--prune", "--yes", a__yaml=MATERIALS)
        assert done.status == 0, done.err
        assert empty.get("materials/pp").status_code == 404
        assert registered(empty, capsys, "--prune", a__yaml=MATERIALS).out == "unchanged: 2.\n"

    @pytest.mark.parametrize(("answer", "status"), [("y\n", 0), ("\n", 3)])
    def test_asks_at_a_terminal(
        self,
        empty: Client,
        capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch,
        answer: str,
        status: int,
    ) -> None:
        registered(empty, capsys, materials__csv=TABLE)
        monkeypatch.setattr("service.client.commands.register.is_asked", lambda: True)
        monkeypatch.setattr("click.termui.visible_prompt_func", lambda _: answer.strip())

        assert registered(empty, capsys, "--prune", a__yaml=MATERIALS).status == status


class TestExporting:
    def test_gives_a_file_that_changes_nothing_at_home_and_makes_the_same_elsewhere(
        self, app: flask.Flask, contract: Contract, capsys: pytest.CaptureFixture[str]
    ) -> None:
        home, elsewhere = loaded_demo(app, contract), new_demo(app, contract)

        exported = end_of(home, capsys, "export-register", "--output", "workshop.yaml")
        again = end_of(home, capsys, "register", "workshop.yaml", "--prune")
        there = end_of(elsewhere, capsys, "register", "workshop.yaml")

        assert (exported.status, exported.out) == (0, "workshop.yaml: 67 entries\n")
        assert "amount: 0.38\n" in Path("workshop.yaml").read_text()
        assert again.out.startswith("unchanged: "), again.err
        assert there.status == 0, there.err
        assert elsewhere.get("/v1/register").data == home.get("/v1/register").data

    def test_shows_some_collections(self, empty: Client, capsys: pytest.CaptureFixture[str]) -> None:
        registered(empty, capsys, materials__yaml=MATERIALS)

        shown = end_of(empty, capsys, "export-register", "--collection", "materials")
        counted = end_of(empty, capsys, "export-register", "--output", "not.yaml", "--dry-run")
        unknown = end_of(empty, capsys, "export-register", "--collection", "gadgets")

        assert shown.out.startswith("materials:\n  hdpe:\n    facts:\n      name: HDPE flakes\n")
        assert (counted.out, Path("not.yaml").exists()) == ("not.yaml: 1 entries, not written\n", False)
        assert unknown.status == 2
