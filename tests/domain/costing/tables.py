"""Builders of small rate tables."""

from dataclasses import replace
from decimal import Decimal

from service.domain.costing.rate_table import PartRate, PoolShare, RateTable
from service.domain.making.cost_classes import CostClass
from service.domain.making.overheads import OverheadBase
from tests.domain.examples import TODAY


def a_table(**rates: str) -> RateTable:
    """A table of the unit rates of materials, by code; a name beginning with "overheads/" is a pool."""
    parts = {}
    for name, rate in rates.items():
        is_pool = name.startswith("overheads/")
        parts[name if is_pool else f"materials/{name}"] = PartRate(
            rate=Decimal(rate),
            cost_class=CostClass.OVERHEAD if is_pool else CostClass.DIRECT_MATERIAL,
            variable=not is_pool,
        )
    return RateTable(as_of=TODAY, currency="EUR", parts=parts, shares={})


def share(base: str, figure: str, code: str = "pool") -> dict[str, PoolShare]:
    return {f"overheads/{code}": PoolShare(base=OverheadBase(base), variable=False, share=Decimal(figure))}


def shares_of(table: RateTable, **shares: str) -> RateTable:
    """The table with these pools, which are shares of the direct material."""
    pools = [share("direct_material_value", figure, code) for code, figure in shares.items()]
    return replace(table, shares={resource: each for pool in pools for resource, each in pool.items()})
