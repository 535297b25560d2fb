"""The whole database to one file and back, verified.

A backup is an archive of pg_dump in its custom format with one line behind it: what the archive must hold, taken in
the same snapshot, and the checksum of its bytes. So pg_restore reads the file as it is, and a restore is proved by
counting again.
"""

from .acts import Proof, backup_drill, backup_make, backup_restore
from .errors import BackupError

__all__ = ["BackupError", "Proof", "backup_drill", "backup_make", "backup_restore"]
