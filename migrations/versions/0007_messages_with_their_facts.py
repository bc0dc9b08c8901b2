"""What a quotation tells is kept with its facts, so that every language can tell it; until now two texts were read."""

import json
import re
from collections.abc import Callable
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"

_TOO_HEAVY = (
    "{what} {mass} kg, too heavy for one person. Guidance ends at {limit} kg for men and 16 kg for women, close to the "
    "body, and at less when the load is far from it, above the shoulder, or lifted often. Use a lifting aid or more "
    "people, as local rules on manual handling say."
)
_NO_PROMISE = (
    "A price never implies that a product is fit for a use ({uses}). Whoever puts it on the market answers for its "
    "safety under local law, with tests by qualified people."
)
_quotations = sa.table("quotations", *map(sa.column, ("workshop_id", "quotation_id", "figures", "remarks")))


def upgrade() -> None:
    _rewrite(_with_facts)


def downgrade() -> None:
    _rewrite(_as_text)


def _with_facts(text: Any) -> Any:
    for template in (_TOO_HEAVY, _NO_PROMISE):
        pattern = re.sub(r"\\{(\w+)\\}", r"(?P<\1>.+)", re.escape(template))
        if isinstance(text, str) and (found := re.fullmatch(pattern, text)):
            facts = {name: _fact(name, told) for name, told in found.groupdict().items()}
            return {"template": template, "facts": facts}
    return text


def _fact(name: str, told: str) -> Any:
    if name in ("mass", "limit"):
        return {"figure": told}
    messages = [{"template": each, "facts": {}} for each in told.split(", ")]
    return messages if name == "uses" else messages[0]


def _as_text(fact: Any) -> Any:
    match fact:
        case {"template": template, "facts": facts}:
            return template.format(**{name: _as_text(each) for name, each in facts.items()}) if facts else template
        case {"figure": figure}:
            return figure
        case list():
            return ", ".join(map(_as_text, fact))
    return fact


def _rewrite(rewritten: Callable[[Any], Any]) -> None:
    """Put another text in the place of each that a quotation tells."""
    connection, of = op.get_bind(), _quotations.c
    for key in connection.execute(sa.select(of.workshop_id, of.quotation_id)).all():
        is_it = sa.and_(of.workshop_id == key.workshop_id, of.quotation_id == key.quotation_id)
        row = connection.execute(sa.select(of.figures, of.remarks).where(is_it)).one()
        figures, remarks = json.loads(row.figures), json.loads(row.remarks)
        for told in (remarks["warnings"], remarks["cautions"], (figures.get("shipping") or {}).get("cautions", [])):
            for each in told:
                each["text"] = rewritten(each["text"])
        texts = {"figures": _json(figures), "remarks": _json(remarks)}
        if texts != {"figures": row.figures, "remarks": row.remarks}:
            connection.execute(_quotations.update().where(is_it).values(**texts))


def _json(data: Any) -> str:
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))
