"""What a call costs the service in processor time, by layers, and beside another checkout of it.

By hand: python -m tests.benchmarks.processor [--beside CHECKOUT] [--rounds 12] [--each 10] [--profile ACT]

Every call goes the whole way but the wire, from the WSGI environment to the bytes of the answer. What counts is the
time of its thread on a processor, so other work on the machine hardly changes it, and waits for the database and its
disk are left out. The checkouts take turns, each in a process of its own with a like shop in a database of its own: 250
plates of each of 40 fits, every round so many calls of each act. *Layers* come from further rounds with a stopwatch at
each border, so their sum is more than the figures beside them; each is told without the layers within it.
"""

import argparse
import cProfile
import json
import os
import pstats
import statistics
import subprocess
import sys
import time
import uuid
from collections import defaultdict
from collections.abc import Sequence
from contextlib import ExitStack
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    from tests.benchmarks.stopwatch import Stopwatch

ROOT = Path(__file__).resolve().parents[2]
FITS, PLATES_EACH = 40, 250
WARM_ROUNDS = 2
ACTS = (
    "scan in", "ask", "take", "final", "ask and take", "read match", "read shelf", "page: close a pack", "page: match",
)  # fmt: skip


class Call(NamedTuple):
    """What one call cost: processor time of its thread, statements sent, bytes of the answer."""

    ms: float
    statements: int
    size: int


class Counter:
    """The service within this process, on the shop that was made for it."""

    def __init__(self) -> None:
        from django.core.wsgi import get_wsgi_application
        from django.test import Client

        from shop.people.models import Token
        from tests.benchmarks.load import questions
        from tests.benchmarks.scale import shop_of

        owner = shop_of(FITS * PLATES_EACH, FITS, packs=FITS, bins=True)
        self.app, self.token = get_wsgi_application(), Token.make(owner)
        client = Client()
        client.force_login(owner)
        self.cookie = "; ".join(f"{one.key}={one.value}" for one in client.cookies.values())
        self.questions, self.turn = questions(), 0
        self.calls: dict[str, list[Call]] = {act: [] for act in ACTS}
        self.watch: Stopwatch | None = None  # its module is not there in an older checkout
        self.layers: dict[str, dict[str, float]] = {}
        self.profile: tuple[str, cProfile.Profile] | None = None

    def send(self, act: str, method: str, path: str, body: Any = None) -> Any:
        """The answer; its cost is kept under the act."""
        from django.db import connection

        data = b"" if body is None else json.dumps(body).encode()
        environ = {
            "REQUEST_METHOD": method, "PATH_INFO": path.partition("?")[0], "QUERY_STRING": path.partition("?")[2],
            "SERVER_NAME": "localhost", "SERVER_PORT": "80", "HTTP_HOST": "localhost", "REMOTE_ADDR": "127.0.0.1",
            "wsgi.url_scheme": "http", "wsgi.input": BytesIO(data), "wsgi.errors": sys.stderr,
        }  # fmt: skip
        if path.startswith("/api/"):
            environ["HTTP_AUTHORIZATION"] = f"Token {self.token}"
        else:
            environ["HTTP_COOKIE"] = self.cookie
        if body is not None:
            environ |= {"CONTENT_TYPE": "application/json", "CONTENT_LENGTH": str(len(data))}
            environ["HTTP_IDEMPOTENCY_KEY"] = str(uuid.uuid4())
        statuses: list[str] = []
        sent: list[object] = []

        def counted(execute: Any, *rest: Any) -> Any:
            sent.append(None)
            return execute(*rest)

        profiled = self.profile[1] if self.profile and self.profile[0] == act else None
        with ExitStack() as stack:
            if self.watch:
                self.watch.spent = defaultdict(float, self.layers.get(act, {}))
                stack.enter_context(self.watch.layer("framework"))
            else:
                stack.enter_context(connection.execute_wrapper(counted))
            if profiled:
                profiled.enable()
            begin = time.thread_time_ns()
            reply: Any = self.app(environ, lambda status, *_: statuses.append(status))  # type: ignore[arg-type, misc]
            content = b"".join(reply)
            reply.close()
            ms = 1e-6 * (time.thread_time_ns() - begin)
            if profiled:
                profiled.disable()
        if self.watch:
            self.layers[act] = dict(self.watch.spent)
        assert statuses[0][0] == "2", (act, statuses, content[:500])
        self.calls[act].append(Call(ms, len(sent), len(content)))
        return json.loads(content) if path.startswith("/api/") else None

    def round(self, each: int) -> None:
        """So many calls of every act."""
        for _ in range(each):
            self.turn += 1
            fit = self.turn % FITS
            question = {
                **self.questions[self.turn % len(self.questions)], "spec": f"PACK-{fit:06}" if fit else "PACK"
            }
            scanned = {"kind": f"STEEL-{fit:06}", "readings": ["0.0771 in"]}
            self.send("scan in", "POST", "/api/v1/plates/", scanned)
            asked = self.send("ask", "POST", "/api/v1/matches/", question)
            number = next(option["number"] for option in asked["options"] if option["in"])
            at = f"/api/v1/matches/{asked['id']}/"
            taken = self.send("take", "POST", f"{at}take/", {"option": number, "counted": True})
            option = next(option for option in taken["options"] if option["number"] == number)
            reading = f"{option['predicted']['mm']} mm"
            self.send("final", "POST", f"{at}final/", {"readings": [reading] * 3, "method": "feeler"})
            whole = {**question, "take": True, "accept_marginal": True}
            self.send("ask and take", "POST", "/api/v1/matches/", whole)
            self.send("read match", "GET", at)
            self.send("read shelf", "GET", f"/api/v1/plates/?kind=STEEL-{fit:06}&state=on_shelf")
            self.send("page: close a pack", "GET", f"/close-a-pack/{question['spec']}/")
            self.send("page: match", "GET", f"/matches/{asked['number']}/")

    def told(self, each: int) -> dict[str, Any]:
        """A round; what its calls cost, by act, and of one with the stopwatch the layers instead."""
        self.calls, self.layers = {act: [] for act in ACTS}, {}
        if self.watch:
            with self.watch.borders():
                self.round(each)
            return {act: {name: ms / each for name, ms in some.items()} for act, some in self.layers.items()}
        self.round(each)
        return self.calls


def serve() -> None:
    """The other end of :class:`Checkout`: a line ``each stopwatch profiled`` of JSON in, a line of JSON out."""
    import django

    django.setup()
    from django.test.utils import setup_test_environment

    setup_test_environment()
    counter = Counter()
    for line in sys.stdin:
        each, layered, profiled = json.loads(line)
        if layered:
            from tests.benchmarks.stopwatch import Stopwatch

            counter.watch = Stopwatch()
        else:
            counter.watch = None
        counter.profile = (profiled, cProfile.Profile(time.thread_time)) if profiled else None
        print(json.dumps(counter.told(each)), flush=True)
        if counter.profile:
            pstats.Stats(counter.profile[1], stream=sys.stderr).sort_stats("tottime").print_stats(45)
            pstats.Stats(counter.profile[1], stream=sys.stderr).sort_stats("cumulative").print_stats(90)


class Checkout:
    """A process that serves one checkout to itself; this very file is its script, so the checkout may be older."""

    def __init__(self, root: Path, environ: dict[str, str]) -> None:
        environ = {**os.environ, **environ, "PYTHONPATH": str(root), "DJANGO_SETTINGS_MODULE": "shop.settings"}
        self.process = subprocess.Popen(
            [sys.executable, "-P", str(Path(__file__).resolve()), "--serve"],
            cwd=root, env=environ, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def round(self, each: int, layered: bool = False, profiled: str = "") -> Any:
        """Raises RuntimeError where the process ended; it has said why."""
        assert self.process.stdin and self.process.stdout
        print(json.dumps([each, layered, profiled]), file=self.process.stdin, flush=True)
        if not (line := self.process.stdout.readline()):
            raise RuntimeError("a checkout ended before it answered")
        return json.loads(line)

    def end(self) -> None:
        assert self.process.stdin
        self.process.stdin.close()
        self.process.wait(30)


def told(rounds: Sequence[dict[str, list[Any]]], act: str) -> Call:
    """Medians over all calls."""
    calls = [Call(*one) for some in rounds for one in some[act]]
    return Call(
        statistics.median(one.ms for one in calls),
        round(statistics.median(one.statements for one in calls)),
        round(statistics.median(one.size for one in calls)),
    )


def layers_shown(rounds: Sequence[dict[str, dict[str, float]]]) -> None:
    from tests.benchmarks.stopwatch import LAYERS

    print(f"\n{'layers, ms':>20} " + " ".join(f"{name[:9]:>9}" for name in LAYERS))
    for act in ACTS:
        spent = [statistics.median(some[act].get(name, 0.0) for some in rounds) for name in LAYERS]
        print(f"{act:>20} " + " ".join(f"{ms:9.2f}" for ms in spent))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--beside", type=Path, help="root of another checkout")
    parser.add_argument("--rounds", type=int, default=12)
    parser.add_argument("--each", type=int, default=10, help="calls of each act in a round")
    parser.add_argument("--profile", choices=ACTS, help="also print where the time of this act goes")
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.serve:
        serve()
        return
    from tests.benchmarks.shops import database, server

    roots = [ROOT, *([asked.beside.resolve()] if asked.beside else [])]
    with server() as urls, ExitStack() as stack:
        checkouts = []
        for number, root in enumerate(roots):
            own = stack.enter_context(database(urls, f"processor_{number}"))
            checkouts.append(Checkout(root, own.environ))
            stack.callback(checkouts[-1].end)
        rounds: list[list[Any]] = [[] for _ in roots]
        for turn in range(-WARM_ROUNDS, asked.rounds):
            for number in range(len(roots))[:: 1 if turn % 2 else -1]:
                some = checkouts[number].round(asked.each)
                rounds[number] += [some] if turn >= 0 else []
        beside = " | beside it     ratio" if asked.beside else ""
        print(f"{'':>20} {'ms':>8} {'statements':>11} {'bytes':>8}{beside}")
        for act in ACTS:
            ours, *others = (told(some, act) for some in rounds)
            beside = "".join(f" | {one.ms:6.2f} {one.statements:3} {ours.ms / one.ms:9.2f}" for one in others)
            print(f"{act:>20} {ours.ms:8.2f} {ours.statements:11} {ours.size:8}{beside}")
        layers_shown([checkouts[0].round(asked.each, layered=True) for _ in range(max(2, asked.rounds // 3))])
        if asked.profile:
            sys.stdout.flush()
            checkouts[0].round(asked.each, profiled=asked.profile)


if __name__ == "__main__":
    main()
