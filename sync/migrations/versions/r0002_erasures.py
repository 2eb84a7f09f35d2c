"""Erasures; marks for summaries that have fallen behind; devices in the database, for several servers."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_NUMBER = sa.BigInteger().with_variant(sa.Integer, "sqlite")


def upgrade() -> None:
    op.add_column("entry", sa.Column("bare", sa.Boolean, nullable=False, server_default=sa.false()))
    op.create_table(
        "erasure",
        sa.Column("of", sa.Text, primary_key=True),
        sa.Column("visit", sa.Text, nullable=False),
        sa.Column("sha256", sa.Text, nullable=False),
        sa.Column("by", sa.Text, nullable=False),
    )
    _dirty()
    _device()


def _dirty() -> None:
    op.create_table(
        "dirty",
        sa.Column("visit", sa.Text, primary_key=True),
        sa.Column("position", sa.BigInteger, nullable=False),
    )
    op.create_index("dirty_first", "dirty", ["position"])
    # Nobody has summed up anything yet.
    op.execute("INSERT INTO dirty (visit, position) SELECT visit, position FROM visit")


def _device() -> None:
    op.create_table(
        "device",
        sa.Column("number", _NUMBER, primary_key=True),
        sa.Column("id", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("letter", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("revoked", sa.BigInteger, nullable=False),
        sa.Column("blocked", sa.Boolean, nullable=False),
        sa.Column("digest", sa.Text, nullable=False, unique=True),
    )
    op.create_index("device_id", "device", ["id"])
