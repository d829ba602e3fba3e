"""The office of a farm's books: it plans again when what a plan is made from has changed."""

from __future__ import annotations

import threading
import time
from collections.abc import MutableMapping
from dataclasses import replace
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from tierpole.errors import InputError, StoreError
from tierpole.office.changes import news_between, what_changed
from tierpole.office.entry import Desk
from tierpole.office.filed import dated_in, filed_in
from tierpole.office.kept import (
    Kept,
    document_of,
    keep,
    kept_before,
    kept_plan,
    kept_plans,
    mark_last,
)
from tierpole.office.ledger import Ledger
from tierpole.office.office import Office, Settings
from tierpole.office.people import people_of
from tierpole.office.sources import season_of
from tierpole.records import Store, is_as_read, read_season, seal, season_hash

if TYPE_CHECKING:
    from tierpole.documents import Filed
    from tierpole.farm.books import KeptPlan
    from tierpole.season import Season

PAUSE = 0.5  # seconds without an entry after which it plans again
LONGEST = 15.0  # seconds it waits for such a lull
EVERY = 60.0  # seconds after which it looks by itself: at midnight, and for other programs' entries


class FarmOffice(Office):
    """A farm at work on its books. `look` says that something was entered; planning follows."""

    def __init__(
        self,
        store: Store,
        settings: Settings | None = None,
        on: date | None = None,
        tables: MutableMapping[str, Any] | None = None,
    ):
        self.store = store
        self._on = on
        self._entries = 0
        super().__init__(self._season_to_begin_with(), settings, tables)
        self.desk = Desk(store, self.look)
        self.ledger = Ledger(store, self.desk)
        self.people = people_of(store)
        self._looked_at = ""
        self._read: tuple[int, date] | None = None  # the last entry and the day of the last look
        self._call = threading.Event()
        self._compared = lru_cache(maxsize=32)(self._compare)

    def start(self) -> None:
        """Plan in the background, and again whenever what matters has changed."""
        self._thread = threading.Thread(target=self._keep_planning, daemon=True, name="office")
        self._thread.start()

    def stop(self) -> None:
        """Ask the background work to stop and wait for it."""
        self._stop.set()
        self._call.set()
        super().stop()

    def look(self) -> None:
        """Something was entered: look whether the plan still stands on what is known."""
        self._call.set()

    @property
    def mark(self) -> str:
        """The mark of the plan kept last; empty while there is none."""
        return mark_last(self.store)

    def changes_since(self, seen: str) -> tuple[str, ...]:
        """What the plan does otherwise than the one a reader saw (else the one before it)."""
        return self._compared(seen, self.mark)

    def _compare(self, seen: str, mark: str) -> tuple[str, ...]:
        after = kept_plan(self.store, mark)
        before = kept_plan(self.store, seen) if seen else kept_before(self.store, mark)
        if after is None or before is None or before.mark == after.mark:
            return ()
        entered = news_between(self.store, before.document, after.document)
        return what_changed(before.document, after.document, entered)

    def filed(self, is_proven: bool = False) -> Filed:
        """Licences, custody, bags and the rest, and the proof that nothing was altered."""
        return filed_in(self.store, self.season.year, self.season.on, is_proven)

    def dated(self) -> Filed:
        """Licences, approvals and money due: what days to keep follow from."""
        return dated_in(self.store, self.season.year, self.season.on)

    # --- planning again ---------------------------------------------------------------------------

    def _season_to_begin_with(self) -> Season:
        """Books that contradict themselves must open all the same, else nobody could mend them."""
        try:
            return season_of(self.store, self._on)
        except InputError:
            return read_season(self.store, self._on)

    def _now(self) -> tuple[int, Season]:
        """How long the journal is, and the season by it."""
        with self.store.reading():
            return seal(self.store).seq, season_of(self.store, self._on)

    def _keep_planning(self) -> None:
        while not self._stop.is_set():
            self._call.clear()
            self._quietly(self._look)
            if self._call.wait(EVERY):
                self._wait_for_a_lull()

    def _wait_for_a_lull(self) -> None:
        """Let whoever is entering finish: a row of entries makes one new plan."""
        until = time.monotonic() + LONGEST
        while time.monotonic() < until and not self._stop.is_set():
            self._call.clear()
            if not self._call.wait(PAUSE):
                return

    def _look(self) -> None:
        """Plan again if what a plan is made from is not what it was."""
        today = date.today()  # noqa: DTZ011 - farm-local
        if not self._is_as_read(today):
            self._entries, season = self._now()
            self._plan_again(season, season_hash(season))
            self._read = self._entries, today
        if self._status.state == "failed" and self.plan is not None:
            self._status = replace(self._status, state="ready", message="")

    def _is_as_read(self, today: date) -> bool:
        """Whether to read the season once more would find it as it was: long books take seconds."""
        if self._read is None:
            return False
        entries, day = self._read
        return day == today and is_as_read(self.store, entries)

    def _plan_again(self, season: Season, inputs: str) -> None:
        if inputs == self._looked_at:
            return
        if self.plan is not None:
            self._status = replace(self._status, state="stale", message="")
        made = self._worked(season, self._reporter(None))
        self._looked_at = inputs
        self._keep(made)
        self._note(season)

    def _note(self, season: Season) -> None:
        """Keep the plan in the books; where they cannot be written, it is still shown."""
        if self.outlook is None or self.plan is None:
            return
        try:
            keep(self.store, season, document_of(season, self.outlook, self.plan, self._entries))
        except StoreError as error:
            self._status = replace(self._status, message=f"The plan was not kept: {error}")

    # --- plans as they were -----------------------------------------------------------------------

    def kept(self, mark: str) -> Kept | None:
        """A plan as it was made, by its mark."""
        return kept_plan(self.store, mark)

    def kept_plans(self) -> list[KeptPlan]:
        """Every plan kept this season, newest first."""
        return kept_plans(self.store, self.season.year)
