"""Running the scripts that make and change the tables. Alembic loads only when one must run."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy.engine import Connection

SCRIPTS = Path(__file__).parent / "migrations"


def upgrade(connection: Connection, scripts: Path = SCRIPTS, release: str = "head") -> None:
    """Bring the tables up to a release, inside the transaction of the connection."""
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415

    config = Config()
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, release)


def is_known(release: str, scripts: Path = SCRIPTS) -> bool:
    """Whether a release is one of ours."""
    from alembic.script import ScriptDirectory  # noqa: PLC0415

    return release in {one.revision for one in ScriptDirectory(str(scripts)).walk_revisions()}
