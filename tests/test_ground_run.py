"""`./run`: what makes it set up, what it leaves alone, and what it says when it cannot."""

import ast
import importlib.util
import subprocess
import sys
from importlib.machinery import SourceFileLoader
from pathlib import Path

import pytest

RUN = Path(__file__).parent.parent / "run"


class KilledError(Exception):
    """Stands for a set-up that ends half-way."""


@pytest.fixture
def script(tmp_path, monkeypatch):
    """The script, on an empty folder, with everything slow replaced by a note of what was asked."""
    loader = SourceFileLoader("run_script", str(RUN))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    module = importlib.util.module_from_spec(importlib.util.spec_from_loader("run_script", loader))
    loader.exec_module(module)
    for kind in ("run", "test", "setup"):
        (tmp_path / f"requirements-{kind}.lock").write_text(f"{kind}==1\n")
    for name, path in {"ROOT": "", "VENV": ".venv", "STAMP": ".venv/stamp"}.items():
        monkeypatch.setattr(module, name, tmp_path / path)
    monkeypatch.setattr(module, "PYTHON", tmp_path / ".venv" / "python")
    module.asked = []

    def make_environment():
        module.asked.append("environment")
        module.VENV.mkdir(exist_ok=True)
        module.PYTHON.touch()

    monkeypatch.setattr(module, "make_environment", make_environment)
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: object())  # pip is there
    monkeypatch.setattr(module, "install", lambda lock: module.asked.append(lock.stem))
    monkeypatch.setattr(module, "call", lambda command, must=True: True)
    return module


def asked(script, kind):
    """What setting up a kind asks for now."""
    script.asked.clear()
    script.set_up(kind)
    return script.asked


def kill(script, monkeypatch, kind):
    """Begin to set up a kind and die while installing."""

    def killed(lock):
        raise KilledError

    with monkeypatch.context() as patch:
        patch.setattr(script, "install", killed)
        with pytest.raises(KilledError):
            script.set_up(kind)


def test_set_up_is_made_once(script):
    """A stamp that matches means there is nothing to do."""
    assert asked(script, "run") == ["environment", "requirements-run"]
    assert asked(script, "run") == []


def test_tests_are_added_to_what_stands(script):
    """The tests need more than a farm does, and what serves them serves the farm."""
    asked(script, "run")
    assert asked(script, "test") == ["requirements-test"]
    assert asked(script, "test") == []
    assert asked(script, "run") == []


@pytest.mark.parametrize("kind", ["run", "test"])
def test_killed_half_way_is_made_again(script, monkeypatch, kind):
    """Whatever stood before, a set-up that did not end leaves no stamp."""
    asked(script, "run")
    (script.ROOT / "requirements-run.lock").write_text("run==2\n")

    kill(script, monkeypatch, kind)
    assert asked(script, kind) == ["environment", f"requirements-{kind}"]


def test_killed_while_adding_the_tests_is_made_again(script, monkeypatch):
    """The stamp of the smaller set-up is gone before the larger one begins."""
    asked(script, "run")
    kill(script, monkeypatch, "test")
    assert asked(script, "run") == ["environment", "requirements-run"]


def test_a_changed_lock_python_or_place_is_noticed(script, monkeypatch):
    """The key holds the lock, the Python and the checkout's path, since .venv depends on each."""
    keys = [script.key("run")]
    (script.ROOT / "requirements-run.lock").write_text("run==2\n")
    keys.append(script.key("run"))
    monkeypatch.setattr(sys, "version", "3.99.0 (another build)")
    keys.append(script.key("run"))
    moved = script.ROOT.with_name("moved here")
    script.ROOT.rename(moved)
    monkeypatch.setattr(script, "ROOT", moved)
    keys.append(script.key("run"))
    assert len(set(keys)) == 4
    assert keys[-1] == script.key("run")


def test_a_lost_python_is_noticed(script):
    """An upgrade of the system may take away the Python that .venv points to."""
    asked(script, "run")
    script.PYTHON.unlink()
    assert asked(script, "run") == ["environment", "requirements-run"]


def test_missing_pip_is_said_before_anything_is_made(script, monkeypatch):
    """Debian keeps pip in a package apart, so the message names it."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(SystemExit) as leaving:
        script.set_up("run")
    assert str(leaving.value) == (
        f"run: {sys.executable} has no pip. On Debian or Ubuntu: apt install python3-pip"
    )
    assert not script.VENV.exists()


def test_the_callers_python_settings_do_not_reach_ours(script, monkeypatch):
    """A PYTHONPATH or a pip target of the caller's would mix another farm's packages with ours."""
    for name in ("PYTHONPATH", "PYTHONHOME", "PIP_TARGET"):
        monkeypatch.setenv(name, "/elsewhere")
    monkeypatch.setenv("TZ", "America/New_York")
    environment = script.environment()
    assert not {"PYTHONPATH", "PYTHONHOME", "PIP_TARGET"} & environment.keys()
    assert environment["TZ"] == "America/New_York"
    assert Path(environment["NUMBA_CACHE_DIR"]).parent.name == ".venv"


def test_an_old_python_is_told_so_in_plain_words():
    """The check stands before anything that an older Python could stumble over."""
    pretend = (
        "import runpy, sys; sys.version_info = (3, 9); sys.version = '3.9.2 (main)';"
        f"runpy.run_path({str(RUN)!r}, run_name='__main__')"
    )
    ended = subprocess.run([sys.executable, "-c", pretend], capture_output=True, text=True)
    assert ended.returncode == 1
    assert ended.stderr == (
        f"Tierpole needs Python 3.11 or newer, not 3.9.2, {sys.executable}.\n"
        "Install a newer Python, then name it: python3.12 run demo\n"
    )


def test_it_reads_under_old_pythons_and_needs_only_the_standard_library():
    """It must be understood by a Python 3.6 to tell its user that 3.6 will not do."""
    tree = ast.parse(RUN.read_text(encoding="utf-8"), feature_version=(3, 6))
    names = {
        name.name.partition(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, ast.Import)
        for name in node.names
    } | {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert names <= set(sys.stdlib_module_names)
    assert RUN.stat().st_mode & 0o111
