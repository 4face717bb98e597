"""The passport: bit-exact, tamper-evident, and without the person in one step."""

import io
import json
import zipfile
from typing import Any

import jsonschema
import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from leastcut.handover.ledger import LedgerError
from leastcut.handover.passport import Personal, add_visit, new_passport
from leastcut.handover.passport_file import PassportError, pack, schema, unpack
from leastcut.handover.picture_data import PictureDataError, bare
from leastcut.handover.privacy import without_person
from leastcut.handover.records import Dossier, People

SECRETS = ("Brennwick", "Odalys", "HX-77 QRS", "Dock Street", "odalys@example.org")


def picture(size: Any = (64, 48)) -> Any:
    image = Image.radial_gradient("L").resize(size).convert("RGB")
    image.putpixel((3, 5), (250, 20, 40))
    return image


def loaded_jpeg(**options: Any) -> Any:
    """A JPEG that tells everything: EXIF with GPS, orientation and owner, a thumbnail, a comment."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x013B] = "Odalys Brennwick"
    exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.5)
    exif.get_ifd(0x8769)[0x9286] = b"ASCII\0\0\0HX-77 QRS in Dock Street"
    stream = io.BytesIO()
    xmp = b"<x:xmpmeta>Odalys Brennwick</x:xmpmeta>"
    picture().save(stream, "JPEG", exif=exif, comment=b"Dock Street", xmp=xmp, **options)
    return stream.getvalue()


@pytest.fixture
def kept(dossier: Dossier) -> Any:
    """A passport with one visit and one photo full of hidden data."""
    who = Personal(
        client="Odalys Brennwick",
        plate="HX-77 QRS",
        location="12 Dock Street",
        contact="odalys@example.org",
    )
    label = "Dark blue three-box of Ms BRENNWICK, hx77qrs"
    job = msgspec.structs.replace(
        dossier,
        car=msgspec.structs.replace(dossier.car, label=label),
        plan=msgspec.structs.replace(
            dossier.plan, notes=("Bring it back to 12  dock street, ask for Odálys",)
        ),
    )
    passport = new_passport(label, personal=who)
    return add_visit(passport, job, when="2026-03-14", photos={"brennwick-roof.jpg": loaded_jpeg()})


def test_the_round_trip_is_bit_exact(kept: Any) -> None:
    passport, photos = kept
    data = pack(passport, photos, key=b"k")
    again, files = unpack(data, key=b"k")
    assert pack(again, files, key=b"k") == data
    assert files == dict(photos)
    assert [one.when for one in again.visits] == ["2026-03-14"]


def test_any_zip_tool_and_sha256sum_can_check_it(kept: Any) -> None:
    with zipfile.ZipFile(io.BytesIO(pack(*kept))) as archive:
        assert archive.testzip() is None
        import hashlib

        for line in archive.read("MANIFEST.sha256").decode().splitlines():
            digest, name = line.split("  ")
            assert hashlib.sha256(archive.read(name)).hexdigest() == digest
        record = json.loads(archive.read("passport.json"))
        jsonschema.Draft202012Validator(json.loads(archive.read("schema.json"))).validate(record)
        written = json.loads(msgspec.json.encode(schema()))
        assert written == json.loads(archive.read("schema.json"))


def rewritten(data: bytes, change: Any) -> Any:
    """The archive with one change made by somebody with a ZIP tool."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    change(files)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)
    return stream.getvalue()


PHOTO = "photos/2026-03-14-001.jpg"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda f: f.update({PHOTO: f[PHOTO][:-9] + b"\0" + f[PHOTO][-8:]}), f"{PHOTO} was altered"),
        (lambda f: f.pop(PHOTO), f"{PHOTO} is missing"),
        (lambda f: f.update({"photos/x.jpg": b"x"}), "photos/x.jpg was added"),
        (lambda f: f.update({"../evil": b"x"}), "no place in a passport"),
        (lambda f: f.update({"passport.json": f["passport.json"].replace(b"44", b"45")}), "passport.json was altered"),
        (lambda f: f.pop("MANIFEST.sha256"), "was added"),
        (lambda f: f.update({"SEAL.hmac": b"0" * 64}), "SEAL.hmac does not fit the key"),
    ],
)  # fmt: skip
def test_an_altered_archive_is_refused_with_the_place(kept: Any, change: Any, said: str) -> None:
    data = rewritten(pack(*kept, key=b"k"), change)
    with pytest.raises(PassportError, match=said) as caught:
        unpack(data, where="car.zip", key=b"k")
    assert caught.value.where == "car.zip"


@given(st.integers(0, 10**9), st.integers(1, 255))
@settings(max_examples=60, deadline=None)
def test_one_flipped_byte_anywhere_is_noticed_or_harmless(
    sample_archive: Any, at: Any, flip: Any
) -> None:
    data = bytearray(sample_archive)
    data[at % len(data)] ^= flip
    try:
        again, photos = unpack(bytes(data))
    except PassportError:
        return
    assert pack(again, photos) == sample_archive  # it hit the ZIP's own frame, not a file


@pytest.fixture(scope="module")
def sample_archive(dossier: Dossier) -> Any:
    small = msgspec.structs.replace(dossier, layouts=(), photos=())
    passport, photos = add_visit(
        new_passport(small.car.label), small, when="2026-03-14", photos={"a.jpg": loaded_jpeg()}
    )
    return pack(passport, photos)


@given(st.binary(max_size=80))
def test_any_bytes_are_no_passport_but_never_a_crash(data: bytes) -> None:
    with pytest.raises(PassportError):
        unpack(data)


def folded(text: Any) -> Any:
    return "".join(c for c in text.casefold() if c.isalnum())


@pytest.mark.parametrize("keep", [False, True])
def test_nothing_of_the_person_stays_in_any_byte(kept: Any, keep: Any) -> None:
    passport, photos, problems = without_person(*kept, keep_photos=keep)
    data = pack(passport, photos)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        everything = b"\n".join([data, *(archive.read(n) for n in archive.namelist())])
    text = folded(everything.decode("latin-1"))
    for secret in SECRETS:
        for word in (secret, *secret.split()):
            assert folded(word) not in text or len(folded(word)) < 4
        assert secret.encode("utf-16-le") not in everything
    assert "odlys" not in text  # the accented spelling in the note, as latin-1 leaves it
    assert unpack(data)[0].personal_removed
    assert bool(photos) is keep
    assert any("may show a plate" in p.what for p in problems) is keep


def test_what_was_measured_survives_the_removal(kept: Any) -> None:
    passport, _, _ = without_person(*kept)
    before, after = kept[0].visits[0].dossier, passport.visits[0].dossier
    assert after.panels == before.panels
    assert after.plan.sections == before.plan.sections
    assert len(passport.ledger.entries) == len(kept[0].ledger.entries)
    assert passport.ledger.car == passport.car == after.car.label


def test_a_name_that_is_also_a_panel_or_a_material_breaks_nothing(dossier: Dossier) -> None:
    job = msgspec.structs.replace(dossier, people=People(client="Roof Steel Door-Front-Left"))
    passport, _ = add_visit(new_passport(job.car.label), job, when="2026-03-14")
    bare_one, _, _ = without_person(passport, {})
    assert bare_one.visits[0].dossier.panels == dossier.panels
    assert bare_one.visits[0].dossier.people.client == ""


def test_a_visit_of_another_car_or_twice_on_one_day(dossier: Dossier) -> None:
    with pytest.raises(LedgerError, match="one passport for each car"):
        add_visit(new_passport("other"), dossier, when="2026-03-14")
    one, _ = add_visit(new_passport(dossier.car.label), dossier, when="2026-03-14")
    twice, _ = add_visit(one, dossier, when="2026-03-14")
    assert twice == one


@pytest.mark.parametrize("options", [{}, {"progressive": True}, {"optimize": True, "quality": 30}])
def test_a_bare_jpeg_shows_the_same_pixels_the_same_way_up(options: Any) -> None:
    full = loaded_jpeg(**options) + b"trailing Brennwick"
    less = bare(full)
    one, other = Image.open(io.BytesIO(full)), Image.open(io.BytesIO(less))
    assert one.tobytes() == other.tobytes()
    assert dict(other.getexif()) == {0x0112: 6}
    assert set(other.info) <= {
        "jfif",
        "jfif_version",
        "jfif_unit",
        "jfif_density",
        "dpi",
        "exif",
        "progressive",
        "progression",
    }
    assert b"Brennwick" not in less
    assert bare(less) == less


def test_a_bare_png_and_webp_show_the_same_pixels() -> None:
    notes = PngInfo()
    notes.add_text("Author", "Odalys Brennwick")
    notes.add_itxt("Where", "Dock Street", zip=True)
    exif = Image.Exif()
    exif[0x013B] = "Odalys Brennwick"
    for kind, more in (
        ("PNG", {"pnginfo": notes, "exif": exif}),
        ("WEBP", {"exif": exif, "xmp": b"Brennwick"}),
    ):
        stream = io.BytesIO()
        picture().save(stream, kind, **more)
        less = bare(stream.getvalue())
        assert b"Brennwick" not in less
        assert len(less) < len(stream.getvalue())
        same = Image.open(io.BytesIO(less))
        assert same.tobytes() == Image.open(io.BytesIO(stream.getvalue())).tobytes()
        assert not dict(same.getexif())


@pytest.mark.parametrize(
    "content", [b"", b"GIF89a", loaded_jpeg()[:300], b"\xff\xd8\xff\xe1", b"\x89PNG\r\n\x1a\n\0\0"]
)
def test_a_picture_nobody_can_vouch_for_is_left_out_and_named(kept: Any, content: Any) -> None:
    with pytest.raises(PictureDataError):
        bare(content)
    passport, photos = kept
    _, left, problems = without_person(passport, photos | {"x.jpg": content}, keep_photos=True)
    assert "x.jpg" not in left
    assert any(p.where == "x.jpg" for p in problems)


def test_the_archive_refuses_names_and_formats_it_does_not_know(kept: Any) -> None:
    passport, photos = kept
    with pytest.raises(PassportError, match="no photo name"):
        pack(passport, {"../x.jpg": b""})
    newer = msgspec.structs.replace(passport, leastcut_passport=9)
    with pytest.raises(PassportError, match="format 9"):
        unpack(pack(newer, photos))
    with pytest.raises(PassportError, match="only one of record and archive"):
        unpack(pack(passport, {}))
    broken = pack(passport, photos).replace(b'"leastcut_passport"', b'"leastcut_passparT"')
    with pytest.raises(PassportError, match=r"passport.json was altered|is damaged"):
        unpack(broken)


def test_a_record_that_does_not_fit_its_schema_is_refused(kept: Any) -> None:
    def change(files: dict[str, bytes]) -> None:
        import hashlib

        files["passport.json"] = b'{"car": 3}'
        old = files["MANIFEST.sha256"].decode().splitlines()
        line = f"{hashlib.sha256(files['passport.json']).hexdigest()}  passport.json"
        lines = [line if "passport.json" in one else one for one in old]
        files["MANIFEST.sha256"] = "\n".join(lines).encode()

    with pytest.raises(PassportError, match="does not fit its schema"):
        unpack(rewritten(pack(*kept), change))


def test_an_archive_that_unpacks_too_large_is_refused(kept: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr("leastcut.handover.passport_file.LARGEST", 1000)
    with pytest.raises(PassportError, match="more than 2 GB"):
        unpack(pack(*kept))


def test_photos_get_names_that_say_nothing_and_the_ending_that_fits(dossier: Dossier) -> None:
    stream = io.BytesIO()
    picture().save(stream, "WEBP")
    png = io.BytesIO()
    picture().save(png, "PNG")
    files = {"a": stream.getvalue(), "b": png.getvalue(), "c": b"?"}
    _, photos = add_visit(new_passport(dossier.car.label), dossier, when="2026-03-14", photos=files)
    assert [name[11:] for name in photos] == ["001.webp", "002.png", "003.bin"]


def test_a_passport_without_any_name_is_left_as_it_is(dossier: Dossier) -> None:
    nobody = msgspec.structs.replace(dossier, people=People())
    passport, _ = add_visit(new_passport(dossier.car.label), nobody, when="2026-03-14")
    bare_one, _, problems = without_person(passport, {})
    assert bare_one == msgspec.structs.replace(passport, personal_removed=True)
    assert problems == ()


def segment(marker: int, body: bytes) -> bytes:
    return bytes([0xFF, marker]) + (len(body) + 2).to_bytes(2, "big") + body


def test_odd_but_legal_jpegs_are_read_as_the_standard_says() -> None:
    """Fill bytes, restart markers, data between scans, and EXIF that states no sensible turn."""
    plain = bare(loaded_jpeg(progressive=True))
    scan = plain.index(b"\xff\xda")
    second = plain.index(b"\xff\xda", scan + 2)
    hidden = segment(0xE5, b"Brennwick") + segment(0xFE, b"Brennwick")
    odd = plain[:2] + b"\xff" + plain[2:second] + hidden + plain[second:]
    less = bare(odd)
    assert b"Brennwick" not in less
    one, other = (Image.open(io.BytesIO(x)) for x in (plain, less))
    assert one.tobytes() == other.tobytes()
    restarts = io.BytesIO()
    picture((320, 200)).save(restarts, "JPEG", restart_marker_blocks=2)
    assert bare(restarts.getvalue()) == restarts.getvalue()


@pytest.mark.parametrize(
    "tiff",
    [
        b"",
        b"II*\0\x08\0\0\0\xff\xff",
        b"MM\0*\0\0\0\x08\0\x00",
        b"MM\0*\0\0\0\x08\0\x01\x01\x3b\0\x03\0\0\0\x01\0\x06\0\0",
        b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x63\0\0",
    ],
)
def test_a_turn_nobody_can_read_is_no_turn(tiff: bytes) -> None:
    stream = io.BytesIO()
    picture().save(stream, "JPEG")
    plain = stream.getvalue()
    full = plain[:2] + segment(0xE1, b"Exif\0\0" + tiff) + plain[2:]
    assert not dict(Image.open(io.BytesIO(bare(full))).getexif())


def test_damaged_pictures_are_named_not_guessed() -> None:
    png = io.BytesIO()
    picture().save(png, "PNG")
    flipped = bytearray(png.getvalue())
    flipped[40] ^= 1
    short = b"\xff\xd8" + segment(0xE0, b"JFIF") + b"\xff\xdb\x00\x01"
    empty = b"RIFF\x04\0\0\0WEBP"
    for content in (bytes(flipped), short, empty, b"\xff\xd8\xff\xe0\x00\x04ab!!"):
        with pytest.raises(PictureDataError, match="broken"):
            bare(content)


def test_photos_that_cannot_be_kept_leave_no_reminder(kept: Any) -> None:
    _, left, problems = without_person(kept[0], {"x.jpg": b"?"}, keep_photos=True)
    assert left == {}
    assert [p.where for p in problems] == ["x.jpg"]


def test_initials_alone_erase_nothing(dossier: Dossier) -> None:
    job = msgspec.structs.replace(dossier, people=People(client="J. D."))
    passport, _ = add_visit(new_passport(job.car.label), job, when="2026-03-14")
    bare_one, _, _ = without_person(passport, {})
    assert bare_one.visits[0].dossier.plan == dossier.plan
