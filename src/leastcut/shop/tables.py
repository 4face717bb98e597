"""The tables of the shop's record. A change here needs a step in ``migrations/versions``.

Numbers of rows are never used twice: the film record outlives what was deleted. Times are Unix
seconds. Text that a writer made as JSON stays text, so that both databases keep it bit for bit.
"""

from sqlalchemy import (
    BigInteger,
    CheckConstraint,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

# Every version of the tables that a release has written, oldest first; the last is ours.
VERSIONS = ("0001",)
VERSION = VERSIONS[-1]

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)

# SQLite numbers rows only in a column declared INTEGER.
Number = BigInteger().with_variant(Integer(), "sqlite")


def _number() -> Column[int]:
    return Column("id", Number, primary_key=True, autoincrement=True)


def _to(name: str, table: str, *, null: bool = False) -> Column[int]:
    return Column(name, Number, ForeignKey(f"{table}.id"), nullable=null)


def _text(name: str, *, null: bool = False, primary_key: bool = False) -> Column[str]:
    return Column(name, Text(), nullable=null, primary_key=primary_key)


def _time(name: str, *, null: bool = False) -> Column[float]:
    return Column(name, Float(53), nullable=null)


about = Table(
    "about",
    metadata,
    _text("name", primary_key=True),
    _text("value"),
)

cars = Table(
    "cars",
    metadata,
    _number(),
    _text("label"),
    _text("client"),
    _text("words"),  # label and client folded for the search
    # The newest visit; no foreign key, for the two tables would point at each other.
    Column("visit", Number, nullable=True),
    _time("opened_s"),
    Index("ix_cars_opened_s", "opened_s", "id"),
    sqlite_autoincrement=True,
)

visits = Table(
    "visits",
    metadata,
    _number(),
    _to("car", "cars"),
    _time("opened_s"),
    Column("head", Number, nullable=False),
    _text("summary"),
    Index("ix_visits_car", "car", "id"),
    sqlite_autoincrement=True,
)

people = Table(
    "people",
    metadata,
    _number(),
    _text("name"),
    _text("role"),
    _text("password_hash", null=True),
    _text("lang"),
    _text("units"),
    _time("made"),
    _time("revoked", null=True),
    CheckConstraint("role IN ('owner', 'detailer', 'learner', 'client')", name="role"),
    sqlite_autoincrement=True,
)

devices = Table(
    "devices",
    metadata,
    _number(),
    _to("person", "people"),
    _text("label"),
    _text("key_hash"),
    _time("made"),
    _time("seen", null=True),
    _time("revoked", null=True),
    UniqueConstraint("key_hash"),
    Index("ix_devices_person", "person"),
    sqlite_autoincrement=True,
)

pairings = Table(
    "pairings",
    metadata,
    _text("code_hash", primary_key=True),
    _text("role"),
    _to("person", "people", null=True),
    _time("expires"),
    _time("used", null=True),
)

links = Table(
    "links",
    metadata,
    _number(),
    _text("token_hash"),
    _to("visit", "visits"),
    _time("expires"),
    _time("revoked", null=True),
    _to("made_by", "people", null=True),
    UniqueConstraint("token_hash"),
    Index("ix_links_visit", "visit"),
    sqlite_autoincrement=True,
)

audit = Table(
    "audit",
    metadata,
    _number(),
    _time("at"),
    _to("person", "people", null=True),
    _to("device", "devices", null=True),
    _text("what"),
    _text("where"),
    _text("detail"),
    Index("ix_audit_at", "at"),
    sqlite_autoincrement=True,
)

facts = Table(
    "facts",
    metadata,
    _number(),
    _to("visit", "visits"),
    _text("key"),
    _text("kind"),
    _text("field"),
    _text("body"),
    Column("base", Number, nullable=True),
    _time("made_s", null=True),
    _time("at_s"),
    _to("device", "devices", null=True),
    _text("person"),
    CheckConstraint("kind IN ('set', 'add', 'drop')", name="kind"),
    UniqueConstraint("visit", "key"),
    Index("ix_facts_visit", "visit", "id"),
    sqlite_autoincrement=True,
)

photos = Table(
    "photos",
    metadata,
    _text("digest", primary_key=True),
    Column("visit", Number, ForeignKey("visits.id"), primary_key=True),
    _text("media"),
    Column("width", Integer(), nullable=False),
    Column("height", Integer(), nullable=False),
    Column("bytes", Number, nullable=False),
    _time("at_s"),
    Index("ix_photos_visit", "visit"),
)

# What follows can be worked out again from facts and photos: `prune` may empty it.
findings = Table(
    "findings",
    metadata,
    _text("key", primary_key=True),
    Column("body", LargeBinary(), nullable=False),
    _time("made"),
)

pictures = Table(
    "pictures",
    metadata,
    _text("key", primary_key=True),
    _text("digest"),  # of the blob
    _time("made"),
    Index("ix_pictures_digest", "digest"),
)

dossiers = Table(
    "dossiers",
    metadata,
    Column("visit", Number, ForeignKey("visits.id"), primary_key=True, autoincrement=False),
    Column("head", Number, nullable=False),
    Column("body", LargeBinary(), nullable=False),
)

DERIVED = (findings, pictures, dossiers)
# In an order in which every row finds what it points at.
KEPT = (about, cars, visits, people, devices, pairings, links, audit, facts, photos)
