"""Words of documents: every catalogue has all of them, with the same placeholders."""

import ast
import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from service.documents.quoting import quotation_view
from service.documents.writing import labels
from service.documents.writing.labels import CATALOGUES, LANGUAGES, labels_for
from service.domain.costing.free_of_charge import pools_below_zero, zero_price
from service.domain.costing.hours_stated_twice import hours_stated_twice
from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import LabourRate, MachineRate, MaterialRate
from service.domain.learning import learning, proposals, risk
from service.domain.making.explosion import bill_of_resources
from service.domain.making.plausibility import cautions_of, warnings
from service.domain.making.resources import LabourGrade
from service.domain.month.absorption import more_than_paid
from service.domain.month.fixed_costs import Absorption
from service.domain.month.verdict import time_not_known
from service.domain.records.observation import Fact as ProductFact
from service.domain.safety import hazards
from service.domain.safety.cautions import Caution, Concern, DeclaredUse
from service.domain.safety.hazards import HeatedPolymer
from service.domain.safety.machines import MachineKind, WorkingMachine
from service.domain.safety.polymers import Polymer
from service.domain.scheduling.plan_load import Load
from service.domain.values.message import Fact, Message, PlausibilityWarning, RateWarning
from service.domain.values.units import Unit
from service.workflows.quoting import risk as quotation_risk
from tests.domain.examples import (
    TODAY,
    a_catalogue,
    a_machine,
    a_product,
    a_shop,
    an_operation,
    an_overhead,
    bench_work,
    euros,
    terms_of,
)
from tests.support import builders

CUSTOMERS_PAPERS = Path(quotation_view.__file__).parent
TRANSLATED = [language for language in LANGUAGES if language != "en"]


def in_the_code(path: Path) -> Iterator[str]:
    """Every message that a module looks up, or makes: the literals in words(…), words.several(…) and Message(…)."""
    for node in ast.walk(ast.parse(path.read_text())):
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func).removeprefix("self.").removeprefix("of.")
        count = {"words": 1, "self": 1, "words.several": 2, "Message": 1}.get(called, 0)
        for argument in node.args[:count]:
            if isinstance(argument, ast.Constant) and argument.value:
                yield str(argument.value)


def templates(fact: Fact) -> Iterator[str]:
    """The templates of a message and of all messages within its facts."""
    if isinstance(fact, Message):
        yield fact.template
        yield from templates(tuple(fact.facts.values()))
    elif isinstance(fact, tuple):
        for each in fact:
            yield from templates(each)


def told_of_everything() -> set[str]:
    """The templates of every caution, and of every warning about implausible figures."""
    hot = (
        HeatedPolymer(polymer=polymer, processing_temperature_c=temperature_c, materials=materials, where="pressing")
        for polymer in Polymer
        for temperature_c in (None, Decimal(270), Decimal(900))
        for materials in ((), ("flakes",))
    )
    machines = (WorkingMachine(kind=kind, machine="Machine", where="working") for kind in (None, *MachineKind))
    undeclared = hazards.cautions((), (), None)
    found = (
        *undeclared,
        *hazards.cautions(hot, DeclaredUse, Decimal(30), machines, ["flakes"]),
        *hazards.shipping_cautions([Decimal(30)], [Decimal(500)]),
    )
    step = an_operation(processing_temperature_c="200", cycle_minutes="0.01", yield_share="1")
    people = [{"labour_grade": "operator", "attendance": "1"}]
    benches = bench_work(cycle_minutes="1"), bench_work(name="setting up", setup_minutes="1", labour=people)
    catalogue_of_it = a_catalogue(a_product(mass_kg="99", operations=[step, *benches]))
    wrong = warnings(bill_of_resources("sheet", 10, catalogue_of_it), catalogue_of_it)
    assert len(wrong) == 5
    at_odds = told_of_a_month()
    assert len(at_odds) == 4
    return {template for each in (*found, *wrong, *at_odds, *told_of_units()) for template in templates(each.text)}


def told_of_units() -> list[PlausibilityWarning | Caution]:
    """Every warning and caution of products that are not counted in pieces."""
    heated = an_operation(cycle_minutes="0", units_per_hour="9999", processing_temperature_c="200", yield_share="1")
    solid = {"length_mm": "100", "width_mm": "100", "height_mm": "100"}
    products = [
        a_product(unit="m", mass_kg="30", operations=[heated], **solid),
        a_product(unit="m", mass_kg="0.001", operations=[heated], **solid),
        a_product(unit="hour", bill_of_materials=[], operations=[bench_work(cycle_minutes="0")]),
    ]
    pools = {"care": an_overhead("piece"), "buying": an_overhead("direct_material_value")}
    terms = {"materials/hdpe": MaterialRate(price=euros("-1"))}
    shop = a_shop(*products, overheads=pools, terms=terms)
    bills = [shop.bill(10, code) for code in shop.catalogue.products]
    wrong = [each for bill in bills for each in warnings(bill, shop.catalogue)]
    found = [*wrong, *pools_below_zero(shop.sheet(10)), *zero_price("sheet", Decimal(0), Unit.HOUR)]
    assert len({each.text.template for each in found}) == 10
    return [*found, *cautions_of(bills, shop.catalogue)]


def told_of_a_month() -> list[RateWarning]:
    """Every warning of a month's rates."""
    terms = (MachineRate, builders.machine_rate()), (LabourRate, builders.labour_rate(paid_hours_per_month="1"))
    machine, grade = a_machine(hours_per_week="1"), LabourGrade(name="Operator", hours_per_week=Decimal(9))
    rates = [
        (DatedRate(resource=resource, valid_from=TODAY, terms=terms_of(*each)), facts)
        for resource, each, facts in zip(("machines/a", "labour-grades/b"), terms, (machine, grade), strict=True)
    ]
    absorbed = Absorption(resource="labour-grades/b", name="B", incurred=Decimal(1), absorbed=Decimal(2))
    unknown = Load(
        resource="machines/a", name="A", minutes_per_batch=(), minutes_needed=Decimal(1), minutes_available=None
    )
    return [*hours_stated_twice(rates), *more_than_paid([absorbed], "EUR"), *time_not_known([unknown])]


def wanted() -> set[str]:
    """The messages of a quotation, every caution and warning of any document, and what records teach."""
    of_records = (Path(str(each.__file__)) for each in (learning, proposals, risk, quotation_risk))
    modules = (*CUSTOMERS_PAPERS.glob("*.py"), Path(labels.__file__), *of_records)
    facts = {fact.traits.what for fact in ProductFact}
    return {message for module in modules for message in in_the_code(module)} | told_of_everything() | facts


def catalogue(language: str) -> Catalog:
    with (CATALOGUES / f"{language}.po").open("rb") as file:
        return read_po(file, locale=language)


def ids_of(found: Catalog) -> set[str]:
    return {
        each
        for message in found
        if message.id
        for each in ([message.id] if isinstance(message.id, str) else message.id)
    }


def test_there_are_six_languages() -> None:
    assert LANGUAGES == ("en", "de", "es", "fr", "nl", "pt")


def test_the_words_of_a_quotation_are_found_in_the_code() -> None:
    assert {"Quotation", "{number} parcels by {service}, {mass} with their packaging."} <= wanted()
    assert {"No recorded batch says what this may cost", "load factor of {item}", str(learning.METHOD)} <= wanted()


@pytest.mark.parametrize("language", TRANSLATED)
class TestACatalogue:
    def test_has_every_word_of_a_quotation(self, language: str) -> None:
        assert wanted() <= ids_of(catalogue(language))

    def test_translates_every_message_that_it_has(self, language: str) -> None:
        found = catalogue(language)

        for message in found:
            if message.id:
                translated = message.string if isinstance(message.string, tuple) else (message.string,)
                assert all(translated), message.id
                assert len(translated) == (found.num_plurals if isinstance(message.id, tuple) else 1), message.id

    def test_has_the_placeholders_of_the_english_text(self, language: str) -> None:
        for message in catalogue(language):
            if not message.id:
                continue
            ids = message.id if isinstance(message.id, tuple) else (message.id,)
            texts = message.string if isinstance(message.string, tuple) else (message.string,)
            names = set(re.findall(r"{(\w+)}", " ".join(ids)))
            for text in texts:
                assert set(re.findall(r"{(\w+)}", text)) == names, message.id
                assert not re.search(r"{(?!\w+})", text), text

    def test_has_no_message_that_is_marked_as_doubtful(self, language: str) -> None:
        assert [message.id for message in catalogue(language) if message.fuzzy and message.id] == []

    def test_has_no_path_name_or_date_in_its_header(self, language: str) -> None:
        head = (CATALOGUES / f"{language}.po").read_text().partition("\n\n")[0]

        assert not re.search(r"@|/|20\d\d", head.replace("text/plain", ""))


class TestWords:
    @pytest.mark.parametrize(
        ("locale", "word"), [("de_AT", "Angebot"), ("fr_CA", "Devis"), ("pt_BR", "Orçamento"), ("nl_BE", "Offerte")]
    )
    def test_are_of_the_language_of_the_locale(self, locale: str, word: str) -> None:
        assert labels_for(locale)("Quotation") == word

    @pytest.mark.parametrize("locale", ["en_IE", "ja_JP", "ar_EG", "zh_TW"])
    def test_are_english_where_there_is_no_catalogue(self, locale: str) -> None:
        words = labels_for(locale)

        assert words.language == "en"
        assert words("Quotation") == "Quotation"

    def test_of_french_have_spaces_at_which_no_line_breaks_where_french_has_a_space(self) -> None:
        texts = [path.read_text() for path in CATALOGUES.rglob("fr.po")]
        translated = [text for found in texts for text in re.findall(r'^msgstr.*? "(.*)"$', found, re.MULTILINE)]

        assert len(translated) > 100
        assert [text for text in translated if re.search("[ \u00a0][:;!?»%]|« ", text)] == []
        assert [labels_for(locale).colon for locale in ("fr_FR", "de_DE", "ja_JP")] == ["\u202f: ", ": ", ": "]

    def test_that_nobody_has_translated_stay_as_they_are(self) -> None:
        assert labels_for("de_DE")("Nobody has translated {this}", this="that") == "Nobody has translated that"

    def test_for_an_empty_text_are_empty(self) -> None:
        assert labels_for("de_DE")("") == ""

    @pytest.mark.parametrize(
        ("locale", "one", "none"),
        [("de_DE", "1 Packstück", "0 Packstücke"), ("fr_FR", "1 colis", "0 colis"), ("en_IE", "1 parcel", "0 parcels")],
    )
    def test_of_several_follow_the_plural_of_the_language(self, locale: str, one: str, none: str) -> None:
        messages = (
            "{number} parcel by {service}, {mass} with its packaging.",
            "{number} parcels by {service}, {mass} with their packaging.",
        )

        def told(count: int) -> str:
            return labels_for(locale).several(*messages, count, number=count, service="x", mass="1 kg")

        assert told(1).startswith(f"{one} ")
        assert told(0).startswith(f"{none} ")

    def test_with_facts_are_translated_by_their_template(self) -> None:
        told = hazards.cautions((), [DeclaredUse.TOY, DeclaredUse.OUTDOOR], None)[-1]
        heavy = hazards.shipping_cautions([Decimal("1027.5")])[0]

        assert told.concerns is Concern.PRODUCT
        assert "(Spielzeug, im Freien, jede andere)" in labels_for("de_DE").told(told.text)
        assert labels_for("de_DE").told(heavy.text).startswith("Das schwerste Packstück wiegt 1.027,5 kg, zu schwer")
        assert labels_for("de_CH").told(heavy.text).startswith("Das schwerste Packstück wiegt 1’027.5 kg, zu schwer")

    @pytest.mark.parametrize(
        ("locale", "pieces", "hours", "areas"),
        [
            ("en_IE", "a piece", "an hour", "per m²"),
            ("de_DE", "je Stück", "je Stunde", "je m²"),
            ("fr_FR", "par pièce", "par heure", "par m²"),
            ("pt_PT", "por peça", "por hora", "por m²"),
        ],
    )
    def test_of_one_unit_follow_its_unit(self, locale: str, pieces: str, hours: str, areas: str) -> None:
        words, told = labels_for(locale), (pieces, hours, areas)
        units = (Unit.PIECE, Unit.HOUR, Unit.SQUARE_METRE)

        assert tuple(map(words.per, units)) == told
        assert tuple(map(words.per_heading, units)) == tuple(each[0].upper() + each[1:] for each in told)

    def test_that_are_names_stay_as_they_are(self) -> None:
        assert labels_for("de_DE").told("Quotation") == "Quotation"
        assert labels_for("de_DE").told(Message("Quotation")) == "Angebot"
