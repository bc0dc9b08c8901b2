"""A message is its English text and keeps the template and facts that it was made from."""

from decimal import Decimal

from service.domain.values.message import Message


class TestAMessage:
    def test_is_its_english_text_with_the_facts_in_it(self) -> None:
        work = (Message("{polymer} at {temperature} °C", polymer="HDPE", temperature=Decimal("2E+2")), "PP")

        message = Message("{work}: hot", work=work)

        assert message == "HDPE at 200 °C, PP: hot"
        assert (message.template, message.facts) == ("{work}: hot", {"work": work})

    def test_without_facts_is_its_template_whatever_is_in_it(self) -> None:
        message = Message("{neither} a fact")

        assert message == message.template == "{neither} a fact"
        assert message.facts == {}

    def test_leaves_braces_that_name_no_fact_since_stored_templates_are_not_trusted(self) -> None:
        told = Message("{name:>999999999} {name.__class__} {name!r} {other} {name}", name="PP")

        assert told == "{name:>999999999} {name.__class__} {name!r} {other} PP"
