"""The headings under which a cost sheet sums up."""

from enum import StrEnum


class CostClass(StrEnum):
    """The headings of the cost sheet, in its order."""

    DIRECT_MATERIAL = "direct_material"
    PACKAGING = "packaging"
    DIRECT_LABOUR = "direct_labour"
    MACHINE = "machine"
    ELECTRICITY = "electricity"
    TOOLING = "tooling"
    OVERHEAD = "overhead"
