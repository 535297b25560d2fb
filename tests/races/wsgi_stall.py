"""The service, but a request with X-Stall is stopped after its answer is made and before it is given."""

import os
import threading
from pathlib import Path

from shop.wsgi import application as inner


def application(environ, start_response):
    answer = [b"".join(inner(environ, start_response))]
    if "HTTP_X_STALL" in environ:
        mark = Path(os.environ["STALL_FILE"])
        mark.with_suffix(".part").write_text(str(os.getpid()))
        mark.with_suffix(".part").rename(mark)
        threading.Event().wait()  # the test ends this process
    return answer
