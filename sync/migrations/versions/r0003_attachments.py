"""Which entries name which attachments; the application's secrets, whose table it made by itself before."""

import sqlalchemy as sa
from alembic import op

from sync.attached import ATTACHMENT, attachment_row
from sync.entry import read

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    attachment = op.create_table(
        "attachment",
        sa.Column("entry", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("erased", sa.Boolean, nullable=False),
    )
    op.create_index("attachment_name", "attachment", ["name"])
    op.create_index("attachment_erased", "attachment", ["erased", "name"])
    found = op.get_bind().execute(sa.text("SELECT data FROM entry WHERE kind = :kind"), {"kind": ATTACHMENT})
    rows = list(filter(None, (attachment_row(read(bytes(data))) for (data,) in found)))
    op.bulk_insert(attachment, rows)
    _people_safe()


def _people_safe() -> None:
    if not sa.inspect(op.get_bind()).has_table("people_safe"):
        op.create_table(
            "people_safe",
            sa.Column("name", sa.Text, primary_key=True),
            sa.Column("value", sa.Text, nullable=False),
        )
