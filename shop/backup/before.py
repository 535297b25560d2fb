"""What is looked at before anything is written: each refusal leaves all as it was."""

import os
from pathlib import Path

from django.db import DatabaseError, connections
from django.db.migrations.executor import MigrationExecutor

from shop.backup.contents import relations
from shop.backup.errors import BackupError
from shop.backup.manifest import Manifest
from shop.backup.tools import server_major

#: The same on two connections where both lead to one database of one server.
_WHERE = "SELECT current_database(), pg_postmaster_start_time()"
_MAY_MAKE = "SELECT current_user, current_database(), coalesce(has_schema_privilege(current_schema(), 'CREATE'), false)"


def refuse_existing(target: Path) -> None:
    if os.path.lexists(target):
        raise BackupError(f"{target} is there already and was left as it is. Name a file that is not.")


def refuse_newer(source: Path, manifest: Manifest) -> None:
    owner = connections["owner"]
    major = server_major(owner)
    if manifest.server > major:
        raise BackupError(
            f"{source} comes from PostgreSQL {manifest.server}, and this server is {major}, which does not read it. "
            f"Nothing was changed. Restore on PostgreSQL {manifest.server} or later."
        )
    known = {f"{app}.{name}" for app, name in MigrationExecutor(owner).loader.disk_migrations}
    if unknown := [name for name in manifest.migrations if name not in known]:
        raise BackupError(
            f"{source} was written by a newer release: this one does not know {', '.join(unknown[:3])}. Nothing was "
            "changed. Install the release that wrote it, or a later one."
        )


def refuse_elsewhere() -> None:
    """The application comes into the database that the owner fills: in a bad night an address is soon mistaken."""
    with connections["owner"].cursor() as cursor:
        cursor.execute(_WHERE)
        filled = cursor.fetchone()
    try:
        with connections["default"].cursor() as cursor:
            cursor.execute(_WHERE)
            used = cursor.fetchone()
    except DatabaseError as error:
        raise BackupError(
            f"The address of the application leads nowhere: {str(error).strip()} Nothing was changed. Make its role "
            "and let it in, or mend DATABASE_URL."
        ) from error
    if used != filled:
        raise BackupError(
            f"DATABASE_OWNER_URL leads to the database {filled[0]} and DATABASE_URL to another one, {used[0]}. Nothing "
            "was changed. Both have to name the one to restore into."
        )


def refuse_unfit() -> None:
    """The database is empty, and the owner may make tables in it."""
    owner = connections["owner"]
    if found := relations(owner):
        raise BackupError(
            f"The database is not empty: it holds {', '.join(found)} and perhaps more. Nothing was changed. Restore "
            "into an empty one: set PLATES_DATA_DIR to a new directory, or DATABASE_URL and DATABASE_OWNER_URL to a "
            "new database, and do not migrate it. To prove the file beside this shop run manage.py restore_drill."
        )
    with owner.cursor() as cursor:
        cursor.execute(_MAY_MAKE)
        role, name, may = cursor.fetchone()
    if not may:
        raise BackupError(
            f"{role} may not make tables in the database {name}. Nothing was changed. Let it own the database (ALTER "
            f"DATABASE {name} OWNER TO {role}), or name the role that does in DATABASE_OWNER_URL."
        )
