"""A job sheet in the words and figures of a locale, before layout."""

from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal

from service.documents.making.job_sheet_paper import FetchView, JobSheetView, PartView, StepView
from service.documents.writing.formats import formatted_date, formatted_number, formatted_quantity, isolated
from service.documents.writing.labels import labels_for
from service.documents.writing.paper import Entry, head_of
from service.domain.making.job_sheet import Drawn, JobPart, JobSheet, JobStep, Working
from service.domain.safety.cautions import Caution, Concern
from service.domain.values.exact import MINUTES_PER_HOUR, ZERO, exactly, half_up, whole_up

_GRAMS = 3
"""Decimals of a kilogram in grams."""
_SMALL, _LARGE = Decimal("0.01"), Decimal(100)
"""In kilograms: below the first a letter scale shows tenths of a gram, from the second on scales show 100 g."""
_TOO_HEAVY = "too-heavy-for-one-person"
_DECIMALS = 2
"""Of metres, square metres, litres and kilowatt-hours."""


@exactly
def job_sheet_view(
    sheet: JobSheet, cautions: Iterable[Caution], *, seller: str, locale: str, printed_on: date
) -> JobSheetView:
    """The sheet in the words, numbers and dates of a locale, rounded as somebody weighs, counts and times."""
    return _Making(sheet, cautions, locale).view(seller, printed_on)


class _Making:
    def __init__(self, sheet: JobSheet, cautions: Iterable[Caution], locale: str) -> None:
        self.sheet, self.cautions, self.locale = sheet, cautions, locale
        self.words = labels_for(locale, "job_sheet")

    def view(self, seller: str, printed_on: date) -> JobSheetView:
        words, name = self.words, isolated(self.sheet.name)
        word = words("Job sheet")
        return JobSheetView(
            **head_of(self.locale, words.language, printed_on),
            title=f"{word}{words.colon}{name}",
            word=word,
            name=name,
            seller=isolated(seller),
            state=words("For the bench. Quantities are expected values: note what really happened."),
            facts=tuple(self._facts(printed_on)),
            columns=(words("Material"), words("To fetch"), words("For the step"), words("Taken")),
            fetch_title=words("What to fetch"),
            returned_title=words("What comes back to be ground up"),
            parts=tuple(map(self._part, self.sheet.parts)),
            blanks_title=words("What really happened"),
            blanks=(words("Good pieces"), words("Scrap"), words("Date"), words("Name"), words("Remarks")),
            cautions_title=words("Where somebody can be hurt"),
            cautions=tuple(self._cautions()),
        )

    def _facts(self, printed_on: date) -> Iterator[Entry]:
        words, steps = self.words, [step for part in self.sheet.parts for step in part.steps]
        yield Entry(text=words("Product"), figure=self.sheet.product)
        yield Entry(text=words("Good pieces in the batch"), figure=formatted_number(self.sheet.quantity, self.locale))
        if people := sum((each.minutes for step in steps for each in step.people), ZERO):
            yield Entry(text=words("Working time of all people"), figure=self._time(people))
        if running := sum((step.minutes for step in steps if step.machine), ZERO):
            yield Entry(text=words("Time of all machines"), figure=self._time(running))
        if kwh := self.sheet.electricity_kwh:
            yield Entry(text=words("Electricity"), figure=self._weighed(kwh, "kWh"))
        yield Entry(text=words("Printed on"), figure=formatted_date(printed_on, self.locale))

    def _part(self, part: JobPart) -> PartView:
        is_alone = len(self.sheet.parts) == 1
        pieces = self._weighed(part.pieces, "piece")
        return PartView(
            title="" if is_alone else f"{isolated(part.name)}{self.words.colon}{pieces}",
            fetched=tuple(
                FetchView(name=isolated(each.name), quantity=self._drawn(each), where=isolated(each.operation))
                for each in part.fetched
            ),
            returned=tuple(self._returned(each for each in part.returned if not each.operation)),
            steps=tuple(self._step(number, step, part) for number, step in enumerate(part.steps, start=1)),
        )

    def _step(self, number: int, step: JobStep, part: JobPart) -> StepView:
        words, name = self.words, isolated(step.operation)
        blanks = [words("Begun at"), words("Ended at"), words("Good pieces"), words("Scrap")]
        if step.electricity_kwh is not None:
            blanks += [words("Meter before, kWh"), words("Meter after, kWh")]
        return StepView(
            title=f"{formatted_number(number, self.locale)}. {name}",
            note=words("Runs while the step before it still runs.") if step.runs_with_previous else "",
            facts=(*self._equipment(step), *self._times(step), *self._flow(step, part)),
            blanks=(*blanks, words("Name")),
        )

    def _equipment(self, step: JobStep) -> Iterator[Entry]:
        words = self.words
        if step.machine:
            yield Entry(text=words("Machine"), figure=isolated(step.machine))
        if step.tool:
            yield Entry(text=words("Mould or tool"), figure=isolated(step.tool))
        if step.processing_temperature_c is not None:
            heat = formatted_number(step.processing_temperature_c, self.locale)
            yield Entry(text=words("Temperature"), figure=f"{heat}\u00a0°C")

    def _times(self, step: JobStep) -> Iterator[Entry]:
        words = self.words
        if step.warm_ups:
            each = self._time(step.warm_up_minutes / step.warm_ups)
            times = "" if step.warm_ups == 1 else f"{formatted_number(step.warm_ups, self.locale)} × "
            yield Entry(text=words("Warm up"), figure=f"{times}{each}")
        if step.setup_minutes:
            yield Entry(text=words("Set up"), figure=self._time(step.setup_minutes))
        if step.run_minutes:
            yield Entry(text=words("Run"), figure=self._time(step.run_minutes), note=self._cycles(step))
        if step.electricity_kwh:
            yield Entry(text=words("Electricity"), figure=self._weighed(step.electricity_kwh, "kWh"))
        for people in step.people:
            note = self._attendance(people, step)
            yield Entry(text=isolated(people.grade), figure=self._time(people.minutes), note=note)

    def _cycles(self, step: JobStep) -> str:
        cycles, pieces = int(whole_up(step.cycles)), step.pieces_per_cycle
        number = formatted_number(cycles, self.locale)
        told = self.words.several("{number} cycle", "{number} cycles", cycles, number=number)
        if pieces == 1:
            return told
        several = formatted_number(pieces, self.locale)
        return self.words("{cycles} of {number} pieces", cycles=told, number=several)

    def _attendance(self, people: Working, step: JobStep) -> str:
        words, found = self.words, list[str]()
        if people.setup_crew:
            found.append(words("{number} for setting up", number=formatted_quantity(people.setup_crew, self.locale)))
        if people.attendance and step.run_minutes:
            found.append(words("{number} during the run", number=formatted_quantity(people.attendance, self.locale)))
        return ", ".join(found)

    def _flow(self, step: JobStep, part: JobPart) -> Iterator[Entry]:
        words = self.words
        started, good = (int(whole_up(each)) for each in (step.pieces_started, step.pieces_good))
        scrap = words("for {good} good ones", good=formatted_number(good, self.locale))
        yield Entry(text=words("Pieces to start"), figure=formatted_number(started, self.locale), note=scrap)
        for each in part.fetched:
            if each.operation == step.operation:
                yield Entry(text=words("Goes in"), figure=self._drawn(each), note=isolated(each.name))
        yield from self._returned(each for each in part.returned if each.operation == step.operation)

    def _returned(self, returned: Iterable[Drawn]) -> Iterator[Entry]:
        """What comes back, but for less than a scale shows."""
        for each in returned:
            if figure := self._weighed(each.quantity, each.unit, is_up=False):
                yield Entry(text=self.words("Comes back as regrind"), figure=figure, note=isolated(each.name))

    def _cautions(self) -> Iterator[Entry]:
        for each in self.cautions:
            if each.concerns is Concern.WORK or each.code == _TOO_HEAVY:
                yield Entry(text=self.words.told(each.text), note=isolated(each.source))

    def _drawn(self, drawn: Drawn) -> str:
        return self._weighed(drawn.quantity, drawn.unit)

    def _weighed(self, quantity: Decimal, unit: str, *, is_up: bool = True) -> str:
        """A quantity as a scale, a rule or a count gives it, rounded up so that nothing is short; "" for nothing."""
        decimals, shown_unit, factor = _DECIMALS, unit.replace("m2", "m²"), 0
        if unit == "piece":
            decimals = 0
        elif unit == "kg" and quantity < 1:
            decimals, shown_unit, factor = (1 if quantity < _SMALL else 0), "g", _GRAMS
        elif unit == "kg":
            decimals = 1 if quantity >= _LARGE else _DECIMALS
        figure = quantity.scaleb(factor)
        rounded = whole_up(figure.scaleb(decimals)).scaleb(-decimals) if is_up else half_up(figure, decimals)
        if not rounded:
            return ""
        number = formatted_quantity(rounded, self.locale)
        if unit == "piece":
            return self.words.several("{number} piece", "{number} pieces", int(rounded), number=number)
        return f"{number}\u00a0{shown_unit}"

    def _time(self, minutes: Decimal) -> str:
        """Whole minutes, or hours and minutes, rounded up."""
        hours, left = divmod(int(whole_up(minutes)), int(MINUTES_PER_HOUR))
        if not hours:
            return f"{formatted_number(left, self.locale)}\u00a0min"
        return f"{formatted_number(hours, self.locale)}:{left:02d}\u00a0h"
