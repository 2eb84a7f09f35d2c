"""Entries, visits, the chain's head, the drawer, small values beside them.

The layout of a database that has no mark of its layout yet. Alembic never runs it; it is where the steps begin.
"""

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    raise NotImplementedError("A new database gets the newest layout at once.")
