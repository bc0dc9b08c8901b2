"""Faults of the pins, by the index's answers and the exceptions."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date

from locked import Allowance, Pin, Project, faults_of_the_exceptions
from package_index import NoAnswerError, PackageIndex, Told, Vulnerability

from service.client.progress import each_shown


@dataclass(slots=True)
class Verdicts:
    """Counts of pins; each is in exactly one of the first four."""

    clean: int = 0
    let_stand: int = 0
    vulnerable: int = 0
    not_told: list[Told] = field(default_factory=list)
    yanked: int = 0
    gone: int = 0
    used: set[Allowance] = field(default_factory=set)

    def faults(self, told: Told, allowances: Sequence[Allowance]) -> Iterator[str]:
        """Count this pin, and yield its faults."""
        if told.missing:
            self.gone += 1
            yield f"{told.pin}: {told.missing} of the {len(told.pin.hashes)} locked files are not on the index"
        if told.yanked is not None:
            self.yanked += 1
            yield f"{told.pin}: was yanked, {told.yanked}"
        if told.vulnerabilities is None:
            self.not_told.append(told)
            return
        left = [each for each in told.vulnerabilities if not self._is_let_stand(told.pin, each, allowances)]
        self.clean += not told.vulnerabilities
        self.let_stand += bool(told.vulnerabilities) and not left
        self.vulnerable += bool(left)
        for each in left:
            fixed = f"fixed in {', '.join(each.fixed_in)}" if each.fixed_in else "fixed in no release"
            yield f"{told.pin}: {', '.join(each.identifiers)}; {fixed}"

    def _is_let_stand(self, pin: Pin, found: Vulnerability, allowances: Sequence[Allowance]) -> bool:
        fitting = {each for each in allowances if each.package == pin.name and each.vulnerability in found.identifiers}
        self.used |= fitting
        return bool(fitting)

    def unneeded(self, allowances: Sequence[Allowance]) -> Iterator[str]:
        """Exceptions that match no vulnerability; those of pins without data are left out."""
        unknown = {told.pin.name for told in self.not_told}
        for each in allowances:
            if each not in self.used and each.package not in unknown:
                yield f"{each}: is not needed, as no such vulnerability is found"

    def summary(self) -> str:
        """Every count, in one line."""
        pinned = self.clean + self.let_stand + self.vulnerable + len(self.not_told)
        return (
            f"{pinned} pinned: {self.clean} without a known vulnerability, {len(self.not_told)} not told by the index,"
            f" {self.vulnerable} vulnerable, {self.let_stand} let stand by an exception,"
            f" {self.yanked} yanked, {self.gone} no longer on the index"
        )


def faults_told(pins: Sequence[Pin], project: Project, index: PackageIndex, today: date) -> Iterator[str]:
    """Ask the index about every pin; yields faults, and prints what is unknown."""
    allowances = [each for each in project.exceptions if each.since <= today <= each.until]
    yield from faults_of_the_exceptions(project.exceptions, today)
    verdicts = Verdicts()
    for told in each_shown(index.told(pins), "asking the index", len(pins)):
        yield from verdicts.faults(told, allowances)
    yield from verdicts.unneeded(allowances)
    for told in verdicts.not_told:
        print(f"not told: {told.pin}, the newest release is {told.newest or 'not told either'}")
    print(verdicts.summary(), flush=True)
    if len(verdicts.not_told) == len(pins):
        raise NoAnswerError("the index has no data on vulnerabilities")
