"""The tables of a month: products, fixed costs, profit by volume, break-even of each product, and time."""

from decimal import Decimal
from functools import partial

from service.documents.month.month_writing import UNKNOWN, Cell, MonthWriting, TableView
from service.documents.writing.formats import formatted_date, formatted_number, formatted_quantity, isolated
from service.domain.month.line_statement import MonthLineStatement
from service.domain.month.statement import LoadStatement
from service.domain.month.volume_statement import Milestone, VolumeStatement
from service.domain.values.exact import whole_up


def products_table(of: MonthWriting) -> TableView:
    """The products sold, and what each contributes."""
    words = of.words
    return TableView(
        title=words("What is sold"),
        notes=(words("Contribution is what a piece brings in after fees, less its variable cost."),),
        columns=(
            words("Product"),
            words("Pieces"),
            words("Price a piece") if all(line.base_quantity == 1 for line in of.month.lines) else words("Price"),
            words("Contribution a piece"),
            words("Contribution"),
        ),
        rows=tuple(map(partial(_product, of), of.month.lines)),
    )


def _product(of: MonthWriting, line: MonthLineStatement) -> tuple[Cell, ...]:
    tooling = of.words("of it tools {amount}", amount=of.money(line.tooling)) if line.tooling.amount else ""
    return (
        of.name(line),
        Cell(text=of.pieces(Decimal(line.pieces))),
        Cell(text=_price(of, line)),
        Cell(text=of.money(line.contribution), note=tooling or of.share(line.contribution_margin_share)),
        Cell(text=of.money(line.month_contribution)),
    )


def _price(of: MonthWriting, line: MonthLineStatement) -> str:
    price = of.money(line.price)
    if line.base_quantity == 1:
        return price
    return of.words("{price} per {number}", price=price, number=of.pieces(Decimal(line.base_quantity)))


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
    return TableView(
        title=words("Profit by volume"),
        notes=(words("All products in the proportion of the plan."),),
        columns=(words("Volume"), words("Pieces"), words("Sales"), words("Time of the bottleneck"), words("Profit")),
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
    return TableView(
        title=words("Break-even of each product"),
        columns=(
            words("Product"),
            words("Pieces of each in the planned mix"),
            words("Pieces in the mix"),
            words("Pieces if it were alone"),
        ),
        rows=tuple(
            (
                of.name(line),
                Cell(text=of.pieces(Decimal(line.pieces_per_composite_unit))),
                Cell(text=UNKNOWN if pieces is None else of.pieces(whole_up(pieces))),
                _alone(of, line.alone_break_even),
            )
            for line, pieces in zip(month.lines, in_mix, strict=True)
        ),
    )


def _alone(of: MonthWriting, volume: VolumeStatement | None) -> Cell:
    if volume is None:
        return Cell(text=UNKNOWN)
    beyond = of.words("cannot be made") if volume.is_beyond_capacity else ""
    return Cell(text=of.pieces(volume.whole_pieces), note=beyond)


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
