"""Batches of one formula version are found without reading all of a study's."""

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Index batches by study and formula version: a comparison pools them."""
    op.create_index("ix_batch_study_formula", "batch", ["study", "formula"])


def downgrade() -> None:
    """Not offered: an older kit cannot read what a newer one wrote; the backup made before the step can."""
    raise NotImplementedError("a lab book is never taken back to an older schema")
