"""The tables of a month: products, fixed costs, profit by volume, break-even of each product, and time."""

from decimal import Decimal
from functools import partial

from service.documents.month.month_writing import UNKNOWN, MonthWriting
from service.documents.writing.formats import formatted_date, formatted_number, formatted_quantity, isolated
from service.documents.writing.tables import Cell, TableView
from service.domain.month.line_statement import MonthLineStatement
from service.domain.month.statement import LoadStatement
from service.domain.month.volume_statement import Milestone


def products_table(of: MonthWriting) -> TableView:
    """The products sold, and what each contributes."""
    words, in_pieces = of.words, of.is_of_pieces
    is_of_one = in_pieces and all(line.base_quantity == 1 for line in of.month.lines)
    contribution = words("Contribution is what a piece brings in after fees, less its variable cost.")
    if not in_pieces:
        contribution = words(
            "Contribution is what one unit, such as a piece, a kilogram or an hour, brings in after fees, less its "
            "variable cost."
        )
    return TableView(
        title=words("What is sold"),
        notes=(contribution,),
        columns=(
            words("Product"),
            words("Pieces") if in_pieces else words("Quantity"),
            words("Price a piece") if is_of_one else words("Price"),
            words("Contribution a piece") if in_pieces else words("Contribution per unit"),
            words("Contribution"),
        ),
        rows=tuple(map(partial(_product, of), of.month.lines)),
    )


def _product(of: MonthWriting, line: MonthLineStatement) -> tuple[Cell, ...]:
    tooling = of.words("of it tools {amount}", amount=of.money(line.tooling)) if line.tooling.amount else ""
    return (
        of.name(line),
        Cell(text=of.measured(line.pieces, line.unit)),
        Cell(text=_price(of, line)),
        Cell(text=of.per(line.contribution, line.unit), note=tooling or of.share(line.contribution_margin_share)),
        Cell(text=of.money(line.month_contribution)),
    )


def _price(of: MonthWriting, line: MonthLineStatement) -> str:
    if line.base_quantity == 1:
        return of.per(line.price, line.unit)
    base = of.measured(Decimal(line.base_quantity), line.unit)
    return of.words("{price} per {number}", price=of.money(line.price), number=base)


def fixed_costs_table(of: MonthWriting) -> TableView:
    """The fixed costs of the month."""
    words = of.words
    rows = [
        (Cell(text=isolated(cost.name), note=cost.resource or ""), Cell(text=of.money(cost.amount)))
        for cost in of.month.fixed_costs
    ]
    total = (Cell(text=words("Total")), Cell(text=of.money(of.month.fixed_cost)))
    return TableView(
        title=words("What the month costs however much is made"),
        columns=(words("Fixed cost"), words("Amount")),
        rows=(*rows, total),
    )


def volumes_table(of: MonthWriting) -> TableView:
    """The profit at certain volumes of the mix."""
    words = of.words
    names = {
        Milestone.NOTHING: words("Nothing sold"),
        Milestone.BREAK_EVEN: words("Break-even"),
        Milestone.TARGET: words("Target profit"),
        Milestone.PLAN: words("The plan"),
        Milestone.FULL_CAPACITY: words("Bottleneck full"),
    }
    beyond = words("cannot be made")
    quantity = words("Pieces") if of.is_of_pieces else words("Quantity")
    return TableView(
        title=words("Profit by volume"),
        notes=(words("All products in the proportion of the plan."),),
        columns=(words("Volume"), quantity, words("Sales"), words("Time of the bottleneck"), words("Profit")),
        rows=tuple(
            (
                Cell(text=names[point.milestone], note=beyond if point.milestone in of.month.beyond_capacity else ""),
                Cell(text=of.volume(point)),
                Cell(text=of.money(point.sales)),
                Cell(text=of.share(point.bottleneck_share) or UNKNOWN),
                Cell(text=of.money(point.profit)),
            )
            for point in of.month.profit_by_volume
        ),
    )


def alone_table(of: MonthWriting) -> TableView:
    """The break-even quantity of each product, in the mix and alone."""
    words, month = of.words, of.month
    in_mix = month.break_even.pieces_of_each if month.break_even else [None] * len(month.lines)
    columns = words("Of each in the planned mix"), words("In the mix"), words("If it were alone")
    if of.is_of_pieces:
        columns = (
            words("Pieces of each in the planned mix"),
            words("Pieces in the mix"),
            words("Pieces if it were alone"),
        )
    return TableView(
        title=words("Break-even of each product"),
        columns=(words("Product"), *columns),
        rows=tuple(
            (
                of.name(line),
                Cell(text=of.measured(_of_each(of, line), line.unit)),
                Cell(text=UNKNOWN if pieces is None else of.measured(line.unit.first_from(pieces), line.unit)),
                _alone(of, line),
            )
            for line, pieces in zip(month.lines, in_mix, strict=True)
        ),
    )


def _of_each(of: MonthWriting, line: MonthLineStatement) -> Decimal:
    """What a set of the mix has of a product; of a set greater than the plan, what the plan has."""
    is_greater = any(0 < each.pieces < each.pieces_per_composite_unit for each in of.month.lines)
    return line.pieces if is_greater else Decimal(line.pieces_per_composite_unit)


def _alone(of: MonthWriting, line: MonthLineStatement) -> Cell:
    volume = line.alone_break_even
    if volume is None:
        return Cell(text=UNKNOWN)
    beyond = of.words("cannot be made") if volume.is_beyond_capacity else ""
    return Cell(text=of.measured(volume.whole_pieces, line.unit), note=beyond)


def time_table(of: MonthWriting) -> TableView | None:
    """The load of each machine and labour grade; None if the plan takes no time."""
    words = of.words
    if not of.month.loads:
        return None
    return TableView(
        title=words("Time"),
        notes=(_period(of), words("Of people, the productive share of their paid hours is there to work.")),
        columns=(words("Machine or labour grade"), words("Needed"), words("Available"), words("Load")),
        rows=tuple(map(partial(_load, of), of.month.loads)),
    )


def _period(of: MonthWriting) -> str:
    """Whose minutes they are: an ordinary month's, or those of a month of the calendar."""
    words, period, weeks = of.words, of.month.period, formatted_quantity(of.month.weeks, of.locale)
    if period is None:
        return words("In minutes of a month of {weeks} weeks.", weeks=weeks)
    return words(
        "In minutes from {first} to {last}, {weeks} working weeks; closed on {days} days.",
        first=formatted_date(period.first_day, of.locale),
        last=formatted_date(period.last_day, of.locale),
        weeks=weeks,
        days=formatted_number(period.days_closed, of.locale),
    )


def _load(of: MonthWriting, load: LoadStatement) -> tuple[Cell, ...]:
    words = of.words
    notes = [words("bottleneck")] if load.is_bottleneck else []
    notes += [words("more than there is")] if load.is_over_full else []
    needed, available = of.minutes(load)
    return (
        Cell(text=isolated(load.name), note=", ".join(notes)),
        Cell(text=needed),
        Cell(text=available),
        Cell(text=of.share(load.load_share) or UNKNOWN),
    )
