"""Https on a local network: an authority of the shop's own, and a certificate that it signed.

The authority may only ever vouch for private addresses and ``.local`` names: a phone that trusts it
cannot be deceived about any other site, even by who steals its key.
"""

import os
from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address, ip_network
from pathlib import Path
from typing import Any

import msgspec

from leastcut.errors import InputError

# Phones refuse certificates of more days than that. source: Apple support article HT211025
# (398 days) and HT210176 (825 for authorities a person added); status: memory
LEAF_DAYS, AUTHORITY_DAYS, RENEW_DAYS = 397, 3650, 30
PRIVATE = ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "169.254.0.0/16", "127.0.0.0/8")
PRIVATE_6 = ("fc00::/7", "fe80::/10", "::1/128")
LOCAL = ("local", "localhost", "lan", "home.arpa")


class AuthorityError(InputError):
    """A certificate that cannot be made."""


class Papers(msgspec.Struct, frozen=True, kw_only=True):
    """Files for https: the server's key and chain, the authority that phones install."""

    key: Path
    chain: Path
    authority: Path
    fingerprint: str


def papers(folder: Path, names: Iterable[str], *, now: datetime) -> Papers:
    """Return key and certificate for these names, made or renewed as far as needed.

    Parameters
    ----------
    folder : Path
        Where they are kept; readable to this user alone.
    names : iterable of str
        Names and addresses that the workbench is asked for.
    now : datetime
        With its time zone.

    Raises
    ------
    AuthorityError
        If the package for it is not installed, or a name is not one of a local network.
    """
    try:
        import cryptography  # noqa: F401 - only to see that it is there
    except ImportError:
        raise AuthorityError(
            "the package that makes certificates is not installed",
            where="--https",
            do="Install leastcut with its extra: leastcut[https], or give --cert and --key",
        ) from None
    wanted = sorted(set(names))
    _check(wanted)
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    authority, own = _authority(folder, now)
    found = Papers(
        key=folder / "key.pem",
        chain=folder / "chain.pem",
        authority=folder / "authority.crt",
        fingerprint=_fingerprint(authority),
    )
    if not _still_good(found, wanted, authority, now):
        _sign(found, wanted, authority, own, now)
    return found


def _check(names: list[str]) -> None:
    for name in names:
        if not _local(name):
            raise AuthorityError(
                f"'{name}' is no name of a local network",
                where="--https",
                do="Give a certificate of your own for it with the settings cert and key",
            )


def _local(name: str) -> bool:
    with suppress(ValueError):
        address = ip_address(name)
        ranges = PRIVATE if address.version == 4 else PRIVATE_6
        return any(address in ip_network(one) for one in ranges)
    return name.rsplit(".", 1)[-1] in LOCAL or name.endswith(".home.arpa") or "." not in name


def _fingerprint(certificate: Any) -> str:
    from cryptography.hazmat.primitives import hashes

    return str(certificate.fingerprint(hashes.SHA256()).hex(":")).upper()


def _authority(folder: Path, now: datetime) -> tuple[Any, Any]:
    """Return the authority's certificate and key, made on first use."""
    from cryptography import x509
    from cryptography.hazmat.primitives import serialization

    paper, secret = folder / "authority.crt", folder / "authority.key"
    if paper.is_file() and secret.is_file():
        found = x509.load_pem_x509_certificate(paper.read_bytes())
        if found.not_valid_after_utc > now + timedelta(days=LEAF_DAYS):
            return found, serialization.load_pem_private_key(secret.read_bytes(), None)
    return _new_authority(paper, secret, now)


def _new_authority(paper: Path, secret: Path, now: datetime) -> tuple[Any, Any]:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec

    own = ec.generate_private_key(ec.SECP256R1())
    name = _named(f"leastcut shop {now:%Y-%m-%d}")
    allowed = [
        *(x509.IPAddress(ip_network(one)) for one in (*PRIVATE, *PRIVATE_6)),
        *(x509.DNSName(one) for one in (*LOCAL, _machine())),
    ]
    made = (
        _begun(name, name, own.public_key(), now, AUTHORITY_DAYS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(signs=True), critical=True)
        .add_extension(
            x509.NameConstraints(permitted_subtrees=allowed, excluded_subtrees=None), critical=True
        )
        .sign(own, hashes.SHA256())
    )
    _write(secret, _pem(own))
    _write(paper, made.public_bytes(_encoding()), mode=0o644)
    return made, own


def _machine() -> str:
    import socket

    return socket.gethostname().split(".")[0].lower() or "localhost"


def _begun(subject: Any, issuer: Any, public: Any, now: datetime, days: int) -> Any:
    from cryptography import x509

    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + timedelta(days=days))
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(public), critical=False)
    )


def _named(words: str) -> Any:
    from cryptography import x509
    from cryptography.x509.oid import NameOID

    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, words)])


def _usage(*, signs: bool) -> Any:
    from cryptography import x509

    return x509.KeyUsage(
        digital_signature=not signs,
        key_cert_sign=signs,
        crl_sign=signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _encoding() -> Any:
    from cryptography.hazmat.primitives.serialization import Encoding

    return Encoding.PEM


def _pem(key: Any) -> bytes:
    from cryptography.hazmat.primitives.serialization import NoEncryption, PrivateFormat

    return bytes(key.private_bytes(_encoding(), PrivateFormat.PKCS8, NoEncryption()))


def _write(path: Path, content: bytes, *, mode: int = 0o600) -> None:
    beside = path.with_suffix(".new")
    beside.unlink(missing_ok=True)
    with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
        file.write(content)
    beside.replace(path)


def _still_good(found: Papers, wanted: list[str], authority: Any, now: datetime) -> bool:
    from cryptography import x509
    from cryptography.exceptions import InvalidSignature

    if not (found.key.is_file() and found.chain.is_file()):
        return False
    leaf = x509.load_pem_x509_certificates(found.chain.read_bytes())[0]
    told = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    names = sorted(str(one.value) for one in told)
    try:
        leaf.verify_directly_issued_by(authority)
    except (ValueError, TypeError, InvalidSignature):
        return False
    return names == wanted and leaf.not_valid_after_utc > now + timedelta(days=RENEW_DAYS)


def _sign(found: Papers, wanted: list[str], authority: Any, own: Any, now: datetime) -> None:
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import ExtendedKeyUsageOID

    key = ec.generate_private_key(ec.SECP256R1())
    leaf = (
        _begun(_named("leastcut"), authority.subject, key.public_key(), now, LEAF_DAYS)
        .add_extension(x509.SubjectAlternativeName([_name(one) for one in wanted]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(own.public_key()), critical=False
        )
        .sign(own, hashes.SHA256())
    )
    _write(found.key, _pem(key))
    chain = leaf.public_bytes(_encoding()) + authority.public_bytes(_encoding())
    _write(found.chain, chain, mode=0o644)


def _name(name: str) -> Any:
    from cryptography import x509

    try:
        return x509.IPAddress(ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def now() -> datetime:
    """Return the time, for certificates."""
    return datetime.now(UTC)
