"""What records teach as text: each fact with how sure it is, and what taking facts over would do."""

from collections.abc import Iterator, Mapping
from typing import Any

from service.client.text.figures import PIECE, counted, money, one_of, quantity
from service.client.text.repricing import repricing_text
from service.client.text.terminal import heading, isolated, paragraph, row

Answer = Mapping[str, Any]


def learning_text(found: Answer, columns: int) -> str:
    """Every fact with its number, those at odds with what the product states marked."""
    return "\n".join(_facts(found, columns))


def _facts(found: Answer, columns: int) -> Iterator[str]:
    count = found["batches"]
    yield from heading(f"RECORDS OF {found['product']}", "1 batch" if count == 1 else f"{count} batches", columns)
    if not count:
        yield from paragraph("No batch of it is recorded there.", columns)
        return
    yield from paragraph(f"{isolated(found['name'])}, {found['first_day']} to {found['last_day']}", columns)
    for number, fact in enumerate(found["facts"], start=1):
        yield ""
        mark = "!" if fact["is_at_odds"] and fact["proposed"] is not None else " "
        yield from paragraph(_told(found, fact), columns, f"{number:>2}{mark} ", "    ")
        for note in _notes(fact):
            yield from paragraph(note, columns, "    ", "    ")
    if any(fact["is_at_odds"] and fact["proposed"] is not None for fact in found["facts"]):
        yield ""
        yield from paragraph("! the records speak against what the product says", columns)


def _told(found: Answer, fact: Answer) -> str:
    part = "" if fact["product"] == found["product"] else f"{fact['product']}: "
    return isolated(f"{part}{fact['text']}")


def _notes(fact: Answer) -> Iterator[str]:
    if fact["deviation"] is not None:
        yield f"single batches from {quantity(fact['lowest'])} to {quantity(fact['highest'])}"
    if fact["outliers"]:
        told = ", ".join(f"{each['code']} ({quantity(each['value'])})" for each in fact["outliers"])
        yield f"stands out: {told}; without, {quantity(fact['without_outliers'])}"
    if fact["more_batches"] and fact["proposed"] is not None:
        yield f"{fact['more_batches']} more like these would make it sure enough"


_TITLES = {
    "preview": "TAKING OVER, a preview: nothing is stored",
    "applied": "TAKEN OVER from records",
    "undone": "UNDONE: as it was before",
    "nothing_to_change": "Nothing to take over",
}


def taking_over_text(answer: Answer, columns: int) -> str:
    """What was taken over, or would be, with what that does."""
    return "\n".join(_taken(answer, columns))


def _taken(answer: Answer, columns: int) -> Iterator[str]:
    yield from paragraph(_TITLES[answer["status"]], columns)
    if answer["products"]:
        yield from paragraph(f"changed: {', '.join(answer['products'])}", columns, "  ", "  ")
    for fact in answer["facts"]:
        now = "" if fact["now"] is None else f", not {fact['now']}"
        what = fact["text"].partition(": ")[0]
        yield from paragraph(isolated(f"{what}: {fact['proposed']}{now}"), columns, "  ", "    ")
    if answer["cost"] is not None:
        yield ""
        yield from _cost(answer["cost"], columns)
    for each in answer["quotations"]:
        yield ""
        yield from _quotation(each, columns)
    if answer["more_quotations"]:
        yield from paragraph(f"and {answer['more_quotations']} more open quotations", columns)
    if answer["prices"] is not None:
        yield ""
        yield repricing_text(answer["prices"], columns)
    if answer["prices_problem"]:
        yield ""
        yield from paragraph(isolated(f"Prices cannot be told: {answer['prices_problem']}"), columns)


def _cost(cost: Answer, columns: int) -> Iterator[str]:
    unit = cost["unit"]
    one = "a piece" if unit == PIECE else f"one {one_of(unit)}"
    if cost["after"] is None:
        yield from paragraph(isolated(f"What {one} costs cannot be told: {cost['text']}"), columns)
        return
    yield from paragraph(f"What {one} costs, in a batch of {counted(cost['quantity'], unit)}", columns)
    yield from row("today", money(cost["before"]), columns)
    yield from row("with these facts", money(cost["after"]), columns)


def _quotation(each: Answer, columns: int) -> Iterator[str]:
    yield from paragraph(isolated(f"{each['quotation']}, {each['status']}, {each['customer']}"), columns)
    yield from row("net price given", money(each["price"]), columns)
    if each["profit_after"] is None:
        yield from paragraph(isolated(each["text"]), columns, "  ", "    ")
        return
    yield from row("profit as quoted", money(each["profit"]), columns)
    with_facts = "profit with these facts"
    if each["profit_today"] != each["profit"]:
        yield from row("profit with what was registered since", money(each["profit_today"]), columns)
        with_facts = "profit with that and these facts"
    yield from row(with_facts, money(each["profit_after"]), columns)
    yield from row("it would be asked anew at", money(each["asked_anew"]), columns)
