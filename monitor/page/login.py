"""Who is at the other end: passwords, links for one device, sessions, tries counted.

A visit is a random cookie. It becomes a person's by a password (remembered here until the
daemon ends) or by the secret of a link, which the device keeps as a cookie of its own.
Forms carry a token bound to the visit, so that no other site can send them.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

from monitor.settings.schema_page import PASSWORD_FORM, PageSettings, PersonSettings

SCRYPT_N, SCRYPT_R, SCRYPT_P = 2**14, 8, 1  # RFC 7914: 16 MiB, some 0.1 s on a Pi 4
SALT_BYTES, KEY_BYTES, TOKEN_BYTES = 16, 32, 24
LONGEST_PASSWORD = 256
MOST_SESSIONS = 200
MOST_ADDRESSES = 1000
TRIES, TRIES_IN_ALL, WINDOW_S = 6, 40, 300.0

#: A hash nobody has the password of: checked where a name is unknown, so that the answer
#: takes as long as for a known one.
_NOBODY = f"scrypt:{SCRYPT_N}:{SCRYPT_R}:{SCRYPT_P}:{'00' * SALT_BYTES}:{'00' * KEY_BYTES}"


def hash_password(password: str, salt: bytes | None = None) -> str:
    """The line to keep in place of a password: `scrypt:N:R:P:SALT:KEY` (RFC 7914)."""
    salt = secrets.token_bytes(SALT_BYTES) if salt is None else salt
    key = _scrypt(password, salt, SCRYPT_N, SCRYPT_R, SCRYPT_P)
    return f"scrypt:{SCRYPT_N}:{SCRYPT_R}:{SCRYPT_P}:{salt.hex()}:{key.hex()}"


def password_fits(password: str, kept: str) -> bool:
    """Whether a password gives the kept hash; compared in constant time."""
    form = PASSWORD_FORM.fullmatch(kept)
    if form is None or len(password) > LONGEST_PASSWORD:
        return False
    key = _scrypt(
        password, bytes.fromhex(form["salt"]), int(form["n"]), int(form["r"]), int(form["p"])
    )
    return hmac.compare_digest(key.hex(), form["key"])


def _scrypt(password: str, salt: bytes, n: int, r: int, p: int) -> bytes:
    return hashlib.scrypt(
        password.encode("utf-8", "replace"),
        salt=salt,
        n=n,
        r=r,
        p=p,
        maxmem=132 * n * r * p,
        dklen=KEY_BYTES,
    )


def new_link() -> tuple[str, str]:
    """The secret of a new link and the line to keep in its place.

    The secret is random, so a plain hash keeps it as well as a slow one.
    """
    secret = secrets.token_urlsafe(TOKEN_BYTES)
    return secret, hash_link(secret)


def hash_link(secret: str) -> str:
    """The line to keep in place of a link's secret."""
    return f"link:{hashlib.sha256(secret.encode('utf-8', 'replace')).hexdigest()}"


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks: a name (empty for a guest), whether they may look and act, their degrees."""

    name: str = ""
    may_look: bool = False
    may_act: bool = False
    units: str | None = None
    logged_in: bool = False


class Desk:
    """Logs people in and out and says who a visit belongs to. Used by several threads."""

    def __init__(
        self, settings: PageSettings, seconds: Callable[[], float], sitting_here: str
    ) -> None:
        """`seconds` is a steady clock in seconds of life; `sitting_here` the name of whoever
        uses the page where nobody is set up, which is possible on this machine only."""
        self._settings = settings
        self._seconds = seconds
        self._sitting_here = sitting_here
        self._people = {one.name: one for one in settings.people}
        self._links = {one.link.reveal(): one for one in settings.people if one.link}
        self._key = secrets.token_bytes(KEY_BYTES)
        self._sessions: OrderedDict[str, tuple[str, float]] = OrderedDict()
        self._tries: OrderedDict[str, list[float]] = OrderedDict()
        self._lock = threading.Lock()
        self._hashing = threading.Lock()  # one at a time: each takes 16 MiB

    def visitor(self, visit: str, device: str) -> Visitor:
        """Who asks, by the cookies of the visit and of the device."""
        person = self._of_session(visit) or self._of_device(device)
        if person is not None:
            return Visitor(person.name, True, person.may == "act", person.units, True)
        if not self._settings.needs_login:
            return Visitor(self._sitting_here, True, True)
        return Visitor(may_look=self._settings.guests == "look")

    def _of_device(self, secret: str) -> PersonSettings | None:
        return self._links.get(hash_link(secret)) if secret else None

    def _of_session(self, visit: str) -> PersonSettings | None:
        if not visit:
            return None
        key, now_s = _hashed(visit), self._seconds()
        with self._lock:
            name, seen_s = self._sessions.get(key, ("", 0.0))
            if not name:
                return None
            if now_s - seen_s > self._settings.session_s:
                del self._sessions[key]
                return None
            self._sessions[key] = (name, now_s)
            self._sessions.move_to_end(key)
        return self._people.get(name)

    def may_try(self, address: str) -> bool:
        """Count a try to log in; False where an address, or all of them, tried too often."""
        now_s = self._seconds()
        with self._lock:
            tries = [at_s for at_s in self._tries.pop(address, []) if now_s - at_s < WINDOW_S]
            recent = sum(
                now_s - at_s < WINDOW_S for others in self._tries.values() for at_s in others
            )
            allowed = len(tries) < TRIES and recent + len(tries) < TRIES_IN_ALL
            self._tries[address] = [*tries, now_s] if allowed else tries
            while len(self._tries) > MOST_ADDRESSES:
                self._tries.popitem(last=False)
        return allowed

    def log_in(self, name: str, password: str) -> str | None:
        """A new visit that is this person's; None where name and password don't fit."""
        person = self._people.get(name)
        kept = person.password.reveal() if person and person.password else _NOBODY
        with self._hashing:
            fits = password_fits(password, kept)
        if not fits or person is None:
            return None
        visit = new_visit()
        with self._lock:
            self._sessions[_hashed(visit)] = (person.name, self._seconds())
            while len(self._sessions) > MOST_SESSIONS:
                self._sessions.popitem(last=False)
        return visit

    def knows_link(self, secret: str) -> bool:
        """Whether a link's secret is one of ours."""
        return self._of_device(secret) is not None

    def log_out(self, visit: str) -> None:
        """The visit is nobody's any more."""
        with self._lock:
            self._sessions.pop(_hashed(visit), None)

    def form_token(self, visit: str) -> str:
        """A token for the forms of this visit; another text each time, so that compression
        tells nothing of it."""
        salt = secrets.token_hex(8)
        return f"{salt}{self._sealed(salt, visit)}"

    def token_fits(self, token: str, visit: str) -> bool:
        """Whether a form's token was made for this visit by this daemon."""
        salt, seal = token[:16], token[16:]
        good = hmac.compare_digest(seal.encode(), self._sealed(salt, visit).encode())
        return bool(visit) and good

    def _sealed(self, salt: str, visit: str) -> str:
        return hmac.new(self._key, f"{salt}:{visit}".encode(), "sha256").hexdigest()


def new_visit() -> str:
    """The random name of a visit."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def _hashed(visit: str) -> str:
    return hashlib.sha256(visit.encode("utf-8", "replace")).hexdigest()
