"""Lines of log as JSON, one object each: `time`, `level`, `logger`, `message`, `request_id`, and what a caller adds."""

import json
import logging
from datetime import UTC, datetime

from django.http import HttpRequest

from pinpool.http.request_ids import current, told_path

#: What every record of Python's logging has; anything else was added by whoever logs.
_USUAL = logging.LogRecord("", 0, "", 0, "", None, None).__dict__.keys() | {"message", "asctime", "taskName"}
#: That, and what Django adds that is no plain value.
_LEFT_OUT = _USUAL | {"request", "server_time"}


class Briefly(logging.Filter):
    """Makes a warning of one short line: for what anybody can bring about, and is no fault of the service."""

    def filter(self, record: logging.LogRecord) -> bool:
        record.levelno, record.levelname = logging.WARNING, "WARNING"
        record.msg, record.args, record.exc_info = record.getMessage()[:200], None, None
        return True


class JSONLines(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        line = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
        }
        if isinstance(request := getattr(record, "request", None), HttpRequest):  # Django's lines tell the whole path
            line["message"] = record.getMessage().replace(request.path, told_path(request))
        if request_id := current():
            line["request_id"] = request_id
        line |= {key: value for key, value in record.__dict__.items() if key not in _LEFT_OUT}
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(line, default=str, ensure_ascii=False)
