"""The log as lines of JSON. Read before the models are there, since logging is set up first."""

import json
import logging
import traceback
from collections.abc import Iterator
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

#: The id of the request that is being answered.
request_id: ContextVar[str | None] = ContextVar("request id", default=None)


class JsonLine(logging.Formatter):
    """A record as one line of JSON, with the id of the request that it belongs to."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
            "request": request_id.get(),
            **getattr(record, "said", {}),
        }
        if record.exc_info and record.exc_info[1]:
            line["exceptions"] = [*_told(record.exc_info[1])]
        return json.dumps(line)


def _told(error: BaseException | None) -> Iterator[dict[str, Any]]:
    """The error and what led to it: its class, the first line of what it says, and where it arose.

    PostgreSQL's further lines quote whole rows.
    """
    while error is not None:
        frames = traceback.extract_tb(error.__traceback__)
        yield {
            "class": type(error).__qualname__,
            "says": str(error).partition("\n")[0][:300],
            "at": [f"{frame.filename}:{frame.lineno} {frame.name}" for frame in frames],
        }
        error = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
