"""The service, but a request with X-Stall is stopped after its answer is made and before it is given."""

import os
import time
from pathlib import Path

from shop.wsgi import application as inner


def application(environ, start_response):
    answer = [b"".join(inner(environ, start_response))]
    if "HTTP_X_STALL" in environ:
        mark = Path(os.environ["STALL_FILE"])
        mark.with_suffix(".part").write_text(str(os.getpid()))
        mark.with_suffix(".part").rename(mark)
        time.sleep(60)  # the test ends this process long before
    return answer
