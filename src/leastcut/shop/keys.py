"""Random keys and codes, and the hashes in which alone they and the passwords are kept."""

import secrets
from functools import cache
from hashlib import sha256
from threading import BoundedSemaphore
from typing import Any, cast

# No 0/O, 1/I/L, U: typed by a wet glove from a screen. 10 letters of 30 are 49 bits, for ten
# minutes, with tries limited: guessing one in a lifetime of trying is out of reach.
LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
CODE_LENGTH = 10
# source: NIST SP 800-63B-4, 3.1.1.2: at least 15 letters where a password is the only factor,
# at least 64 must be allowed, no rules of composition; status: memory
SHORTEST_PASSWORD, LONGEST_PASSWORD = 15, 256
_HASHING = BoundedSemaphore(2)


def hashed(secret: str) -> str:
    """Return the only form in which a random key, code or link is kept."""
    return sha256(secret.encode("utf-8", "replace")).hexdigest()


def new_key() -> str:
    """Return a key or link token: 256 random bits, fit for cookies and addresses."""
    return secrets.token_urlsafe(32)


def new_code() -> str:
    """Return a one-time code."""
    return "".join(secrets.choice(LETTERS) for _ in range(CODE_LENGTH))


def typed_code(text: str) -> str:
    """Return a code as it was meant, however it was typed.

    >>> typed_code(" abc4e-fgh2k ")
    'ABC4EFGH2K'
    """
    return "".join(letter for letter in text.upper() if letter.isalnum())[: 4 * CODE_LENGTH]


def shown_code(code: str) -> str:
    """Return a code in two groups, as it is easiest to type.

    >>> shown_code("ABC4EFGH2K")
    'ABC4E-FGH2K'
    """
    return f"{code[: CODE_LENGTH // 2]}-{code[CODE_LENGTH // 2 :]}"


@cache
def hasher() -> Any:
    """Return the hasher with its defaults, those of RFC 9106 for little memory."""
    from argon2 import PasswordHasher

    return PasswordHasher()


@cache
def nobody() -> str:
    """Return the hash of a password that nobody has."""
    return cast("str", hasher().hash(secrets.token_urlsafe(24)))


def fits(hashed_password: str, password: str) -> bool:
    """Tell whether a password is the one of a hash; a few at a time, for each takes 64 MiB.

    Parameters
    ----------
    hashed_password : str
        As :func:`hasher` made it.
    password : str
        As it was typed.
    """
    from argon2.exceptions import Argon2Error, InvalidHashError

    with _HASHING:
        try:
            return bool(hasher().verify(hashed_password, password[:LONGEST_PASSWORD]))
        except (Argon2Error, InvalidHashError):
            return False


def too_long_or_short(password: str) -> bool:
    """Tell whether a password's length is outside what is taken."""
    return not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD
