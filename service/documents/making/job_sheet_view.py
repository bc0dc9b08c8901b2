"""A job sheet in the words and figures of a locale, before layout."""

from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal

from service.documents.making.job_sheet_paper import FetchView, JobSheetView, PartView, StepView
from service.documents.writing.formats import (
    formatted_date,
    formatted_measure,
    formatted_number,
    formatted_quantity,
    isolated,
    unit_sign,
)
from service.documents.writing.labels import labels_for
from service.documents.writing.paper import Entry, head_of
from service.domain.making.job_sheet import Drawn, JobPart, JobSheet, JobStep, Working
from service.domain.safety.cautions import Caution, Concern
from service.domain.values.exact import MINUTES_PER_HOUR, ZERO, exactly, half_up, whole_up
from service.domain.values.units import Unit

_GRAMS = 3
"""Decimals of a kilogram in grams."""
_SMALL, _LARGE = Decimal("0.01"), Decimal(100)
"""In kilograms: below the first a letter scale shows tenths of a gram, from the second on scales show 100 g."""
_TOO_HEAVY = "too-heavy-for-one-person"
_USUAL_DECIMALS, _LITRES = 2, 3
"""Of kilograms, metres, square metres, litres and kilowatt-hours; of cubic metres, in litres."""


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
            wasted_title=words("What has to be disposed of"),
            parts=tuple(map(self._part, self.sheet.parts)),
            blanks_title=words("What really happened"),
            blanks=(*self._counted(self.sheet.unit), words("Date"), words("Name"), words("Remarks")),
            cautions_title=words("Where somebody can be hurt"),
            cautions=tuple(self._cautions()),
        )

    def _facts(self, printed_on: date) -> Iterator[Entry]:
        words, steps = self.words, [step for part in self.sheet.parts for step in part.steps]
        yield Entry(text=words("Product"), figure=self.sheet.product)
        is_counted = self.sheet.unit is Unit.PIECE
        batch = words("Good pieces in the batch") if is_counted else words("Quantity of the batch")
        yield Entry(text=batch, figure=formatted_measure(self.sheet.quantity, self.sheet.unit, self.locale))
        if people := sum((each.minutes for step in steps for each in step.people), ZERO):
            yield Entry(text=words("Working time of all people"), figure=self._time(people))
        if running := sum((step.minutes for step in steps if step.machine), ZERO):
            yield Entry(text=words("Time of all machines"), figure=self._time(running))
        if kwh := self.sheet.electricity_kwh:
            yield Entry(text=words("Electricity"), figure=self._rounded(kwh, "kWh"))
        yield Entry(text=words("Printed on"), figure=formatted_date(printed_on, self.locale))

    def _part(self, part: JobPart) -> PartView:
        is_alone = len(self.sheet.parts) == 1
        pieces = self._weighed(part.pieces, part.unit)
        return PartView(
            title="" if is_alone else f"{isolated(part.name)}{self.words.colon}{pieces}",
            fetched=tuple(
                FetchView(name=isolated(each.name), quantity=self._drawn(each), where=isolated(each.operation))
                for each in part.fetched
            ),
            returned=tuple(self._returned(each for each in part.returned if not each.operation)),
            wasted=tuple(self._wasted(each for each in part.wasted if not each.operation)),
            steps=tuple(self._step(number, step, part) for number, step in enumerate(part.steps, start=1)),
        )

    def _step(self, number: int, step: JobStep, part: JobPart) -> StepView:
        words, name = self.words, isolated(step.operation)
        blanks = [words("Begun at"), words("Ended at"), *self._counted(part.unit)]
        if step.electricity_kwh is not None:
            blanks += [words("Meter before, kWh"), words("Meter after, kWh")]
        return StepView(
            title=f"{formatted_number(number, self.locale)}. {name}",
            note=words("Runs while the step before it still runs.") if step.runs_with_previous else "",
            facts=(*self._equipment(step), *self._times(step, part.unit), *self._flow(step, part)),
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

    def _counted(self, unit: Unit) -> tuple[str, str]:
        """The blanks for what is good and for what is not."""
        words = self.words
        if unit is Unit.PIECE:
            return words("Good pieces"), words("Scrap")
        sign = unit_sign(unit, self.locale)
        return words("Good quantity, {unit}", unit=sign), words("Scrap, {unit}", unit=sign)

    def _times(self, step: JobStep, unit: Unit) -> Iterator[Entry]:
        words = self.words
        if step.warm_ups:
            each = self._time(step.warm_up_minutes / step.warm_ups)
            times = "" if step.warm_ups == 1 else f"{formatted_number(step.warm_ups, self.locale)} × "
            yield Entry(text=words("Warm up"), figure=f"{times}{each}")
        if step.setup_minutes:
            yield Entry(text=words("Set up"), figure=self._time(step.setup_minutes))
        if step.run_minutes:
            yield Entry(text=words("Run"), figure=self._time(step.run_minutes), note=self._pace(step, unit))
        if step.electricity_kwh:
            yield Entry(text=words("Electricity"), figure=self._rounded(step.electricity_kwh, "kWh"))
        for people in step.people:
            note = self._attendance(people, step)
            yield Entry(text=isolated(people.grade), figure=self._time(people.minutes), note=note)

    def _pace(self, step: JobStep, unit: Unit) -> str:
        """How fast it goes: so much an hour, or in so many cycles; the wear of a tool goes by cycles too."""
        found = list[str]()
        if step.units_per_hour is not None:
            quantity = formatted_measure(step.units_per_hour, unit, self.locale)
            if unit is Unit.PIECE:
                found.append(self.words("{quantity} pieces an hour", quantity=quantity))
            else:
                found.append(self.words("{quantity} an hour", quantity=quantity))
        if step.cycles:
            found.append(self._cycles(step, unit))
        return ", ".join(found)

    def _cycles(self, step: JobStep, unit: Unit) -> str:
        cycles, pieces = int(whole_up(step.cycles)), step.pieces_per_cycle
        number = formatted_number(cycles, self.locale)
        told = self.words.several("{number} cycle", "{number} cycles", cycles, number=number)
        if unit is not Unit.PIECE:
            return self.words(
                "{cycles} of {quantity}", cycles=told, quantity=formatted_measure(pieces, unit, self.locale)
            )
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
        if part.unit is Unit.PIECE:
            started, good = (
                formatted_number(whole_up(each), self.locale) for each in (step.pieces_started, step.pieces_good)
            )
            yield Entry(text=words("Pieces to start"), figure=started, note=words("for {good} good ones", good=good))
        else:
            started, good = (self._weighed(each, part.unit) for each in (step.pieces_started, step.pieces_good))
            yield Entry(text=words("To start"), figure=started, note=words("for {good} good", good=good))
        for each in part.fetched:
            if each.operation == step.operation:
                yield Entry(text=words("Goes in"), figure=self._drawn(each), note=isolated(each.name))
        yield from self._returned(each for each in part.returned if each.operation == step.operation)
        yield from self._wasted(each for each in part.wasted if each.operation == step.operation)

    def _returned(self, returned: Iterable[Drawn]) -> Iterator[Entry]:
        """What comes back, but for less than a scale shows."""
        for each in returned:
            if figure := self._weighed(each.quantity, each.unit, is_up=False):
                name = isolated(each.name)
                if each.made_of:
                    name = self.words("{name}, from {material}", name=name, material=isolated(each.made_of))
                yield Entry(text=self.words("Comes back as regrind"), figure=figure, note=name)

    def _wasted(self, wasted: Iterable[Drawn]) -> Iterator[Entry]:
        """What has to be got rid of, in one heap as far as it is counted alike; but for less than a scale shows."""
        heaps: dict[Unit, list[Drawn]] = {}
        for each in wasted:
            heaps.setdefault(each.unit, []).append(each)
        for unit, heap in heaps.items():
            if figure := self._weighed(sum((each.quantity for each in heap), ZERO), unit, is_up=False):
                names = dict.fromkeys(isolated(each.name) for each in heap)
                yield Entry(text=self.words("Waste to dispose of"), figure=figure, note=", ".join(names))

    def _cautions(self) -> Iterator[Entry]:
        for each in self.cautions:
            if each.concerns is Concern.WORK or each.code == _TOO_HEAVY:
                yield Entry(text=self.words.told(each.text), note=isolated(each.source))

    def _drawn(self, drawn: Drawn) -> str:
        return self._weighed(drawn.quantity, drawn.unit)

    def _weighed(self, quantity: Decimal, unit: Unit, *, is_up: bool = True) -> str:
        """A quantity as a scale, a rule, a clock or a count gives it, up so that nothing is short; "" for nothing."""
        if unit is Unit.HOUR:
            return self._time(quantity * MINUTES_PER_HOUR) if quantity else ""
        if unit is Unit.PIECE:
            pieces = whole_up(quantity) if is_up else half_up(quantity, 0)
            number = formatted_quantity(pieces, self.locale)
            return self.words.several("{number} piece", "{number} pieces", int(pieces), number=number) if pieces else ""
        if unit is Unit.KILOGRAM and quantity < 1:
            return self._rounded(quantity.scaleb(_GRAMS), "g", 1 if quantity < _SMALL else 0, is_up=is_up)
        decimals = _LITRES if unit is Unit.CUBIC_METRE else _USUAL_DECIMALS
        if unit is Unit.KILOGRAM and quantity >= _LARGE:
            decimals = 1
        return self._rounded(quantity, unit.sign, decimals, is_up=is_up)

    def _rounded(self, figure: Decimal, unit: str, decimals: int = _USUAL_DECIMALS, *, is_up: bool = True) -> str:
        rounded = whole_up(figure.scaleb(decimals)).scaleb(-decimals) if is_up else half_up(figure, decimals)
        return f"{formatted_quantity(rounded, self.locale)}\u00a0{unit}" if rounded else ""

    def _time(self, minutes: Decimal) -> str:
        """Whole minutes, or hours and minutes, rounded up."""
        hours, left = divmod(int(whole_up(minutes)), int(MINUTES_PER_HOUR))
        if not hours:
            return f"{formatted_number(left, self.locale)}\u00a0min"
        return f"{formatted_number(hours, self.locale)}:{left:02d}\u00a0h"
