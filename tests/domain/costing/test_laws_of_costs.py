"""Laws of cost, which hold for every product, every rate and every batch."""

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.cost_sheet import CostSheet, cost_sheet
from service.domain.costing.cost_statement import CostStatement, Subtotal, cost_statement
from service.domain.costing.rates import OverheadRate
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.cost_classes import CostClass
from service.domain.making.overheads import OverheadBase
from service.domain.making.products import Tooling
from service.domain.values.exact import EXACT, apportioned, half_up
from service.domain.values.money import Money
from tests.domain.examples import Shop, a_line, bench_work
from tests.domain.strategies import CURRENCIES, amounts, batches, figures, shops, tried

_LAST_DIGITS = Fraction(1, 10**28)


def exact_cost(sheet: CostSheet) -> Fraction:
    return sum((Fraction(line.amount) for line in sheet.lines), Fraction(0))


def are_alike(one: Fraction, other: Fraction, *sheets: CostSheet) -> bool:
    """Whether both are equal to 28 digits of the sheets' greatest sum."""
    size = max(sum(abs(Fraction(line.amount)) for line in sheet.lines) for sheet in sheets)
    return abs(one - other) <= size * _LAST_DIGITS


def statement_of(sheet: CostSheet) -> CostStatement:
    return cost_statement(sheet, rates_valid_from={})


def money_in(value: Any) -> Iterator[Money]:
    """Every amount of money in a value, at any depth."""
    if isinstance(value, Money):
        yield value
    elif is_dataclass(value):
        for field in fields(value):
            yield from money_in(getattr(value, field.name))
    elif isinstance(value, Mapping):
        for each in value.values():
            yield from money_in(each)
    elif isinstance(value, tuple):
        for each in value:
            yield from money_in(each)


def decimals_of(money: Money) -> int:
    return -int(money.amount.as_tuple().exponent)


any_currency = st.sampled_from(list(CURRENCIES)).flatmap(lambda currency: shops((currency,)))


class TestLinesAddUp:
    @tried
    @given(any_currency, batches)
    def test_the_lines_of_a_cost_statement_add_up_to_its_total_for_the_batch_and_for_a_piece(
        self, shop: Shop, quantity: int
    ) -> None:
        sheet = shop.sheet(quantity)
        stated = statement_of(sheet)
        full_cost = stated.subtotals.full_cost

        assert full_cost.per_batch.amount == sum(line.amount.amount for line in stated.lines)
        assert full_cost.per_piece.amount == sum(line.amount_per_piece.amount for line in stated.lines)
        with localcontext(EXACT):
            assert full_cost.per_batch.amount == half_up(sheet.full_cost, CURRENCIES[shop.currency])

    @tried
    @given(any_currency, batches)
    def test_every_subtotal_is_the_sum_of_its_lines_and_the_subtotals_add_up_to_the_full_cost(
        self, shop: Shop, quantity: int
    ) -> None:
        stated = statement_of(shop.sheet(quantity))
        subtotals = stated.subtotals

        def added(*which: Subtotal) -> tuple[Decimal, Decimal]:
            return sum(each.per_batch.amount for each in which), sum(each.per_piece.amount for each in which)

        def under(*classes: CostClass) -> tuple[Decimal, Decimal]:
            lines = [line for line in stated.lines if line.cost_class in classes]
            return sum(each.amount.amount for each in lines), sum(each.amount_per_piece.amount for each in lines)

        material, labour = (CostClass.DIRECT_MATERIAL, CostClass.PACKAGING), CostClass.DIRECT_LABOUR
        assert added(subtotals.prime_cost) == under(*material, labour)
        assert added(subtotals.conversion_cost) == under(*(each for each in CostClass if each not in material))
        assert added(subtotals.variable_cost, subtotals.fixed_cost) == added(subtotals.full_cost)
        assert added(*stated.cost_classes.values()) == added(subtotals.full_cost)
        for name, subtotal in stated.cost_classes.items():
            assert added(subtotal) == under(CostClass(name))

    @tried
    @given(st.lists(figures("-900", "900", 6), max_size=12), st.sampled_from([0, 2, 3, 6]), st.integers(1, 7))
    def test_apportioned_amounts_add_up_and_each_is_less_than_one_unit_from_its_exact_value(
        self, numerators: list[Decimal], decimals: int, divisor: int
    ) -> None:
        exact = [numerator / divisor for numerator in numerators]

        shown = apportioned(exact, decimals)

        unit = Decimal(1).scaleb(-decimals)
        assert sum(shown) == half_up(sum(exact, Decimal(0)), decimals)
        assert all(abs(one - other) < unit for one, other in zip(shown, exact, strict=True))


class TestAmountsKeepToTheMinorUnit:
    @tried
    @given(any_currency, batches)
    def test_an_amount_for_the_batch_has_the_digits_of_the_minor_unit_and_a_unit_cost_four_more(
        self, shop: Shop, quantity: int
    ) -> None:
        stated = statement_of(shop.sheet(quantity))

        minor = CURRENCIES[shop.currency]
        every_amount = list(money_in(stated))
        assert {money.currency for money in every_amount} == {shop.currency}
        assert {decimals_of(money) for money in every_amount} <= {minor, minor + 4}
        for subtotal in (*stated.cost_classes.values(), stated.subtotals.full_cost):
            assert decimals_of(subtotal.per_batch) == minor
            assert decimals_of(subtotal.per_piece) == minor + 4
        for line in stated.lines:
            assert decimals_of(line.amount) == minor
            assert decimals_of(line.amount_per_piece) == minor + 4


def of_idle_places(shop: Shop, bill: BillOfResources) -> BillOfResources:
    """The bill of what the batch consumes only because its last cycles are not full.

    An operation that needs x cycles runs ⌈x⌉; the part ⌈x⌉ − x of a cycle, divided by the yield, makes nothing.
    """
    idle: dict[str, Fraction] = {}

    def add(resource: str, quantity: Fraction | Decimal) -> None:
        idle[resource] = idle.get(resource, Fraction(0)) + Fraction(quantity)

    machine_hours = dict.fromkeys(["", *shop.catalogue.machines], Fraction(0))
    labour_hours = dict(machine_hours)
    for step in bill.steps:
        product = shop.catalogue.products[step.product]
        operation = next(each for each in product.operations if each.name == step.operation)
        if not operation.has_cycles:
            continue  # it runs for what is started
        needed = Fraction(step.pieces_good) / Fraction(operation.pieces_per_cycle) / Fraction(operation.yield_share)
        cycles = Fraction(step.cycles) - needed
        hours = cycles * Fraction(operation.cycle_minutes) / 60  # none by throughput
        if operation.machine is not None:
            machine = shop.catalogue.machines[operation.machine]
            kwh = hours * Fraction(machine.rated_power_kw) * Fraction(operation.load_factor or machine.load_factor)
            machine_hours[operation.machine] += hours
            add(f"machines/{operation.machine}", hours)
            add(f"tariffs/{machine.tariff}#standing", kwh)
            for band, share in operation.band_shares.items():
                add(f"tariffs/{machine.tariff}#{band}", kwh * Fraction(share))
        for people in operation.labour:
            worked = hours * Fraction(step.learning_factor) * Fraction(people.attendance)
            labour_hours[operation.machine or ""] += worked
            add(f"labour-grades/{people.labour_grade}", worked)
        if operation.tool is not None and operation.tooling is Tooling.PER_SHOT:
            add(f"tools/{operation.tool}", cycles)
    bases = {OverheadBase.MACHINE_HOUR: machine_hours, OverheadBase.LABOUR_HOUR: labour_hours}
    for code, pool in shop.catalogue.overheads.items():
        hours_at = bases.get(pool.base, {})
        add(f"overheads/{code}", sum((hours for at, hours in hours_at.items() if pool.bears_on("", at)), Fraction(0)))
    lines = [
        replace(line, quantity=Decimal(found.numerator) / Decimal(found.denominator))
        for line in bill.lines
        if (found := idle.get(line.resource))
    ]
    return replace(bill, lines=tuple(lines))


class TestALargerBatch:
    @tried
    @given(shops(), st.integers(1, 300), st.integers(1, 300))
    def test_never_makes_a_piece_dearer_than_its_share_of_the_idle_places_in_its_last_cycles(
        self, shop: Shop, small: int, more: int
    ) -> None:
        """C(m)/m ≤ C(n)/n + I(m)/m for n < m, where I(m) is the cost of the idle places in the last cycles of batch m.

        C(n) = F + V·n + Σ Kᵢ·⌈xᵢ(n)⌉ with every xᵢ(n) = aᵢ·n + bᵢ, and F, Kᵢ, bᵢ ≥ 0: set-up, warm-up, entire
        tools and quantities per batch are in F and bᵢ. As x ≤ ⌈x⌉, the remainder C(m)/m − I(m)/m is
        (F + ΣKᵢbᵢ)/m + V + ΣKᵢaᵢ, which falls as m rises and at n is at most C(n)/n. Learning only lowers Kᵢ.
        """
        large = small + more
        of_small, of_large = shop.sheet(small), shop.sheet(large)
        bill = of_idle_places(shop, shop.bill(large))
        idle = cost_sheet(bill, shop.unit_rates(), shop.card)

        dearer = exact_cost(of_large) / large - exact_cost(of_small) / small

        explained = exact_cost(idle) / large
        assert dearer <= explained or are_alike(dearer, explained, of_small, of_large)

    @tried
    @given(shops(), st.integers(1, 60), st.integers(2, 9))
    def test_that_is_a_multiple_of_a_smaller_one_never_makes_a_piece_dearer(
        self, shop: Shop, small: int, times: int
    ) -> None:
        """C(k·n)/(k·n) ≤ C(n)/n, since ⌈k·x⌉ ≤ k·⌈x⌉: rounding cycles up adds nothing."""
        once, repeated = shop.sheet(small), shop.sheet(small * times)

        per_piece, repeated_per_piece = exact_cost(once) / small, exact_cost(repeated) / (small * times)

        assert repeated_per_piece <= per_piece or are_alike(per_piece, repeated_per_piece, once, repeated)


class TestTheCostIsLinearInTheRates:
    @tried
    @given(shops(("EUR", "USD")), batches, st.data())
    def test_in_each_single_unit_rate(self, shop: Shop, quantity: int, data: st.DataObject) -> None:
        rates = shop.unit_rates()
        sheet = shop.sheet(quantity)
        resource = data.draw(st.sampled_from([line.resource for line in sheet.lines] or ["nothing"]))
        one, other = data.draw(amounts), data.draw(amounts)

        def at(rate: Decimal) -> CostSheet:
            return shop.sheet(quantity, {**rates, resource: rate})

        low, high, middle = at(one), at(other), at((one + other) / 2)
        assert are_alike(2 * exact_cost(middle), exact_cost(low) + exact_cost(high), low, high)

    @tried
    @given(shops(("EUR", "USD")), batches, st.data())
    def test_one_percent_on_a_rate_adds_what_the_sheet_says(
        self, shop: Shop, quantity: int, data: st.DataObject
    ) -> None:
        rates = shop.unit_rates()
        sheet = shop.sheet(quantity)
        for line in data.draw(st.lists(st.sampled_from(sheet.lines), max_size=2)) if sheet.lines else ():
            with localcontext(EXACT):
                one_percent_more = {**rates, line.resource: line.rate * Decimal("1.01")}
                said = Fraction(line.effect_of_one_percent)
            dearer = shop.sheet(quantity, one_percent_more)

            added = exact_cost(dearer) - exact_cost(sheet)

            assert are_alike(added, said, sheet, dearer)


def doubled(value: Any) -> Any:
    """The same terms with every amount of money doubled, and every share kept."""
    if isinstance(value, Money):
        return replace(value, amount=value.amount * 2)
    if isinstance(value, Mapping):
        return {key: doubled(each) for key, each in value.items()}
    if not is_dataclass(value):
        return value
    return replace(value, **{field.name: doubled(getattr(value, field.name)) for field in fields(value)})


class TestDoublingAllMoney:
    @tried
    @given(shops(("EUR", "USD", "JPY")), batches)
    def test_doubles_the_cost_of_every_line(self, shop: Shop, quantity: int) -> None:
        terms = {resource: doubled(each) for resource, each in shop.terms.items()}
        for code, pool in shop.catalogue.overheads.items():
            resource = f"overheads/{code}"
            each = terms[resource]
            if pool.base.is_value and isinstance(each, OverheadRate):  # its base is money too, so its rate is a share
                terms[resource] = replace(each, base_per_month=each.base_per_month * 2)

        before, after = shop.sheet(quantity), replace(shop, terms=terms).sheet(quantity)

        for line, twice in zip(before.lines, after.lines, strict=True):
            assert twice.resource == line.resource
            assert are_alike(Fraction(twice.amount), 2 * Fraction(line.amount), before)
        assert are_alike(exact_cost(after), 2 * exact_cost(before), before)


class TestAWhatIf:
    @tried
    @given(shops(("EUR", "USD")), batches, st.data())
    def test_equal_to_the_card_changes_nothing(self, shop: Shop, quantity: int, data: st.DataObject) -> None:
        supposed = data.draw(st.lists(st.sampled_from(list(shop.terms)), unique=True))

        card = shop.card.replaced({resource: shop.terms[resource] for resource in supposed})

        what_if = replace(shop, terms={resource: rate.terms for resource, rate in card.rates.items()})
        assert what_if.sheet(quantity) == shop.sheet(quantity)


class TestTheBillOfMaterials:
    @tried
    @given(shops(), batches, st.randoms(use_true_random=False))
    def test_costs_the_same_in_whatever_order_its_lines_stand(self, shop: Shop, quantity: int, random: Any) -> None:
        shuffled = shop
        for code, product in shop.catalogue.products.items():
            lines = list(product.bill_of_materials)
            random.shuffle(lines)
            shuffled = shuffled.with_product(code, replace(product, bill_of_materials=tuple(lines)))

        before, after = shop.sheet(quantity), shuffled.sheet(quantity)

        amounts_after = {line.resource: Fraction(line.amount) for line in after.lines}
        assert set(amounts_after) == {line.resource for line in before.lines}
        for line in before.lines:
            assert are_alike(Fraction(line.amount), amounts_after[line.resource], before)

    @tried
    @given(shops(), st.integers(1, 200), st.integers(1, 6))
    def test_of_a_parent_adds_the_cost_of_its_childs_lot_to_the_parents_own(
        self, shop: Shop, quantity: int, per_piece: int
    ) -> None:
        """C(parent, n) = C(parent without the child, n) + C(child, q·n); the child's lot is q·n in both.

        The exceptions are the tool, which is bought once if it is bought for either, without wear; and the order.
        """
        own = shop.catalogue.products["p0"]  # made of materials alone
        # The child enters after the last loss by yield, so that its lot is a whole number of pieces.
        fitting = a_line(product=shop.top, quantity_per_piece=str(per_piece), operation="fitting")
        shop = shop.with_product(
            "parent",
            replace(
                own,
                bill_of_materials=(*own.bill_of_materials, fitting),
                operations=(*own.operations, bench_work(name="fitting")),
            ),
        )

        parent, without = shop.sheet(quantity, code="parent"), shop.sheet(quantity, code="p0")
        child = shop.sheet(quantity * per_piece)

        if shop.top != "p0":
            assert shop.bill(quantity, "parent").pieces_made[shop.top] == quantity * per_piece
        paid_twice = Fraction(0)
        if "tools/u0#entire" in {line.resource for line in (*without.lines, *child.lines)}:
            tools = [Fraction(each.amount([CostClass.TOOLING])) for each in (parent, without, child)]
            paid_twice = tools[1] + tools[2] - tools[0]
            assert tools[0] == Fraction(shop.unit_rates()["tools/u0#entire"])
        parents, others, childs = (
            sum(Fraction(line.amount) for line in each.lines if line.unit == "order")
            for each in (parent, without, child)
        )
        paid_twice += others + childs - parents  # one order is not two
        assert are_alike(exact_cost(parent) + paid_twice, exact_cost(without) + exact_cost(child), parent)
