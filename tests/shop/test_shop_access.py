"""Who may come in: codes that work once, keys that are kept as hashes, passwords, links, the audit."""

import threading
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import text

from leastcut.shop import keys
from leastcut.shop.access import Access, AccessError, NotLetInError
from leastcut.shop.audit import Audit, plain
from leastcut.shop.links import LinkError, Links
from leastcut.shop.store import Shop
from leastcut.shop.trouble import NoRowError

PASSWORD = "the third bonnet was the worst"


@pytest.fixture
def access(shop: Shop) -> Access:
    return Access(shop.database)


@pytest.fixture
def owner(access: Access) -> int:
    return access.owner(now_s=100.0)


def everything(shop: Shop) -> str:
    """Return all text in the tables of access, as somebody who stole the database would read it."""
    found = []
    with shop.reading() as connection:
        for table in ("people", "devices", "pairings", "links", "audit"):
            rows = connection.execute(text(f"SELECT * FROM {table}")).all()
            found += [str(tuple(row)) for row in rows]
    return "\n".join(found)


def test_a_code_lets_one_device_in_once(access: Access, owner: int) -> None:
    code = access.new_code(owner, now_s=100.0)
    key = access.redeem(code, "phone", now_s=101.0)
    found = access.device(key, now_s=102.0)
    assert found is not None
    assert (found.label, found.name, found.role) == ("phone", "Owner", "owner")
    with pytest.raises(NotLetInError):
        access.redeem(code, "another phone", now_s=102.0)
    assert len(access.devices()) == 1


def test_a_code_may_be_typed_with_small_letters_and_a_dash(access: Access, owner: int) -> None:
    code = access.new_code(owner, now_s=100.0)
    assert access.redeem(f" {keys.shown_code(code).lower()} ", "phone", now_s=101.0)


def test_an_old_code_opens_nothing(access: Access, owner: int) -> None:
    code = access.new_code(owner, now_s=100.0, life_s=600.0)
    with pytest.raises(NotLetInError):
        access.redeem(code, "phone", now_s=700.0)


@pytest.mark.parametrize("code", ["", "A", "2" * 10, "x" * 1000, "' OR 1=1 --", "\0", "☃" * 10])
def test_a_guessed_code_opens_nothing(access: Access, owner: int, code: str) -> None:
    access.new_code(owner, now_s=100.0)
    with pytest.raises(NotLetInError):
        access.redeem(code, "phone", now_s=101.0)


def test_of_many_at_once_one_gets_in(access: Access, owner: int) -> None:
    code = access.new_code(owner, now_s=100.0)
    got: list[str] = []
    refused: list[Exception] = []
    gate = threading.Barrier(8)

    def attempt() -> None:
        gate.wait()
        try:
            got.append(access.redeem(code, "phone", now_s=101.0))
        except NotLetInError as error:
            refused.append(error)

    threads = [threading.Thread(target=attempt) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(got), len(refused)) == (1, 7)


def test_nothing_that_opens_is_in_the_record(shop: Shop, access: Access, owner: int) -> None:
    code = access.new_code(owner, now_s=100.0)
    unused = access.new_code(owner, now_s=100.0)
    key = access.redeem(code, "phone", now_s=101.0)
    access.set_password(owner, PASSWORD, by=owner, now_s=102.0)
    visit = shop.new_visit(shop.new_car("estate", now_s=1.0), now_s=1.0)
    token = Links(shop.database).new(visit, by=owner, now_s=103.0)
    stolen = everything(shop)
    for secret in (code, unused, key, PASSWORD, token):
        assert secret not in stolen
    # the key is kept as its SHA-256, computed here by the standard library
    assert sha256(key.encode()).hexdigest() in stolen
    assert "$argon2id$" in stolen


def test_keys_do_not_repeat_and_are_long() -> None:
    made = {keys.new_key() for _ in range(1000)}
    assert len(made) == 1000
    # 32 bytes as base64 without padding are 43 letters: 256 bits
    # source: RFC 4648, section 5; status: memory
    assert {len(key) for key in made} == {43}
    codes = {keys.new_code() for _ in range(1000)}
    assert len(codes) == 1000
    assert set("".join(codes)) <= set(keys.LETTERS)
    assert not set("01ILOU") & set(keys.LETTERS)


@given(st.text(max_size=60))
def test_any_text_as_a_code_is_harmless(text: str) -> None:
    typed = keys.typed_code(text)
    assert len(typed) <= 4 * keys.CODE_LENGTH
    assert keys.typed_code(typed) == typed


def test_shutting_out_works_from_the_next_question_on(access: Access, owner: int) -> None:
    first = access.redeem(access.new_code(owner, now_s=1.0), "phone", now_s=2.0)
    second = access.redeem(access.new_code(owner, now_s=1.0), "tablet", now_s=2.0)
    found = access.device(first, now_s=3.0)
    assert found is not None
    access.revoke_device(found.device, by=owner, now_s=4.0)
    assert access.device(first, now_s=5.0) is None
    assert access.device(second, now_s=5.0) is not None


def test_shutting_a_person_out_takes_every_device_and_code(access: Access, owner: int) -> None:
    ana = access.new_person("Ana", "detailer", by=owner, now_s=1.0)
    key = access.redeem(access.new_code(ana, now_s=1.0), "phone", now_s=2.0)
    waiting = access.new_code(ana, now_s=2.0)
    access.set_password(ana, PASSWORD, by=ana, now_s=2.0)
    access.revoke_person(ana, by=owner, now_s=3.0)
    assert access.device(key, now_s=4.0) is None
    with pytest.raises(NotLetInError):
        access.redeem(waiting, "phone", now_s=4.0)
    with pytest.raises(NotLetInError):
        access.sign_in("Ana", PASSWORD, "desk", now_s=4.0)
    with pytest.raises(NoRowError):
        access.new_code(ana, now_s=4.0)


def test_a_refused_code_is_not_used_up_when_the_label_is_wrong(access: Access, owner: int) -> None:
    code = access.new_code(owner, now_s=1.0)
    with pytest.raises(AccessError):
        access.redeem(code, "x" * 200, now_s=2.0)
    assert access.redeem(code, "phone", now_s=3.0)


def test_name_and_password(access: Access, owner: int) -> None:
    with pytest.raises(NotLetInError):
        access.sign_in("Owner", PASSWORD, "desk", now_s=1.0)
    access.set_password(owner, PASSWORD, by=owner, now_s=1.0)
    key = access.sign_in(" Owner ", PASSWORD, "desk", now_s=2.0)
    assert access.device(key, now_s=3.0) is not None
    for name, password in (("Owner", PASSWORD + "!"), ("Nobody", PASSWORD), ("Owner", "")):
        with pytest.raises(NotLetInError):
            access.sign_in(name, password, "desk", now_s=4.0)
    access.set_password(owner, None, by=owner, now_s=5.0)
    with pytest.raises(NotLetInError):
        access.sign_in("Owner", PASSWORD, "desk", now_s=6.0)


@pytest.mark.parametrize("password", ["", "short", "x" * 14, "x" * 257])
def test_passwords_of_the_wrong_length(access: Access, owner: int, password: str) -> None:
    with pytest.raises(AccessError):
        access.set_password(owner, password, by=owner, now_s=1.0)


def test_the_hash_is_one_that_another_library_calls_sound() -> None:
    from argon2 import extract_parameters
    from argon2.profiles import RFC_9106_LOW_MEMORY

    made = keys.hasher().hash(PASSWORD)
    # source: RFC 9106, section 4, second recommended option, as the library ships it
    assert extract_parameters(made) == RFC_9106_LOW_MEMORY


def test_the_shop_is_never_left_without_an_owner(access: Access, owner: int) -> None:
    with pytest.raises(AccessError):
        access.set_role(owner, "detailer", by=owner, now_s=1.0)
    with pytest.raises(AccessError):
        access.revoke_person(owner, by=owner, now_s=1.0)
    other = access.new_person("Ben", "owner", by=owner, now_s=2.0)
    access.set_role(owner, "detailer", by=other, now_s=3.0)
    assert access.owner(now_s=4.0) == other
    with pytest.raises(AccessError):
        access.revoke_person(other, by=other, now_s=5.0)


def test_two_owners_cannot_undo_each_other_at_once(access: Access, owner: int) -> None:
    other = access.new_person("Ben", "owner", by=owner, now_s=2.0)
    gate = threading.Barrier(2)
    refused: list[Exception] = []

    def demote(person: int) -> None:
        gate.wait()
        try:
            access.set_role(person, "detailer", by=None, now_s=3.0)
        except AccessError as error:
            refused.append(error)

    threads = [threading.Thread(target=demote, args=(one,)) for one in (owner, other)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(refused) == 1
    assert [person.role for person in access.people()].count("owner") == 1


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("", "detailer"),
        ("x" * 81, "detailer"),
        ("a\u202eb", "detailer"),
        ("Ana", "client"),
        ("Ana", "god"),
    ],
)
def test_names_and_roles_that_cannot_be(access: Access, name: str, role: str) -> None:
    with pytest.raises(AccessError):
        access.new_person(name, role, now_s=1.0)


def test_a_name_is_there_once_while_its_person_is(access: Access, owner: int) -> None:
    ana = access.new_person("Ana", "learner", by=owner, now_s=1.0)
    with pytest.raises(AccessError):
        access.new_person(" Ana ", "learner", by=owner, now_s=1.0)
    access.revoke_person(ana, by=owner, now_s=2.0)
    assert access.new_person("Ana", "learner", by=owner, now_s=3.0) != ana


def test_what_a_person_chose_is_kept(access: Access, owner: int) -> None:
    access.choose(owner, lang="es")
    access.choose(owner, units="us")
    access.choose(owner)
    person = access.people()[0]
    assert (person.lang, person.units) == ("es", "us")


def test_seen_is_written_once_a_minute(access: Access, owner: int) -> None:
    key = access.redeem(access.new_code(owner, now_s=1.0), "phone", now_s=2.0)
    access.device(key, now_s=30.0)
    assert access.devices()[0].seen_s == 2.0
    access.device(key, now_s=90.0)
    assert access.devices()[0].seen_s == 90.0


def test_changes_of_what_is_not_there(access: Access, owner: int) -> None:
    for change in (
        lambda: access.set_role(99, "learner", by=owner, now_s=1.0),
        lambda: access.revoke_person(99, by=owner, now_s=1.0),
        lambda: access.revoke_device(99, by=owner, now_s=1.0),
        lambda: access.set_password(99, PASSWORD, by=owner, now_s=1.0),
    ):
        with pytest.raises(NoRowError):
            change()


def test_links_show_one_visit_for_a_while(shop: Shop, owner: int) -> None:
    links = Links(shop.database)
    car = shop.new_car("estate", now_s=1.0)
    first, second = (shop.new_visit(car, now_s=1.0) for _ in range(2))
    token = links.new(first, by=owner, now_s=10.0, life_s=100.0)
    other = links.new(second, by=owner, now_s=10.0)
    assert links.visit(token, now_s=109.0) == first
    assert links.visit(token, now_s=111.0) is None
    assert links.visit(other, now_s=111.0) == second
    assert links.visit("x" * 43, now_s=11.0) is None
    assert [link.visit for link in links.all(now_s=20.0)] == [second, first]
    assert [link.visit for link in links.all(now_s=20.0, visit=first)] == [first]
    links.revoke(links.all(now_s=20.0, visit=second)[0].link, by=owner, now_s=21.0)
    assert links.visit(other, now_s=22.0) is None
    with pytest.raises(NoRowError):
        links.revoke(99, by=owner, now_s=22.0)


def test_links_that_cannot_be_made(shop: Shop, owner: int) -> None:
    links = Links(shop.database)
    with pytest.raises(NoRowError):
        links.new(99, by=owner, now_s=1.0)
    visit = shop.new_visit(shop.new_car("estate", now_s=1.0), now_s=1.0)
    for life_s in (0.0, -1.0, 1e9, float("nan")):
        with pytest.raises(LinkError):
            links.new(visit, by=owner, now_s=1.0, life_s=life_s)


def test_the_audit_tells_who_did_what(shop: Shop, access: Access, owner: int) -> None:
    key = access.redeem(access.new_code(owner, now_s=1.0), "phone", now_s=2.0)
    found = access.device(key, now_s=3.0)
    assert found is not None
    audit = Audit(shop.database)
    audit.later(
        "POST /v/{visit}/facts", at_s=4.0, where="visit 1", person=owner, device=found.device
    )
    assert audit.flush() == 1
    assert audit.flush() == 0
    page = audit.page(per_page=2)
    assert (page.total, page.pages) == (4, 2)
    newest = page.rows[0]
    assert (newest.person, newest.device, newest.what) == (
        "Owner",
        "phone",
        "POST /v/{visit}/facts",
    )
    assert [row.what for row in audit.page(page=2, per_page=2).rows] == ["code", "person in"]


def test_rows_that_could_not_be_written_wait(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    audit = Audit(shop.database)
    audit.later("one", at_s=1.0)
    audit.later("two", at_s=2.0)
    with monkeypatch.context() as broken:
        broken.setattr(shop.database, "writing", lambda: (_ for _ in ()).throw(OSError("full")))
        with pytest.raises(OSError, match="full"):
            audit.flush()
    assert audit.flush() == 2
    assert [row.what for row in audit.page().rows] == ["two", "one"]


@given(st.text(max_size=1000))
def test_a_row_is_one_plain_line(words: str) -> None:
    kept = plain(words)
    assert len(kept) <= 400
    assert kept.isprintable()
