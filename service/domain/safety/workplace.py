"""Cautions for the place of work, whatever the kind of machine: sorting, storage, supply, people."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from service.domain.safety.cautions import Caution, Concern
from service.domain.safety.machines import MachineKind, WorkingMachine
from service.domain.values.message import Message


class _Told(NamedTuple):
    text: str
    source: str


_CAUTIONS = {
    "sorting": _Told(
        text="{machines}: what goes in has to be sorted first, and waste can hold needles, blades, glass, "
        "batteries, pressurised cans and residues that harm or infect. Sort on a table, never by reaching "
        "into sacks; wear cut-resistant gloves; keep vaccinations up to date; and set aside electronics, "
        "batteries and containers of chemicals for a licensed recycler, as local rules on waste say.",
        source="HSE and Waste Industry Safety and Health Forum, Health and hazardous substances in waste and "
        "recycling, WASTE 27, 2015; Directive 2012/19/EU, electronics, and Regulation (EU) 2019/1021, flame "
        "retardants (both from memory)",
    ),
    "storage": _Told(
        text="{materials}: stored plastic is a heavy fire load, and burns fast with thick, toxic smoke. Keep "
        "stocks and waste small, apart from each other, from walls and exits and from all heat; let what "
        "comes from hot machines cool outside the stock; clear away dust; and ask the fire authority which "
        "amounts, detectors and extinguishers the local fire code requires.",
        source="Waste Industry Safety and Health Forum, Reducing fire risk at waste management sites, WASTE 28, "
        "2014; Queensland, Prevention of fires in waste stockpiles, ESR/2020/5409",
    ),
    "electrical-supply": _Told(
        text="{machines}: a supply that is not made for the machine can kill or start a fire. Have connection, "
        "protective earth, circuit breaker and emergency stop installed and tested at intervals by a licensed "
        "electrician under the local electrical code; never bridge a switch, and take damaged cables out of "
        "use.",
        source="IEC 60204-1:2016, electrical equipment of machines, and HD 60364 (both from memory)",
    ),
    "lone-work": _Told(
        text="{machines}: whoever is caught, burnt or faints alone gets no help. Work here, above all at night, "
        "only with a second person near who can stop the machine and fetch help, and rested, as local rules "
        "on working alone and on night work say.",
        source="HSE, Protecting lone workers, INDG73 (rev4), 2020; Directive 2003/88/EC, Articles 8 and 9, night "
        "work (from memory)",
    ),
    "instruction": _Told(
        text="{machines}: only people who have been instructed at the machine, with its manual, may work at it; "
        "volunteers, trainees and visitors as much as the paid. Write down who was instructed and when, "
        "supervise beginners, and keep to the minimum age of local law.",
        source="Directive 2009/104/EC, Articles 8 and 9, and Directive 94/33/EC, Article 7 (both from memory); HSE "
        "INDG73 (rev4), on volunteers",
    ),
}


def workplace_cautions(running: Iterable[WorkingMachine], plastics: Iterable[str]) -> Iterator[Caution]:
    """Cautions for machines at work, and for the plastics in store, by the names of the materials.

    Sorting is for what shredders take, the supply for machines that draw power; the rest is for every machine,
    because each kind can hurt somebody who is alone or not instructed.
    """
    machines = sorted(set(running), key=lambda each: each.machine)
    shredders = [each.machine for each in machines if each.kind is MachineKind.SHREDDER]
    powered = [each.machine for each in machines if each.draws_power]
    everyone = [each.machine for each in machines]
    yield from _caution("sorting", machines=shredders)
    yield from _caution("storage", materials=sorted(plastics))
    yield from _caution("electrical-supply", machines=powered)
    yield from _caution("lone-work", machines=everyone)
    yield from _caution("instruction", machines=everyone)


def _caution(code: str, **concerned: Iterable[str]) -> Iterator[Caution]:
    names = {fact: tuple(dict.fromkeys(each)) for fact, each in concerned.items()}
    if any(names.values()):
        text, source = _CAUTIONS[code]
        yield Caution(code=code, concerns=Concern.WORK, text=Message(text, **names), source=source)
