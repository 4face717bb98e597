"""Who may come in: people, their devices, one-time codes, passwords.

Keys, codes and links are random and long; only their SHA-256 is kept, so that a copy of the record
opens nothing. Passwords, which people make up, are kept by Argon2id. Each change notes itself in
the audit in the same transaction.
"""

from contextlib import suppress
from typing import Any, Literal

import msgspec
from sqlalchemy import Connection, Select, Table, and_, func, insert, select, update

from leastcut.shop import audit, keys
from leastcut.shop.opening import Database
from leastcut.shop.tables import devices, pairings, people
from leastcut.shop.trouble import NoRowError, ShopError

Role = Literal["owner", "detailer", "learner", "client"]
ROLES: tuple[Role, ...] = ("owner", "detailer", "learner")

CODE_LIFE_S = 10 * 60.0
SEEN_EVERY_S = 60.0
LONGEST_NAME = 80


class AccessError(ShopError):
    """A name, role or password that cannot be taken."""


class NotLetInError(ShopError):
    """A code, key, password or link that opens nothing (any more)."""


class Person(msgspec.Struct, frozen=True, kw_only=True):
    """Somebody who works in the shop."""

    person: int
    name: str
    role: Role
    has_password: bool
    lang: str
    units: str
    revoked_s: float | None


class Device(msgspec.Struct, frozen=True, kw_only=True):
    """A browser that was let in, and whose it is."""

    device: int
    label: str
    person: int
    name: str
    role: Role
    lang: str
    units: str
    made_s: float
    seen_s: float | None
    revoked_s: float | None


def _checked_name(text: str, where: str) -> str:
    name = " ".join(text.split())
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        raise AccessError(
            f"it is empty, longer than {LONGEST_NAME} letters or not plain text",
            where=where,
            do="Type a short name",
        )
    return name


def _checked_password(text: str) -> str:
    if keys.too_long_or_short(text):
        raise AccessError(
            f"it has {len(text)} letters; {keys.SHORTEST_PASSWORD} to {keys.LONGEST_PASSWORD} are taken",
            where="password",
            do="Take a sentence that only you would write",
        )
    return text


def _checked_role(role: str) -> str:
    if role not in ROLES:
        raise AccessError(f"there is no role '{role[:20]}'", where="role", do="Choose one listed")
    return role


class Access:
    """People, devices, codes and links of one shop; safe from several threads.

    Parameters
    ----------
    database : Database
        The shop's.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    # People

    def new_person(self, name: str, role: str, *, by: int | None = None, now_s: float) -> int:
        """Add a person and return their number.

        Raises
        ------
        AccessError
            If name or role cannot be taken, or somebody active has the name already.
        """
        name, role = _checked_name(name, "name"), _checked_role(role)
        with self._database.writing() as connection:
            return _add_person(connection, name, role, by, now_s)

    def people(self) -> tuple[Person, ...]:
        """Return everybody, those who left included."""
        c = people.c
        query = select(
            c.id.label("person"),
            c.name,
            c.role,
            c.password_hash.is_not(None).label("has_password"),
            c.lang,
            c.units,
            c.revoked.label("revoked_s"),
        ).order_by(c.id)
        with self._database.reading() as connection:
            rows = connection.execute(query).mappings().all()
        return tuple(
            Person(**{**found, "has_password": bool(found["has_password"])}) for found in rows
        )

    def owner(self, *, now_s: float, name: str = "Owner") -> int:
        """Return the first active owner's number; the first start of a shop makes one."""
        with self._database.writing() as connection:
            found = connection.execute(_owners().order_by(people.c.id)).scalars().first()
            if found is not None:
                return int(found)
            return _add_person(connection, name, "owner", None, now_s)

    def set_role(self, person: int, role: str, *, by: int | None, now_s: float) -> None:
        """Give a person another role.

        Raises
        ------
        AccessError
            If there is no such role, or the shop would be left without an owner.
        NoRowError
            If there is no such person.
        """
        _checked_role(role)
        with self._database.writing() as connection:
            if role != "owner":
                _keep_an_owner(connection, person)
            _change(connection, people, person, role=role)
            audit.note(
                connection, "role", at_s=now_s, where=f"person {person}", detail=role, person=by
            )

    def revoke_person(self, person: int, *, by: int | None, now_s: float) -> None:
        """Shut a person out with every device of theirs.

        Raises
        ------
        AccessError
            If the shop would be left without an owner.
        NoRowError
            If there is no such person.
        """
        with self._database.writing() as connection:
            _keep_an_owner(connection, person)
            _change(connection, people, person, revoked=now_s)
            theirs = and_(devices.c.person == person, devices.c.revoked.is_(None))
            connection.execute(update(devices).where(theirs).values(revoked=now_s))
            audit.note(connection, "person out", at_s=now_s, where=f"person {person}", person=by)

    def set_password(
        self, person: int, password: str | None, *, by: int | None, now_s: float
    ) -> None:
        """Set a password, or take it away with None.

        Raises
        ------
        AccessError
            If it is too short or too long.
        NoRowError
            If there is no such person.
        """
        kept = None if password is None else keys.hasher().hash(_checked_password(password))
        with self._database.writing() as connection:
            _change(connection, people, person, password_hash=kept)
            what = "password off" if kept is None else "password set"
            audit.note(connection, what, at_s=now_s, where=f"person {person}", person=by)

    def choose(self, person: int, *, lang: str | None = None, units: str | None = None) -> None:
        """Keep the language and units that a person chose."""
        chosen = {k: v for k, v in (("lang", lang), ("units", units)) if v is not None}
        if chosen:
            with self._database.writing() as connection:
                connection.execute(update(people).where(people.c.id == person).values(**chosen))

    # Devices

    def new_code(
        self,
        person: int,
        *,
        by: int | None = None,
        now_s: float,
        life_s: float = CODE_LIFE_S,
    ) -> str:
        """Return a one-time code that lets a device of a person in.

        Raises
        ------
        NoRowError
            If there is no such person, or they were shut out.
        """
        code = keys.new_code()
        with self._database.writing() as connection:
            role = connection.execute(
                select(people.c.role).where(people.c.id == person, people.c.revoked.is_(None))
            ).scalar()
            if role is None:
                raise _no_person(person)
            connection.execute(
                insert(pairings).values(
                    code_hash=keys.hashed(code), role=role, person=person, expires=now_s + life_s
                )
            )
            audit.note(connection, "code", at_s=now_s, where=f"person {person}", person=by)
        return code

    def redeem(self, code: str, label: str, *, now_s: float) -> str:
        """Take a one-time code and return the key of the device that it lets in.

        Raises
        ------
        NotLetInError
            If the code is not known, used or too old; which of these it is, is not told.
        AccessError
            If the label cannot be taken; the code stays good.
        """
        label = _checked_name(label, "label")
        mine = pairings.c.code_hash == keys.hashed(keys.typed_code(code))
        good = and_(mine, pairings.c.used.is_(None), pairings.c.expires > now_s)
        with self._database.writing() as connection:
            # One statement decides who was first, whatever else runs.
            taken = connection.execute(update(pairings).where(good).values(used=now_s))
            if taken.rowcount != 1:
                raise _not_let_in("this code opens nothing (any more)")
            person = connection.execute(select(pairings.c.person).where(mine)).scalar_one()
            return _new_device(connection, int(person), label, "pair", now_s)

    def sign_in(self, name: str, password: str, label: str, *, now_s: float) -> str:
        """Let a new browser in by name and password; return its key.

        Raises
        ------
        NotLetInError
            If the two do not belong together; which one is wrong, is not told.
        AccessError
            If the label cannot be taken.
        """
        label = _checked_name(label, "label")
        c = people.c
        query = select(c.id, c.password_hash).where(
            c.name == " ".join(name.split())[:LONGEST_NAME], c.revoked.is_(None)
        )
        with self._database.reading() as connection:
            found = connection.execute(query.where(c.password_hash.is_not(None))).first()
        # A name that is not known takes as long as one that is.
        if not keys.fits(found[1] if found else keys.nobody(), password):
            found = None
        if found is None:
            raise _not_let_in("name and password do not belong together")
        with self._database.writing() as connection:
            if keys.hasher().check_needs_rehash(found[1]):
                _change(connection, people, found[0], password_hash=keys.hasher().hash(password))
            return _new_device(connection, int(found[0]), label, "sign in", now_s)

    def device(self, key: str, *, now_s: float) -> Device | None:
        """Return the device that a key belongs to, None when it is let in no more or never was."""
        c = devices.c
        query = _device_rows().where(
            c.key_hash == keys.hashed(key), c.revoked.is_(None), people.c.revoked.is_(None)
        )
        with self._database.reading() as connection:
            row = connection.execute(query).mappings().one_or_none()
        if row is None:
            return None
        found = Device(**row)
        if found.seen_s is None or found.seen_s < now_s - SEEN_EVERY_S:
            # A full or read-only disk shall not keep anybody from reading.
            with suppress(ShopError), self._database.writing() as connection:
                connection.execute(update(devices).where(c.id == found.device).values(seen=now_s))
        return found

    def devices(self) -> tuple[Device, ...]:
        """Return every device that is let in, the last seen first."""
        query = _device_rows().where(devices.c.revoked.is_(None), people.c.revoked.is_(None))
        newest = func.coalesce(devices.c.seen, devices.c.made).desc()
        with self._database.reading() as connection:
            rows = connection.execute(query.order_by(newest, devices.c.id)).mappings().all()
        return tuple(Device(**row) for row in rows)

    def revoke_device(self, device: int, *, by: int | None, now_s: float) -> None:
        """Shut a device out, from its next request on.

        Raises
        ------
        NoRowError
            If there is no such device.
        """
        with self._database.writing() as connection:
            _change(connection, devices, device, revoked=now_s)
            audit.note(connection, "device out", at_s=now_s, where=f"device {device}", person=by)


def _device_rows() -> Select[Any]:
    c = devices.c
    return select(
        c.id.label("device"),
        c.label,
        c.person,
        people.c.name,
        people.c.role,
        people.c.lang,
        people.c.units,
        c.made.label("made_s"),
        c.seen.label("seen_s"),
        c.revoked.label("revoked_s"),
    ).join_from(devices, people)


def _owners() -> Select[Any]:
    return select(people.c.id).where(people.c.role == "owner", people.c.revoked.is_(None))


def _keep_an_owner(connection: Connection, person: int) -> None:
    """Refuse to take the last owner's rights: nobody could let anybody in then."""
    # The rows stay locked until the end: two owners cannot take each other's rights at once.
    if list(connection.execute(_owners().with_for_update()).scalars()) == [person]:
        raise AccessError(
            "this is the shop's only owner", where="role", do="Make another person owner first"
        )


def _add_person(connection: Connection, name: str, role: str, by: int | None, now_s: float) -> int:
    same = select(people.c.id).where(people.c.name == name, people.c.revoked.is_(None))
    if connection.execute(same).first() is not None:
        raise AccessError(f"'{name}' is there already", where="name", do="Choose another name")
    row = insert(people).values(name=name, role=role, lang="", units="", made=now_s)
    person = int(connection.execute(row.returning(people.c.id)).scalar_one())
    audit.note(
        connection, "person in", at_s=now_s, where=f"person {person}", detail=role, person=by
    )
    return person


def _new_device(connection: Connection, person: int, label: str, what: str, now_s: float) -> str:
    gone = select(people.c.id).where(people.c.id == person, people.c.revoked.is_not(None))
    if connection.execute(gone).first() is not None:
        raise _not_let_in("this person was shut out")
    key = keys.new_key()
    row = insert(devices).values(
        person=person, label=label, key_hash=keys.hashed(key), made=now_s, seen=now_s
    )
    device = int(connection.execute(row.returning(devices.c.id)).scalar_one())
    audit.note(connection, what, at_s=now_s, where=label, person=person, device=device)
    return key


def _change(connection: Connection, table: Table, number: int, **values: Any) -> None:
    done = connection.execute(update(table).where(table.c.id == number).values(**values))
    if done.rowcount != 1:
        raise NoRowError(
            f"there is no number {number} in it", where=table.name, do="Load the page again"
        )


def _no_person(person: int) -> NoRowError:
    return NoRowError("there is no such person", where=f"person {person}", do="See who is listed")


def _not_let_in(what: str) -> NotLetInError:
    return NotLetInError(what, where="door", do="Ask the owner for a new code")
