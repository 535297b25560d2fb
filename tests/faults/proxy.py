"""A line that fails: it drops answers, delays them, cuts requests and answers in half, by a seeded chance."""

import random
import socket
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager

#: What becomes of a request, and how often in ten.
FAULTS = {"well": 4, "answer dropped": 2, "answer cut": 1, "request cut": 2, "delayed": 1}
DELAY = 0.3
PATIENCE = 30.0


class Line:
    """Listens on a port of its own on loopback and passes each connection's one request on, or fails to."""

    def __init__(self, to_port: int, seed: int) -> None:
        self.to_port, self.chance, self.happened = to_port, random.Random(seed), Counter[str]()
        self.listening = socket.create_server(("127.0.0.1", 0))
        self.port: int = self.listening.getsockname()[1]

    def listen(self) -> None:
        while True:
            try:
                near, _ = self.listening.accept()
            except OSError:  # closed: the line is taken down
                return
            (fault,) = self.chance.choices(list(FAULTS), list(FAULTS.values()))
            self.happened[fault] += 1
            threading.Thread(target=self.carry, args=(near, fault)).start()

    def carry(self, near: socket.socket, fault: str) -> None:
        with near, socket.create_connection(("127.0.0.1", self.to_port), PATIENCE) as far:
            near.settimeout(PATIENCE)
            request = _request(near)
            if fault == "request cut":
                far.sendall(request[: len(request) // 2])
                return
            far.sendall(request)
            answer = _until_closed(far)  # it is committed by now
            if fault == "answer dropped":
                return
            if fault == "delayed":
                time.sleep(DELAY)
            near.sendall(answer[: len(answer) // 2] if fault == "answer cut" else answer)


def _request(near: socket.socket) -> bytes:
    """One whole request; after it the service is asked to close."""
    text = b""
    while b"\r\n\r\n" not in text and (part := near.recv(65536)):
        text += part
    head, _, body = text.partition(b"\r\n\r\n")
    lengths = [line.split(b":")[1] for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:")]
    while len(body) < int(lengths[0]) and (part := near.recv(65536)):
        body += part
    return head + b"\r\nConnection: close\r\n\r\n" + body


def _until_closed(far: socket.socket) -> bytes:
    text = b""
    while part := far.recv(65536):
        text += part
    return text


@contextmanager
def failing_line(to_port: int, seed: int) -> Iterator[Line]:
    line = Line(to_port, seed)
    listener = threading.Thread(target=line.listen)
    listener.start()
    try:
        yield line
    finally:
        line.listening.shutdown(socket.SHUT_RDWR)  # wakes the listener
        line.listening.close()
        listener.join()
