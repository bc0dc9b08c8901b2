"""pugmill price: its output compared with the service's figures, what it registers, and its exit status."""

import json
import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import flask
import pytest

from service.client.text.terminal import room, wrapped
from tests.conftest import Client
from tests.support import builders
from tests.support.contract import Contract
from tests.support.demo import end_of, loaded_demo, run_command
from tests.support.readable import percentage, readable_amount, readable_money

COMMAND = "price"
POTS = (
    *("--product", "plant-pot", "--channel", "quay-market", "--currency", "EUR", "--locale", "nl_NL"),
    *("--standard-batch", "240", "--tax", "standard", "--margin", "0.20", "--price-endings", "0.49,0.99"),
)
LISTINGS = ["brick-stall", "beam-market-ch", "coasters-market", "pot-shop-gb", "coasters-shop-se", "hook-shop-jp"]
HEBREW, ARABIC = "לבנה לגן", "طوب للحديقة"


@pytest.fixture(scope="module")
def demo(app: flask.Flask, contract: Contract) -> Client:
    return loaded_demo(app, contract)


@pytest.fixture(autouse=True)
def columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def price_sheet(client: Client, listing: str, query: str = "") -> dict[str, Any]:
    sheet: dict[str, Any] = client.get(f"listings/{listing}/price-sheet{query}").json
    return sheet


def printed(client: Client, capsys: pytest.CaptureFixture[str], *arguments: str, full: bool = True) -> str:
    capsys.readouterr()
    run_command(client, COMMAND, *arguments, *(["--full"] if full else []))
    return capsys.readouterr().out


def sections(text: str) -> dict[str, list[tuple[str, str]]]:
    """The rows under each heading, as text and figure; wrapped text is joined again."""
    found: dict[str, list[tuple[str, str]]] = {"": []}
    lines = text.splitlines()
    rows = found[""]
    for line, following in zip(lines, [*lines[1:], ""], strict=True):
        row = re.fullmatch(r"  (?! )(\S.*?) {2,}(\S.*)", line)
        if following and set(following) == {"-"}:
            rows = found.setdefault(re.split(" {2,}", line)[0], [])
        elif row:
            rows.append((row[1], row[2]))
        elif line.startswith("    ") and rows:
            rows[-1] = (f"{rows[-1][0]} {line.strip()}", rows[-1][1])
    return found


def minus(money: dict[str, str]) -> str:
    return f"-{money['amount']}"


def is_to_the_last_digit(text: str, exact: str) -> bool:
    """Whether a figure shown is at most one unit of its last digit from the exact one."""
    shown = Decimal(text)
    assert shown.as_tuple().exponent in (-2, 0)
    return abs(shown - Decimal(exact)) <= Decimal(1).scaleb(int(shown.as_tuple().exponent))


class TestThePriceSheet:
    @pytest.mark.parametrize("listing", LISTINGS)
    def test_shows_the_figures_of_the_service_readable_amount(
        self, demo: Client, capsys: pytest.CaptureFixture[str], listing: str
    ) -> None:
        sheet = price_sheet(demo, listing)
        price = sheet["price_per_piece"]

        found = sections(printed(demo, capsys, listing))

        kept = dict(found["What is kept of it"])
        for name, amount in {
            "gross price": price["gross_price"]["amount"],
            f"less tax: net price × {price['tax_share']}": minus(price["tax"]),
            "net price": price["net_price"]["amount"],
            **{f"less {fee['name']}: {fee['formula']}": minus(fee["amount"]) for fee in price["fees"]},
            "proceeds": price["proceeds"]["amount"],
            "less full cost": minus(price["full_cost"]),
            "profit": price["profit"]["amount"],
            "floor, the least to ask": price["floor_price"]["amount"],
            "break-even price": price["break_even_price"]["amount"],
        }.items():
            assert is_to_the_last_digit(kept[name], amount), name
        assert kept["margin: profit ÷ net price"] == percentage(price["margin_share"])
        way = [(f"{term['name']}: {term['formula']}", readable_money(term["amount"])) for term in price["terms"]]
        shown = [(name, f"{figure} {sheet['currency']}") for name, figure in found["How the price is found"]]
        assert shown == way[: len(shown)]
        assert shown[-1][0].startswith("price: ")
        assert found[""][0] == ("PRICE as buyers see it, with tax", sheet["formatted_price"])

    @pytest.mark.parametrize("listing", LISTINGS)
    def test_has_lines_that_add_up(self, demo: Client, capsys: pytest.CaptureFixture[str], listing: str) -> None:
        rows = sections(printed(demo, capsys, listing))["What is kept of it"]
        names = [name for name, _ in rows]
        amounts = [Decimal(amount) for _, amount in rows[: names.index("profit") + 1]]
        net, proceeds = names.index("net price"), names.index("proceeds")

        assert sum(amounts[:net]) == amounts[net]
        assert sum(amounts[net:proceeds]) == amounts[proceeds]
        assert amounts[proceeds] + amounts[-2] == amounts[-1]

    def test_shows_conversion_shipping_settlement_and_the_exchange_rate_with_its_age(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        sheet = price_sheet(demo, "beam-market-ch")
        price, shipping, home = sheet["price_per_piece"], sheet["shipping"], sheet["settlement"]

        text = printed(demo, capsys, "beam-market-ch")

        found, words = sections(text), " ".join(text.split())
        kept = {name.partition(":")[0]: amount for name, amount in found["What is kept of it"]}
        assert is_to_the_last_digit(kept["less conversion cost"], minus(price["conversion_cost"]))
        assert is_to_the_last_digit(kept["less shipping cost"], minus(price["shipping_cost"]))
        assert dict(found["What comes home"]) == {
            "paid out, tax included, after fees and conversion": readable_money(home["payout"]),
            **{name: readable_money(home[name.replace(" ", "_")]) for name in ("proceeds", "full cost", "profit")},
        }
        (parcel,) = shipping["parcels"]
        assert parcel["reason"] in words
        assert f"{parcel['mass_kg']} kg, volumetric weight {parcel['volumetric_kg']} kg" in words
        sent = found["Sent by Parcel round of Port Quillan (parcels, abroad)"]
        assert ("price of shipping", f"{shipping['price']['amount']} EUR") in sent
        assert ("cash price, with tax", f"{sheet['cash_price']['amount']} CHF") in found[""]
        assert sheet["formatted_unit_price"] in dict(found[""]).values()
        assert f"{sheet['as_of']}, of the day itself, source manual: 1 EUR = 0.9350 CHF" in words

    def test_what_comes_home_is_at_the_minor_unit_and_adds_up(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        """With half a euro of profit, which has three digits as an amount of its own."""
        least = Decimal(price_sheet(demo, "brick-stall")["price_per_piece"]["break_even_price"]["amount"])

        home = sections(printed(demo, capsys, "brick-stall", "--kept-at", str(least + Decimal("0.60"))))

        figures = [figure.removesuffix(" EUR") for _, figure in home["What comes home"]]
        _, proceeds, cost, profit = map(Decimal, figures)
        assert all(len(figure.partition(".")[2]) == 2 for figure in figures)
        assert proceeds - cost == profit

    def test_counts_cautions_and_shows_them_when_asked(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        cautions = price_sheet(demo, "beam-market-ch")["cautions"]
        of_work = [each for each in cautions if each["concerns"] == "work"]

        short = " ".join(printed(demo, capsys, "beam-market-ch", full=False).split())
        words = " ".join(printed(demo, capsys, "beam-market-ch").split())

        about = f"{len(of_work)} about the work, {len(cautions) - len(of_work)} about the product"
        assert short.endswith(f"Cautions: {about}; --full shows them, and how the price is found.")
        assert cautions[0]["text"] not in short
        assert "--full shows them" not in words
        for each in cautions:
            assert f"{each['text']} [{each['source']}]" in words

    @pytest.mark.parametrize("listing", LISTINGS)
    def test_in_short_is_the_price_and_where_the_money_goes(
        self, demo: Client, capsys: pytest.CaptureFixture[str], listing: str
    ) -> None:
        short, full = printed(demo, capsys, listing, full=False), sections(printed(demo, capsys, listing))

        rows = sections(short)[""]
        kept = {name.partition(":")[0]: figure for name, figure in full["What is kept of it"]}
        assert len(short.splitlines()) <= 20
        assert rows[0] == full[""][0]
        told = [(name.partition(",")[0], figure) for name, figure in rows]
        assert {name: figure for name, figure in told if name.startswith("less ")}.items() <= kept.items()
        assert ("PROFIT", kept["profit"]) in told
        is_foreign = price_sheet(demo, listing)["currency"] != "EUR"
        assert ("the same at home" in dict(told)) == is_foreign
        left = [Decimal(figure) for name, figure in told if name.startswith(("less ", "plus "))]
        assert Decimal(kept["gross price"]) + sum(left) == Decimal(kept["profit"])

    def test_shows_every_warning(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        perfect = demo.get("products/sheet").json
        operations = [{**each, "yield_share": "1"} for each in perfect["operations"]]
        demo.put("products/perfect", {**perfect, "operations": operations})
        arguments = ("perfect-stall", *POTS, "--product", "perfect", "--channel", "saturday-stall")

        words = " ".join(printed(demo, capsys, *arguments).split())

        demo.delete("listings/perfect-stall")
        demo.delete("products/perfect")
        assert "Warnings:" in words
        assert "has a yield of 1: no piece is ever scrapped" in words

    def test_shows_how_old_a_rate_is(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        demo.put("exchange-rates/2026-03-02", {"base": "EUR", "rates": {"CHF": "0.94", "GBP": "0.86"}})

        aged = printed(demo, capsys, "beam-market-ch", "--as-of", "2026-03-12")
        next_day = printed(demo, capsys, "beam-market-ch", "--as-of", "2026-03-03")

        assert "  2026-03-02, 10 days old, source manual:\n    1 EUR = 0.94 CHF, 0.86 GBP\n" in aged
        assert "  2026-03-02, 1 day old, source manual:" in next_day

    def test_answers_what_is_kept_at_a_price(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        text = printed(demo, capsys, "beam-market-ch", "--kept-at", "30.00")

        price = price_sheet(demo, "beam-market-ch", "?kept_at=30.00")["price_per_piece"]
        found = sections(text)
        assert is_to_the_last_digit(dict(found["What is kept of it"])["profit"], price["profit"]["amount"])
        assert ("price: as given", "30.00") in found["How the price is found"]
        assert price["is_below_floor"]
        assert "BELOW THE FLOOR: this price does not keep to it." in text

    def test_answers_what_a_discount_does(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        text = printed(demo, capsys, "beam-market-ch", "--discount", "0.30")

        discount = price_sheet(demo, "beam-market-ch", "?discount_share=0.30")["discount"]
        assert sections(text)["With a discount of 30 %"] == [
            ("discounted price", readable_amount(discount["discounted_price"])),
            ("profit", readable_amount(discount["profit"])),
            ("margin", percentage(discount["margin_share"])),
            ("the least price that bears it", readable_amount(discount["least_price"])),
            ("that price less the discount", readable_amount(discount["least_price_discounted"])),
        ]
        assert "BELOW THE FLOOR: the discounted price does not keep to it." in text

    def test_says_that_the_price_was_raised_to_the_floor(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        raised = printed(demo, capsys, "raised", *POTS, "--never-below-amount", "30")

        demo.delete("listings/raised")
        assert dict(sections(raised)[""])["PRICE as buyers see it, with tax"] == "€\u00a030,49"
        assert "The target did not keep to the floor; the price was raised to it." in raised


@pytest.fixture(scope="class")
def turned(demo: Client) -> Iterator[Client]:
    """The demo with listings whose names and prices are written from right to left, or in double-width characters."""
    rates = {"ILS": "3.91", "EGP": "55.10", "CHF": "0.9350", "GBP": "0.8640", "JPY": "172.30", "SEK": "11.05"}
    today = price_sheet(demo, "brick-stall")["as_of"]
    demo.put(f"exchange-rates/{today}", {"base": "EUR", "rates": rates})
    facts = {key: each for key, each in demo.get("listings/beam-market-ch").json.items() if key != "policy"}
    facts["policy"] = builders.policy(value="0.20")
    fee = builders.fee(name=f"{HEBREW} " * 8 + HEBREW)
    demo.register(
        "channels/turned", builders.channel(name=HEBREW), **{"2025-01-01": {"currency": "EUR", "fees": [fee]}}
    )
    for code, name, currency, locale in (
        ("hebrew", f"{HEBREW} " * 15, "ILS", "he_IL"),
        ("arabic", ARABIC, "EGP", "ar_EG"),
        ("japanese", "再生プラスチックの角材" * 8, "JPY", "ja_JP"),
    ):
        changes = {"name": name.strip(), "currency": currency, "locale": locale, "channel": "turned"}
        demo.register(f"listings/{code}", {**facts, **changes})
    yield demo
    for code in ("hebrew", "arabic", "japanese"):
        demo.delete(f"listings/{code}")


class TestTheColumns:
    @pytest.mark.parametrize("columns", [40, 80, 100])
    @pytest.mark.parametrize("listing", [*LISTINGS, "hebrew", "arabic", "japanese"])
    def test_of_a_sheet_are_kept_in_any_alphabet(
        self,
        turned: Client,
        capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch,
        columns: int,
        listing: str,
    ) -> None:
        monkeypatch.setenv("COLUMNS", str(columns))

        text = printed(turned, capsys, listing, "--discount", "0.05")

        assert max(map(room, text.splitlines())) == columns
        figures = [line for line in text.splitlines() if re.match(r"  (?! )\S.*? {2,}\S", line)]
        assert {room(line) for line in figures} == {columns}

    @pytest.mark.parametrize("columns", [40, 80])
    def test_of_the_list_are_kept_in_any_alphabet(
        self, turned: Client, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, columns: int
    ) -> None:
        monkeypatch.setenv("COLUMNS", str(columns))
        long_code = "a-listing-with-a-code-that-is-as-long-as-a-code-may-be-in-all-01"
        facts = turned.get("listings/brick-stall").json
        turned.register(f"listings/{long_code}", facts)

        text = end_of(turned, capsys, "export-prices", "--asked").out

        turned.delete(f"listings/{long_code}")
        rows = text.splitlines()
        assert max(map(room, rows)) <= columns
        assert len({room(row) for row in rows if row.endswith(" %")}) == 1
        assert "".join(row.split()[0] for row in rows if row[:1].isalpha()).removeprefix("listing").startswith("a-lis")

    def test_isolate_text_of_the_other_direction(self, turned: Client, capsys: pytest.CaptureFixture[str]) -> None:
        text = printed(turned, capsys, "arabic")

        assert f"\u2068{ARABIC}\u2069" in text
        assert "\u2068" in dict(sections(text)[""])["PRICE as buyers see it, with tax"]

    @pytest.mark.parametrize(
        ("text", "columns"), [("abc", 3), ("\u2068ללא\u2069", 3), ("e\u0301", 1), ("再生", 4), ("￥1,200", 7), ("", 0)]
    )
    def test_are_measured_as_a_terminal_shows_them(self, text: str, columns: int) -> None:
        assert room(text) == columns

    def test_break_a_word_that_is_too_long_after_a_hyphen_or_anywhere(self) -> None:
        assert wrapped("to beam-market-ch", 8) == ["to", "beam-", "market-", "ch"]
        assert wrapped("unbreakable", 4) == ["unbr", "eaka", "ble"]


class TestRegistering:
    def test_creates_a_listing_from_the_options_and_prices_it(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        run_command(demo, COMMAND, "pots", *POTS, "--unit-price-per", "kg", "--note", "By the command")

        captured = capsys.readouterr()
        stored = demo.get("listings/pots").json
        assert stored["policy"]["value"] == "0.20"
        assert stored["policy"]["price_endings"] == ["0.49", "0.99"]
        assert (stored["standard_batch"], stored["unit_price_per"], stored["note"]) == ("240", "kg", "By the command")
        assert captured.err == "The listing pots is new.\n"
        assert (
            dict(sections(captured.out)[""])["PRICE as buyers see it, with tax"]
            == (price_sheet(demo, "pots")["formatted_price"])
        )
        demo.delete("listings/pots")

    def test_spreads_an_order_over_its_pieces_and_says_so(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        told = "Fixed fees and shipping are those of an order of 4 pieces, spread."

        run_command(demo, COMMAND, "pots", *POTS)
        alone = capsys.readouterr().out
        run_command(demo, COMMAND, "pots", "--pieces-per-order", "4")

        assert told in " ".join(capsys.readouterr().out.split())
        assert told not in alone
        assert price_sheet(demo, "pots")["pieces_per_order"] == "4"
        demo.delete("listings/pots")

    def test_prices_a_hundred_pieces_together_and_says_so(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        sent = ("--shipping-service", "parcels", "--shipping-zone", "home")

        run_command(demo, COMMAND, "pots", *POTS, *sent, "--base-quantity", "100", "--full")

        out, sheet = capsys.readouterr().out, price_sheet(demo, "pots")
        assert (demo.get("listings/pots").json["base_quantity"], sheet["base_quantity"]) == (100, 100)
        assert "Every amount is for 100 pieces, sold together." in out
        found = sections(out)
        assert dict(found[""])["PRICE as buyers see it, with tax"] == f"{sheet['formatted_price']} per 100"
        assert ("full cost: all lines of the cost sheet ÷ pieces × 100") in dict(found["How the price is found"])
        parcels = sheet["shipping"]["parcels"]
        assert sum(each["count"] * each["pieces"] for each in parcels) == 100
        for each in parcels:
            count = f"{each['count']} times {each['pieces']}" if each["count"] > 1 else f"{each['pieces']}"
            assert f"  {count} in {each['container']}: " in out
        demo.delete("listings/pots")

    def test_prices_a_hundred_kilograms_in_orders_of_less_and_says_so(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        sent = ("--shipping-service", "parcels", "--shipping-zone", "home", "--unit-price-per", "kg")
        sold = ("--base-quantity", "100", "--standard-batch", "137.5", "--pieces-per-order", "2.5")

        run_command(demo, COMMAND, "regrind", *POTS, "--product", "regrind", *sold, *sent, "--full")

        out, sheet = " ".join(capsys.readouterr().out.split()), price_sheet(demo, "regrind")
        assert (sheet["unit"], sheet["quantity"], sheet["pieces_per_order"]) == ("kg", "137.5", "2.5")
        price = sheet["formatted_price"].replace("\u00a0", " ")
        assert f"PRICE as buyers see it, with tax {price} per 100 kg" in out
        assert "cost of a batch of 137.5 kg" in out
        assert "Every amount is for 100 kg. Fixed fees and shipping are those of an order of 2.5 kg, spread." in out
        assert "full cost: all lines of the cost sheet ÷ kg × 100" in out
        (parcel,) = sheet["shipping"]["parcels"]
        assert (parcel["pieces"], parcel["quantity"], parcel["unit"]) == (3, "2.5", "kg")
        assert f"2.5 kg in {parcel['container']}: " in out
        demo.delete("listings/regrind")

    @pytest.mark.parametrize("quantity", ["half", "1e3", "-4"])
    def test_takes_a_quantity_only_in_digits(
        self, demo: Client, capsys: pytest.CaptureFixture[str], quantity: str
    ) -> None:
        with pytest.raises(SystemExit):
            run_command(demo, COMMAND, "pots", "--standard-batch", quantity)

        assert f"'{quantity}' is not a quantity, such as 40 or 12.5." in " ".join(capsys.readouterr().err.split())

    def test_changes_only_what_is_given_and_removes_what_is_given_empty(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        run_command(demo, COMMAND, "pots", *POTS, "--unit-price-per", "kg")
        before = demo.get("listings/pots").json

        run_command(demo, COMMAND, "pots", "--markup", "0.5", "--price-endings", "", "--unit-price-per", "")

        policy = {**before["policy"], "target": "markup", "value": "0.5", "price_endings": []}
        assert demo.get("listings/pots").json == {**before, "policy": policy, "unit_price_per": None}
        run_command(demo, COMMAND, "pots", "--markup", "0.5")
        told = ["The listing pots is new.", "The listing pots is changed.", "The listing pots is unchanged."]
        assert capsys.readouterr().err.splitlines() == told
        demo.delete("listings/pots")

    def test_does_not_undo_what_somebody_else_changes_meanwhile(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        run_command(demo, COMMAND, "pots", *POTS)
        before = demo.get("listings/pots").json

        def interfere(request: Any) -> None:
            if request.method == "PUT":
                demo.put("listings/pots", {**before, "note": "Changed meanwhile"})

        ended = end_of(demo, capsys, COMMAND, "pots", "--margin", "0.4", before=interfere)

        assert ended.status == 4
        assert "refused with 412" in ended.err
        assert demo.get("listings/pots").json == {**before, "note": "Changed meanwhile"}
        demo.delete("listings/pots")

    def test_shows_in_a_dry_run_what_it_would_register_and_registers_nothing(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        run_command(demo, COMMAND, "pots", *POTS, "--dry-run")

        captured = capsys.readouterr()
        assert captured.err == "The listing pots would be new; nothing is stored:\n"
        assert demo.get("listings/pots").status_code == 404
        assert demo.put("listings/pots", json.loads(captured.out)).status_code == 201
        shown = demo.get("listings/pots").json
        run_command(demo, COMMAND, "pots", *POTS)
        assert demo.get("listings/pots").json == shown
        demo.delete("listings/pots")


class TestRefusals:
    @pytest.mark.parametrize(
        ("arguments", "told"),
        [
            (("brick-stall", "--margin", "2"), "/policy/value: a margin must be less than 1"),
            (("brick-stall", "--price-step", "0.001"), "/policy/price_step: must be a multiple of 0.01"),
            (("brick-stall", "--locale", "tlh"), "/locale: "),
            (("brick-stall", "--channel", "nowhere"), "/channel: "),
            (("nowhere", "--product", "brick"), "/standard_batch: is required"),
            (("nowhere",), "there is no listing 'nowhere'"),
            (("brick-stall", "--as-of", "tomorrow"), "as_of: must be a day"),
            (("brick-stall", "--discount", "1"), "discount_share: must be less than 1"),
            (("brick-stall", "--kept-at", "2.005"), "kept_at: must be a multiple of "),
            (("brick-stall", "--as-of", "2020-01-01"), "no rate in force on 2020-01-01"),
        ],
    )
    def test_name_the_member_in_the_words_of_the_service(
        self, demo: Client, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], told: str
    ) -> None:
        ended = end_of(demo, capsys, COMMAND, *arguments)

        assert ended.status == 1
        assert told in ended.err
        assert ended.out == ""

    @pytest.mark.parametrize(
        ("arguments", "told"),
        [
            (("brick-stall", "--margin", "30"), "/policy/value: a margin must be less than 1"),
            (("brick-stall", "--price-step", "0"), "/policy/price_step: must be more than 0"),
            (("nowhere", "--product", "brick"), "/standard_batch: is required"),
            (("beam-market-ch", "--margin", "0.95"), "it would have no price: "),
        ],
    )
    def test_are_those_of_a_dry_run_too(
        self, demo: Client, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], told: str
    ) -> None:
        before = demo.get(f"listings/{arguments[0]}").json

        ended = end_of(demo, capsys, COMMAND, *arguments, "--dry-run")

        assert ended.status == 1
        assert told in ended.err
        assert demo.get(f"listings/{arguments[0]}").json == before

    def test_of_a_target_that_no_price_reaches_name_the_most_that_can_be_reached(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        ended = end_of(demo, capsys, COMMAND, "greedy", *POTS, "--margin", "0.95")

        demo.delete("listings/greedy")
        assert ended.status == 1
        first, second = ended.err.splitlines()
        assert first == "The listing greedy is new."
        assert "a margin of 95 % cannot be reached: fees are too high for it at any price" in second
        assert re.search(r"the most is just below [0-9]+\.[0-9]+ %", second)

    @pytest.mark.parametrize(
        ("arguments", "told"),
        [
            ((), "Missing argument 'CODE'"),
            (("brick-stall", "--dry-run"), "give options of the listing"),
            (("brick-stall", "--margin", "0.3", "--markup", "0.3"), "not allowed with"),
            (("brick-stall", "--standard-batch", "many"), "--standard-batch"),
            (("brick-stall", "--colour", "red"), "No such option"),
        ],
    )
    def test_of_a_command_line_that_makes_no_sense_end_with_2(
        self, demo: Client, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], told: str
    ) -> None:
        ended = end_of(demo, capsys, COMMAND, *arguments)

        assert ended.status == 2
        assert told in ended.err
        assert ended.out == ""

    def test_do_not_prevent_the_help(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        ended = end_of(demo, capsys, COMMAND, "--help")

        assert ended.status == 0
        text = ended.out
        assert "pugmill price beam-market-ch " in text
        assert set(demo.get("listings/brick-stall").json) - {"policy"} <= {
            option.replace("-", "_") for option in re.findall(r"--([a-z-]+)", text)
        }
