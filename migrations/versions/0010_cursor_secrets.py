"""Each workshop has a secret that seals the cursors of its lists."""

import secrets

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"

_workshops = sa.table("workshops", sa.column("workshop_id", sa.Uuid()), sa.column("cursor_secret"))
_COMMENT = "hexadecimal; seals the cursors of lists, and stays in this database"


def upgrade() -> None:
    op.add_column("workshops", sa.Column("cursor_secret", sa.String(64), comment=_COMMENT))
    connection, its_id = op.get_bind(), _workshops.c.workshop_id
    for workshop_id in connection.execute(sa.select(its_id)).scalars().all():
        values = {"cursor_secret": secrets.token_hex(32)}
        connection.execute(_workshops.update().where(its_id == workshop_id).values(values))
    with op.batch_alter_table("workshops") as workshops:
        workshops.alter_column("cursor_secret", existing_type=sa.String(64), nullable=False)


def downgrade() -> None:
    with op.batch_alter_table("workshops") as workshops:
        workshops.drop_column("cursor_secret")
