"""Kinds of machines, what each can do to people, and the texts of these cautions with their sources."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

from service.domain.safety.cautions import Caution, Concern
from service.domain.values.message import Message


class MachineKind(StrEnum):
    """What a machine does to material, which decides how it can hurt.

    A granulator is a shredder. PRESS and INJECTION close on hot material; a cold press or a drill is OTHER.
    """

    SHREDDER = "shredder"
    EXTRUDER = "extruder"
    PRESS = "press"
    INJECTION = "injection"
    SAW = "saw"
    OVEN = "oven"
    MIXER = "mixer"
    OTHER = "other"


HEATED_KINDS = frozenset({MachineKind.EXTRUDER, MachineKind.PRESS, MachineKind.INJECTION, MachineKind.OVEN})
"""Kinds that work a polymer hot; burns and fume are cautions of the hot work."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingMachine:
    """A machine that an operation runs.

    Attributes:
        kind: decides the cautions; None if nobody registered it.
        machine: its name.
        where: the operation.
        draws_power: whether it is fed with electricity.
    """

    kind: MachineKind | None
    machine: str
    where: str
    draws_power: bool = True


class _Told(NamedTuple):
    text: str
    source: str
    kinds: frozenset[MachineKind | None]


_GRANULATORS = "HSE, Safety at granulators, Plastics Processing Sheet No 10; WorkSafe New Zealand, Plastics granulator"
_EXTRUDERS = "WorkSafe New Zealand, Plastics extrusion presses"
_SAWS = "HSE, Circular saw benches: safe working practices, Information Sheet No 16 (Revision 2)"
_OSHA_PLASTICS = "OSHA, Machine Guarding eTool, Plastics Machinery"
_MACHINES = {
    "drawn-in": _Told(  # mixers: EN 12012-4 is about agglomerators, which are built alike
        text="knives, screws and paddles draw in hands, hair and clothing, and can start or turn by themselves while "
        "somebody clears a blockage. Never reach in; keep hoppers and guards closed and hair and sleeves tied. Before "
        "opening, switch off, lock the supply off, and wait until all stands still, as the machine's manual and local "
        "rules say.",
        source=f"{_GRANULATORS}; {_EXTRUDERS}; EN 12012-1:2018 and EN 12012-4:2019, size reduction machines; 29 CFR "
        "1910.147, control of hazardous energy (lockout/tagout)",
        kinds=frozenset({MachineKind.SHREDDER, MachineKind.EXTRUDER, MachineKind.MIXER}),
    ),
    "saw-blade": _Told(
        text="the blade cuts off fingers, and a piece that jams is thrown back at whoever feeds it. Keep guard and "
        "riving knife set for each cut, use a push stick, stand out of the line of the blade, wear no gloves near it, "
        "and lock the supply off before changing or cleaning it, as the machine's manual and local rules say.",
        source=f"{_SAWS} (gloves: from memory)",
        kinds=frozenset({MachineKind.SAW}),
    ),
    "crushing": _Told(
        text="closing platens and moulds crush hands. Use it only with its guards, interlocks or two-hand control in "
        "order, never reach between, and lock the supply off and block the moving part before working inside, as the "
        "machine's manual and local rules say.",
        source=f"{_OSHA_PLASTICS}; EN ISO 20430:2020, injection moulding machines, and EN 289:2014, presses (numbers "
        "from memory)",
        kinds=frozenset({MachineKind.PRESS, MachineKind.INJECTION}),
    ),
    "thrown-out": _Told(
        text="pieces, chips or hot melt can fly out of a hopper, a nozzle or the cut. Wear eye and face protection, "
        "keep covers and flaps in place, and keep others away, as the machine's manual and local rules say.",
        source=f"{_GRANULATORS}; {_EXTRUDERS} (injection and saws by analogy)",
        kinds=frozenset({MachineKind.SHREDDER, MachineKind.EXTRUDER, MachineKind.INJECTION, MachineKind.SAW}),
    ),
    "dust": _Told(
        text="dust irritates airways, and fine plastic dust in the air can burn explosively. Draw it off at its "
        "source, clean up often with a vacuum cleaner made for such dust, never blow it about, keep flames and sparks "
        "away, and follow local rules on dust and fire.",
        source="WorkSafe New Zealand, Plastics granulator (dust; fire and explosion); U.S. Chemical Safety Board, "
        "Combustible Dust Hazard Study, 2006 (title from memory)",
        kinds=frozenset({MachineKind.SHREDDER, MachineKind.SAW, MachineKind.MIXER}),
    ),
    "noise": _Told(
        text="noise can damage hearing for good. Have it measured, damp it at the machine, keep others away, and wear "
        "hearing protection; in the EU it must be offered above 80 dB(A) over a day and worn from 85 dB(A) on. "
        "Elsewhere local limits decide.",
        source=f"{_GRANULATORS}; {_EXTRUDERS}; Directive 2003/10/EC on noise, Articles 3 and 6 (figures from memory)",
        kinds=frozenset({MachineKind.SHREDDER, MachineKind.EXTRUDER, MachineKind.SAW}),
    ),
    "machine-without-data": _Told(
        text="the built-in table knows no dangers of this machine. Moving parts can catch, cut or crush. Assess the "
        "work before it begins, keep guards on, lock the supply off before reaching in, and follow its manual and "
        "local rules.",
        source="ISO 12100:2010, risk assessment and risk reduction; 29 CFR 1910.147 and 1910.212",
        kinds=frozenset({MachineKind.OTHER}),
    ),
    "machine-without-kind": _Told(
        text="nobody registered what kind of machine this is, so the cautions for its kind are missing here. Register "
        "its kind. Until then expect moving parts that catch, cut or crush; keep guards on, lock the supply off before "
        "reaching in, and follow its manual and local rules.",
        source="ISO 12100:2010, risk assessment and risk reduction; 29 CFR 1910.147 and 1910.212",
        kinds=frozenset({None}),
    ),
}
MACHINE_CAUTIONS = {
    Caution(code=code, concerns=Concern.WORK, text=Message(f"{{machines}}: {text}"), source=source): kinds
    for code, (text, source, kinds) in _MACHINES.items()
}
