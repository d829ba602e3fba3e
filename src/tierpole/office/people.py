"""Who may come in: the owner's passphrase, phones, links for guests, calendars and programs.

All of it stands in one small file beside the books (for a database, in the user's own folder), read
by its owner only. Of every secret it holds a hash alone; the books themselves hold none, so that a
backup or a package can be handed on.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Literal

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError
from pydantic import BaseModel, ConfigDict, ValidationError

from tierpole.errors import Fault, InputError, StoreError
from tierpole.records import Store

SHORTEST = 12  # signs of a passphrase
LASTS = timedelta(days=60)  # a device that was not seen for so long is paired anew
CODE_LASTS = timedelta(minutes=10)
GUEST_LASTS = timedelta(days=14)
Scope = Literal["read", "write"]
SIGNS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # none that is taken for another
LANGUAGES = ("en", "es")


class Role(StrEnum):
    """What somebody is to the farm."""

    OWNER = "owner"
    CREW = "crew"
    GUEST = "guest"
    READER = "program that reads"
    WRITER = "program that reads and enters"
    NOBODY = "nobody"


@dataclass(frozen=True)
class Person:
    """Who asks: a name for the books, a role, a language; of a guest, the one lot to be seen."""

    name: str
    role: Role
    language: str = "en"
    lot: str = ""


NOBODY = Person("", Role.NOBODY)
LOCAL = Person("owner", Role.OWNER)  # who sits at this computer, while nobody else can come in


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Device(_Model):
    """A browser that was let in: the hash of its token, whose it is."""

    token: str
    name: str
    role: Role
    language: str
    seen_at: datetime


class Guest(_Model):
    """A link to one lot."""

    token: str
    name: str
    lot: str
    until: datetime


class Feed(_Model):
    """A secret address of the calendar, for programs that cannot sign in."""

    token: str
    name: str


class ApiToken(_Model):
    """A program that may read, or read and enter."""

    token: str
    name: str
    scope: Scope


class _File(_Model):
    key: str
    passphrase: str = ""
    devices: list[Device] = []
    guests: list[Guest] = []
    feeds: list[Feed] = []
    tokens: list[ApiToken] = []


@dataclass(frozen=True)
class _Code:
    person: Person
    until: datetime


class People:
    """Everybody who may come in. Safe to be asked from several threads."""

    def __init__(self, path: Path, now: Callable[[], datetime] = lambda: datetime.now(UTC)):
        self.path = path
        self._now = now
        self._lock = threading.RLock()
        self._codes: dict[str, _Code] = {}
        self._file = self._read()
        if not path.exists():
            self._write()  # forms that stay open must hold after the program was started anew

    # --- the owner --------------------------------------------------------------------------------

    @property
    def has_passphrase(self) -> bool:
        """Whether the owner has set a passphrase; without it nobody else is let in."""
        return bool(self._file.passphrase)

    def set_passphrase(self, passphrase: str) -> None:
        """Set the owner's passphrase; everybody signed in by an older one must sign in again."""
        if len(passphrase) < SHORTEST:
            allowed = f"{SHORTEST} signs or more, such as four words"
            raise InputError("passphrase", [Fault("passphrase", "", "fewer", allowed)])
        with self._lock:
            self._file.passphrase = PasswordHasher().hash(passphrase)
            self._file.devices = [one for one in self._file.devices if one.role != Role.OWNER]
            self._write()

    def sign_in(self, passphrase: str, language: str = "en") -> str | None:
        """A token for the owner's browser; None when the passphrase is another."""
        try:
            PasswordHasher().verify(self._file.passphrase, passphrase)
        except (Argon2Error, InvalidHashError):
            return None
        return self._let_in(replace(LOCAL, language=language))

    # --- phones -----------------------------------------------------------------------------------

    def new_code(self, name: str, role: Role, language: str) -> str:
        """A code that pairs one phone with a person, once and soon."""
        with self._lock:
            code = "".join(secrets.choice(SIGNS) for _ in range(8))
            self._codes[code] = _Code(Person(name, role, language), self._now() + CODE_LASTS)
        return code

    def pair(self, code: str) -> str | None:
        """A token for the phone that knows a code; None when the code is not, or not any more."""
        with self._lock:
            given = self._codes.pop("".join(code.upper().split()).replace("-", ""), None)
            if given is None or given.until < self._now():
                return None
            return self._let_in(given.person)

    def _let_in(self, person: Person) -> str:
        token = secrets.token_urlsafe(32)
        with self._lock:
            self._file.devices.append(
                Device(
                    token=_hash(token), name=person.name, role=person.role,
                    language=person.language, seen_at=self._now(),
                )
            )  # fmt: skip
            self._write()
        return token

    def devices(self) -> list[Device]:
        """Every browser that may come in."""
        return [one for one in self._file.devices if one.seen_at + LASTS > self._now()]

    def send_away(self, token_hash: str) -> None:
        """Let a browser, a link, a calendar or a program in no more, by the hash of its token."""
        with self._lock:
            file = self._file
            file.devices = [one for one in file.devices if one.token != token_hash]
            file.guests = [one for one in file.guests if one.token != token_hash]
            file.feeds = [one for one in file.feeds if one.token != token_hash]
            file.tokens = [one for one in file.tokens if one.token != token_hash]
            self._write()

    def speak(self, token: str, language: str) -> None:
        """Choose the language of a browser."""
        with self._lock:
            for one in self._file.devices:
                if one.token == _hash(token) and language in LANGUAGES:
                    one.language = language
            self._write()

    # --- guests, calendars and programs -----------------------------------------------------------

    def new_guest(self, name: str, lot: str) -> str:
        """A token for a link that shows one lot, and nothing else, for two weeks."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            until = self._now() + GUEST_LASTS
            guest = Guest(token=_hash(token), name=name, lot=lot, until=until)
            self._file.guests.append(guest)
            self._write()
        return token

    def guests(self) -> list[Guest]:
        """The links that still lead somewhere."""
        return [one for one in self._file.guests if one.until > self._now()]

    def new_feed(self, name: str) -> str:
        """A token for an address of the calendar, good until it is sent away."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            self._file.feeds.append(Feed(token=_hash(token), name=name))
            self._write()
        return token

    def feeds(self) -> list[Feed]:
        """The calendars that may be read without signing in."""
        return list(self._file.feeds)

    def new_api_token(self, name: str, scope: Scope) -> str:
        """A token for a program, to read, or to read and enter."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            self._file.tokens.append(ApiToken(token=_hash(token), name=name, scope=scope))
            self._write()
        return token

    def api_tokens(self) -> list[ApiToken]:
        """The programs that may come in."""
        return list(self._file.tokens)

    # --- who is it --------------------------------------------------------------------------------

    def of_device(self, token: str) -> Person:
        """Whose browser holds a token."""
        found = next((one for one in self.devices() if one.token == _hash(token)), None)
        if found is None or not token:
            return NOBODY
        if self._now() - found.seen_at > timedelta(days=1):
            with self._lock:
                found.seen_at = self._now()
                self._write()
        return Person(found.name, found.role, found.language)

    def of_guest(self, token: str) -> Person:
        """Who holds a link's token."""
        found = next((one for one in self.guests() if one.token == _hash(token)), None)
        return Person(found.name, Role.GUEST, lot=found.lot) if found and token else NOBODY

    def is_feed(self, token: str) -> bool:
        """Whether a token is one of a calendar."""
        return any(one.token == _hash(token) for one in self.feeds())

    def of_program(self, token: str) -> Person:
        """Which program holds a token, and what it may do."""
        self._refresh()
        found = next((one for one in self.api_tokens() if one.token == _hash(token)), None)
        if found is None or not token:
            return NOBODY
        return Person(found.name, Role.WRITER if found.scope == "write" else Role.READER)

    def form_token(self, visit: str) -> str:
        """What a form must carry to come from a page that was shown to this browser."""
        return hmac.new(self._file.key.encode(), visit.encode(), hashlib.sha256).hexdigest()

    # --- the file ---------------------------------------------------------------------------------

    def _refresh(self) -> None:
        """See what a command wrote into the file since."""
        with self._lock:
            self._file = self._read()

    def _read(self) -> _File:
        try:
            return _File.model_validate_json(self.path.read_bytes())
        except FileNotFoundError:
            return _File(key=secrets.token_hex(32))
        except (OSError, ValidationError) as error:
            why = getattr(error, "strerror", None) or "it was changed by hand"
            raise StoreError(
                f"{self.path}: who may come in cannot be read ({why}). Mend it, or take it away "
                "and pair the phones again."
            ) from None

    def _write(self) -> None:
        """Write the file whole, for its owner's eyes only."""
        part = self.path.with_name(f".{self.path.name}.{os.getpid()}.part")
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(self._file.model_dump_json(indent=1))
                file.flush()
                os.fsync(file.fileno())
            part.replace(self.path)
        except OSError as error:
            part.unlink(missing_ok=True)
            raise StoreError(f"{self.path}: cannot be written ({error.strerror}).") from None


def people_of(store: Store) -> People:
    """The people of a farm's books."""
    if store.path is not None:
        return People(store.path.with_name(f"{store.path.name}.people"))
    home = Path(os.environ.get("XDG_CONFIG_HOME") or "~/.config").expanduser()
    where = hashlib.sha256(store.url.render_as_string().encode()).hexdigest()[:16]
    return People(home / "tierpole" / f"{where}.people")


def _hash(token: str) -> str:
    """Tokens are long and random, so that a plain hash of them tells nothing."""
    return hashlib.sha256(token.encode()).hexdigest()


class Limit:
    """So many tries in so many seconds, for each who tries."""

    def __init__(self, tries: int, seconds: float, clock: Callable[[], float]):
        self.tries, self.seconds, self._clock = tries, seconds, clock
        self._seen: dict[str, deque[float]] = {}
        self._lock = threading.Lock()

    def allows(self, who: str) -> bool:
        """Count a try; false when there were too many."""
        now = self._clock()
        with self._lock:
            if len(self._seen) > 10_000:
                self._seen.clear()
            tries = self._seen.setdefault(who, deque())
            while tries and tries[0] <= now - self.seconds:
                tries.popleft()
            if len(tries) >= self.tries:
                return False
            tries.append(now)
            return True
