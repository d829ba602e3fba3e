"""Files beside a scenario that say more of its season: certificates, and what was learnt before."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from tierpole.compliance.certificate import as_test
from tierpole.errors import Fault, InputError, StoreError
from tierpole.farm import Test
from tierpole.potency.learn import Learnt
from tierpole.scenario.model import Files
from tierpole.sources import read_certificates, read_learnt

Found = TypeVar("Found")


@dataclass(frozen=True)
class Beside:
    """What the files beside a scenario hold; `origins` says where each test stands."""

    tests: tuple[Test, ...] = ()
    origins: tuple[str, ...] = ()
    learnt: tuple[Learnt, ...] = ()


def read_beside(files: Files, scenario: Path) -> tuple[Beside, list[Fault]]:
    """Everything the named files hold, and every fault found in them."""
    faults: list[Fault] = []
    certificates = _all("certificates", files.certificates, scenario, read_certificates, faults)
    learnt = _all("learnt", files.learnt, scenario, read_learnt, faults)
    placed = [
        (f"{name}, certificate {number}", as_test(each))
        for name, file in certificates
        for number, each in enumerate(file, start=1)
    ]
    origins, tests = zip(*placed, strict=True) if placed else ((), ())
    return Beside(tests, origins, tuple(each for _, each in learnt)), faults


def _all(
    field: str,
    names: Iterable[str],
    scenario: Path,
    read: Callable[[Path], Found],
    faults: list[Fault],
) -> list[tuple[str, Found]]:
    """What each file holds, by its name; one that does not open is the scenario's own fault."""
    found: list[tuple[str, Found]] = []
    for number, name in enumerate(names, start=1):
        try:
            found.append((name, read(scenario.parent / name)))
        except InputError as error:
            faults += [replace(one, place=f"{error.file}, {one.place}") for one in error.faults]
        except StoreError as error:
            why = str(error).rpartition("(")[2].rstrip(").").lower()
            allowed = f"a file beside the scenario that opens ({why})"
            faults.append(Fault("files", f"{field}[{number}]", name, allowed))
    return found
