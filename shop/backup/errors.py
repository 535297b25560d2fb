"""What a backup or a restore is refused with."""


class BackupError(Exception):
    """It is not done, or not proved; the text says why and what to do."""
