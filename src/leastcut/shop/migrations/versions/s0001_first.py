"""The first tables: cars, visits, facts, photos, people and what may be worked out again."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

Number = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _number() -> "sa.Column[int]":
    return sa.Column("id", Number, primary_key=True, autoincrement=True)


def _to(name: str, table: str, *, null: bool = False) -> "sa.Column[int]":
    return sa.Column(name, Number, sa.ForeignKey(f"{table}.id"), nullable=null)


def _text(name: str, *, null: bool = False, primary_key: bool = False) -> "sa.Column[str]":
    return sa.Column(name, sa.Text(), nullable=null, primary_key=primary_key)


def _time(name: str, *, null: bool = False) -> "sa.Column[float]":
    return sa.Column(name, sa.Float(53), nullable=null)


def upgrade() -> None:
    """Make every table."""
    op.create_table("about", _text("name", primary_key=True), _text("value"))
    _cars()
    _people()
    _facts()
    _photos()
    _derived()


def _cars() -> None:
    op.create_table(
        "cars",
        _number(),
        _text("label"),
        _text("client"),
        _text("words"),
        sa.Column("visit", Number, nullable=True),
        _time("opened_s"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_cars_opened_s", "cars", ["opened_s", "id"])
    op.create_table(
        "visits",
        _number(),
        _to("car", "cars"),
        _time("opened_s"),
        sa.Column("head", Number, nullable=False),
        _text("summary"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_visits_car", "visits", ["car", "id"])


def _people() -> None:
    op.create_table(
        "people",
        _number(),
        _text("name"),
        _text("role"),
        _text("password_hash", null=True),
        _text("lang"),
        _text("units"),
        _time("made"),
        _time("revoked", null=True),
        sa.CheckConstraint("role IN ('owner', 'detailer', 'learner', 'client')", name="role"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "devices",
        _number(),
        _to("person", "people"),
        _text("label"),
        _text("key_hash"),
        _time("made"),
        _time("seen", null=True),
        _time("revoked", null=True),
        sa.UniqueConstraint("key_hash"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_devices_person", "devices", ["person"])
    op.create_table(
        "pairings",
        _text("code_hash", primary_key=True),
        _text("role"),
        _to("person", "people", null=True),
        _time("expires"),
        _time("used", null=True),
    )
    _links()


def _links() -> None:
    op.create_table(
        "links",
        _number(),
        _text("token_hash"),
        _to("visit", "visits"),
        _time("expires"),
        _time("revoked", null=True),
        _to("made_by", "people", null=True),
        sa.UniqueConstraint("token_hash"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_links_visit", "links", ["visit"])
    op.create_table(
        "audit",
        _number(),
        _time("at"),
        _to("person", "people", null=True),
        _to("device", "devices", null=True),
        _text("what"),
        _text("where"),
        _text("detail"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_audit_at", "audit", ["at"])


def _facts() -> None:
    op.create_table(
        "facts",
        _number(),
        _to("visit", "visits"),
        _text("key"),
        _text("kind"),
        _text("field"),
        _text("body"),
        sa.Column("base", Number, nullable=True),
        _time("made_s", null=True),
        _time("at_s"),
        _to("device", "devices", null=True),
        _text("person"),
        sa.CheckConstraint("kind IN ('set', 'add', 'drop')", name="kind"),
        sa.UniqueConstraint("visit", "key"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_facts_visit", "facts", ["visit", "id"])


def _photos() -> None:
    op.create_table(
        "photos",
        _text("digest", primary_key=True),
        sa.Column("visit", Number, sa.ForeignKey("visits.id"), primary_key=True),
        _text("media"),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("bytes", Number, nullable=False),
        _time("at_s"),
    )
    op.create_index("ix_photos_visit", "photos", ["visit"])


def _derived() -> None:
    op.create_table(
        "findings",
        _text("key", primary_key=True),
        sa.Column("body", sa.LargeBinary(), nullable=False),
        _time("made"),
    )
    op.create_table("pictures", _text("key", primary_key=True), _text("digest"), _time("made"))
    op.create_index("ix_pictures_digest", "pictures", ["digest"])
    op.create_table(
        "dossiers",
        sa.Column(
            "visit", Number, sa.ForeignKey("visits.id"), primary_key=True, autoincrement=False
        ),
        sa.Column("head", Number, nullable=False),
        sa.Column("body", sa.LargeBinary(), nullable=False),
    )
