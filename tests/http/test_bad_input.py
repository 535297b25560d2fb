"""Bad input: 4xx with a problem and a pointer, never 5xx, and nothing changes."""

import json
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from django.apps import apps
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.api import Api, Reply
from tests.http.conftest import Bodies

pytestmark = pytest.mark.django_db


def rows() -> dict[str, int]:
    return {model._meta.db_table: model._default_manager.count() for model in apps.get_models()}


@pytest.fixture(autouse=True)
def nothing_changes(api: Api, bodies: Bodies, ids: dict[str, str]) -> Iterator[None]:
    before = rows()
    yield
    assert rows() == before


def refused(reply: Reply, pointer: str | None = None) -> Reply:
    assert 400 <= reply.status < 500, reply
    assert {"type", "title", "status", "detail", "code"} <= set(reply.body)
    assert reply.body["status"] == reply.status
    if pointer is not None:
        assert any(error["pointer"].startswith(pointer) for error in reply.body["errors"]), reply
    return reply


def with_at(body: Any, pointer: str, value: Any) -> Any:
    """A copy of the body with this value at the JSON pointer; ... takes the member away."""
    copy = json.loads(json.dumps(body))
    *path, last = pointer.strip("/").split("/")
    place = copy
    for part in path:
        place = place[int(part)] if isinstance(place, list) else place[part]
    if value is ...:
        del place[last]
    else:
        place[int(last) if isinstance(place, list) else last] = value
    return copy


LENGTHS = [
    ("fits/", "/outer"), ("kinds/", "/nominal"), ("kinds/", "/tolerance"), ("kinds/", "/reuse_minimum"),
    ("kinds/", "/taper_limit"), ("specs/", "/slots/1/cone_limit"), ("plates/", "/cone"), ("lots/", "/warp"),
    ("specs/", "/slots/0/nominal"), ("specs/", "/target"), ("specs/", "/limit_high"), ("bins/", "/from"),
    ("plates/", "/readings/1"), ("lots/", "/readings/1/0"), ("matches/", "/readings/2"),
    ("matches/", "/installed/steels/3"), ("matches/", "/wave_free"),
]  # fmt: skip
NOT_LENGTHS = [
    "0.077", "77", "", "0.077  in", "-0.077 in", "+1 mm", "1e-3 in", "NaN in", "٠.٧ in", "0.077 inch", "1,5 mm",
    "0.00000001 in", "99999999 mm", "1/2 in", " 1 mm", "1 mm\n", 0.077, 77, True, ["0.077 in"], {"nm": 1}, "1 mm" * 500,
]  # fmt: skip


@pytest.mark.parametrize(("path", "pointer"), LENGTHS)
def test_what_is_not_a_length_is_pointed_at(api: Api, bodies: Bodies, path: str, pointer: str) -> None:
    for value in NOT_LENGTHS:
        reply = refused(api.post(path, with_at(bodies[path], pointer, value)), pointer)
        assert reply.status == 400, value


REQUIRED = [
    *[("fits/", f"/{name}") for name in ("code", "tooth_side", "teeth", "outer", "inner")],
    *[("kinds/", f"/{name}") for name in ("code", "fit", "role", "nominal")],
    *[("specs/", f"/{name}") for name in ("code", "title", "measures", "window", "slots", "window/source")],
    *[("specs/", f"/slots/1/{name}") for name in ("name", "role", "fit", "count")],
    *[("bins/", f"/{name}") for name in ("code", "fit", "role", "from", "to")],
    *[("plates/", f"/{name}") for name in ("kind", "readings")],
    *[("lots/", f"/{name}") for name in ("kind", "count", "readings")],
    *[("hand-outs/", f"/{name}") for name in ("plates", "reason")],
    *[("matches/", f"/{name}") for name in ("spec", "readings", "method", "installed")],
]


@pytest.mark.parametrize(("path", "pointer"), REQUIRED)
def test_what_is_required(api: Api, bodies: Bodies, path: str, pointer: str) -> None:
    free_text = pointer in ("/title", "/slots/1/name")
    for value in (..., None, {}, [], [[]], "", 1.5, -1, 10**30, True, "x" * 5000, "a b/c"):
        if (pointer, value) == ("/installed", {}) or (free_text and value == "a b/c"):
            continue  # these can be read
        reply = refused(api.post(path, with_at(bodies[path], pointer, value)))
        assert reply.status in (400, 422), (value, reply)
        assert reply.body["errors"], (value, reply)


UNKNOWN = [
    ("kinds/", "/fit"), ("specs/", "/slots/0/fit"), ("specs/", "/slots/1/fits"), ("bins/", "/fit"),
    ("plates/", "/kind"), ("plates/", "/bin"), ("lots/", "/kind"), ("lots/", "/bin"), ("matches/", "/spec"),
]  # fmt: skip


@pytest.mark.parametrize(("path", "pointer"), UNKNOWN)
def test_an_unknown_code_is_malformed(api: Api, bodies: Bodies, path: str, pointer: str) -> None:
    value = ["NOT-THERE"] if pointer.endswith("fits") else "NOT-THERE"
    assert refused(api.post(path, with_at(bodies[path], pointer, value)), pointer).status == 400


@pytest.mark.parametrize("path", ["fits/", "kinds/", "specs/", "bins/", "plates/", "lots/", "hand-outs/", "matches/"])
def test_bodies_that_are_no_json_objects(api: Api, bodies: Bodies, path: str) -> None:
    good = json.dumps(bodies[path])
    texts: list[str | bytes] = [
        "", "null", "[]", "1", '"text"', "true", "{", good[:-1], good + "x", "[" + good + "]", "NaN", "{'a': 1}",
        good[:-1] + ', "extra": NaN}', good[:-1] + ', "extra": Infinity}', good[:-1] + ', "extra": 1e999}',
        good[:-1] + ', "unknown": 1}', good[:-1] + ', "readings": ["0.0770 in"], "readings": []}',
        good[:-1] + f', "extra": {"9" * 5000}}}', '{"a":' * 50_000 + "1" + "}" * 50_000, "[" * 200_000,
        good[:-1] + ', "to": "a\\u0000b"}', good[:-1] + ', "a\\u0000b": 1}', '{"code": "\\ud800"}', '{"\\udc00": 1}',
        b'{"code": "\xff"}', b"\xff\xfe{\x00}\x00", b"\x00", "\ufeff" + good, good.encode("utf-16"),
    ]  # fmt: skip
    for text in texts:
        reply = refused(api.raw(path, text))
        assert reply.status == 400, (text[:60], reply)


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"])
def test_only_json_is_read(api: Api, bodies: Bodies, kind: str) -> None:
    assert refused(api.raw("fits/", json.dumps(bodies["fits/"]), content_type=kind)).status == 415


@pytest.mark.parametrize("path", ["fits/", "plates/", "matches/"])
def test_a_giant_is_too_large(api: Api, bodies: Bodies, path: str) -> None:
    giant = json.dumps({**bodies[path], "title": "x" * 1_100_000})
    for key in (None, "giant"):
        reply = refused(api.raw(path, giant, key))
        assert (reply.status, reply.code) == (413, "too_large")


@pytest.mark.parametrize(
    ("path", "change", "pointer", "code"),
    [
        ("fits/", {"teeth": 0}, "/teeth", "bad_figures"),
        ("fits/", {"tooth_side": "none"}, "/teeth", "bad_figures"),
        ("fits/", {"inner": "5.5 in"}, "/inner", "bad_figures"),
        ("kinds/", {"lined_faces": 1}, "/lined_faces", "bad_figures"),
        ("kinds/", {"role": "friction", "lined_faces": 0}, "/lined_faces", "bad_figures"),
        ("kinds/", {"reuse_minimum": "0.088 in"}, "/reuse_minimum", "bad_figures"),
        ("specs/", {"measures": "height"}, "/window/source", "bad_window"),
        ("specs/", {"target": "0.0481 in"}, "/target", "bad_window"),
        ("specs/", {"limit_high": "0.0470 in"}, None, "bad_window"),
        ("specs/", {"wave": {"free": "0.08 in", "flat": "0.08 in"}}, "/wave/free", "bad_figures"),
        ("bins/", {"from": "0.0795 in"}, "/from", "bad_figures"),
        ("bins/", {"from": "0.0784 in"}, "/from", "bin_overlap"),
    ],
)
def test_rules_of_the_trade(
    api: Api, bodies: Bodies, path: str, change: dict[str, Any], pointer: str | None, code: str
) -> None:
    reply = refused(api.post(path, {**bodies[path], **change}), pointer)
    assert (reply.status, reply.code) == (422, code)


@pytest.mark.parametrize(
    ("slot", "pointer"),
    [
        ({"role": "wave"}, "/slots/0/swap"),
        ({"role": "friction", "extra": 1}, "/slots/0/extra"),
        ({"name": "frictions"}, "/slots/1/name"),
    ],
)
def test_hard_rules_of_a_slot(api: Api, bodies: Bodies, slot: dict[str, Any], pointer: str) -> None:
    first, second = bodies["specs/"]["slots"]
    reply = refused(api.post("specs/", {**bodies["specs/"], "slots": [{**first, **slot}, second]}), pointer)
    assert (reply.status, reply.code) == (422, "bad_figures")


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"readings": []}, "/readings"),
        ({"readings": ["0.064 in"] * 13}, "/readings"),
        ({"readings": ["0 in"]}, "/readings/0"),
        ({"method": "eye"}, "/method"),
        ({"installed": {"nothing": []}}, "/installed/nothing"),
        ({"installed": {"steels": ["0.067 in"] * 4}}, "/installed/steels"),
        ({"installed": {"steels": ["0.067 in"] * 6}}, "/installed/steels"),
        ({"installed": {"steels": {"nominal": False}}}, "/installed/steels"),
        ({"installed": {"steels": [{"thickness": "0.067 in", "must": True}] * 5}}, "/installed/steels"),
        ({"bench": {"nothing": [{"thickness": "0.08 in"}]}}, "/bench/nothing"),
        ({"bench": {"steels": [{"count": 2}]}}, "/bench/steels"),
        ({"bench": {"steels": [{"thickness": "0.08 in", "readings": ["0.08 in"]}]}}, "/bench/steels"),
        ({"bench": {"steels": [{"thickness": "0.08 in", "count": 0}]}}, "/bench/steels"),
        ({"left_out": ["frictions"]}, "/left_out/0"),
        ({"left_out": ["steels"]}, "/installed/steels"),
        ({"left_out": ["nothing"]}, "/left_out/0"),
        ({"take": "true"}, "/take"),
        ({"take": 1}, "/take"),
        ({"max_changes": "2"}, "/max_changes"),
        ({"max_changes": 2.0}, "/max_changes"),
        ({"max_changes": True}, "/max_changes"),
        ({"left_out": [1]}, "/left_out"),
        ({"job": 1182}, "/job"),
        ({"max_changes": -1}, "/max_changes"),
        ({"wave_state": "bent"}, "/wave_state"),
        ({"accept_marginel": True}, "/accept_marginel"),
    ],
)
def test_questions_that_cannot_be_read(api: Api, bodies: Bodies, change: dict[str, Any], pointer: str) -> None:
    assert refused(api.post("matches/", {**bodies["matches/"], **change}), pointer).status == 400


@pytest.mark.parametrize("take", [False, True])
def test_readings_that_contradict_each_other(api: Api, bodies: Bodies, take: bool) -> None:
    """A quarter of the window's width is .005 in; .0051 apart is too much."""
    body = {**bodies["matches/"], "readings": ["0.0640 in", "0.0691 in"], "take": take}
    reply = refused(api.post("matches/", body), "/readings")
    assert (reply.status, reply.code) == (422, "suspect_reading")


@pytest.mark.parametrize(
    ("act", "body", "pointer"),
    [
        ("take", {}, "/option"),
        ("take", {"option": 0}, "/option"),
        ("take", {"option": "first"}, "/option"),
        ("take", {"option": 10**12}, "/option"),
        ("hold", {"option": None}, "/option"),
        ("release", {"all": True}, "/all"),
        ("final", {"readings": ["0.05"], "method": "feeler"}, "/readings/0"),
        ("final", {"readings": ["0.05 in"]}, "/method"),
    ],
)
def test_acts_that_cannot_be_read(
    api: Api, ids: dict[str, str], act: str, body: dict[str, Any], pointer: str
) -> None:
    assert refused(api.post(f"matches/{ids['open']}/{act}/", body), pointer).status == 400


@pytest.mark.parametrize(
    "body",
    [
        {"reason": "cash"},
        {"bin": "B-14", "reason": "cash"},
        {"count": 1, "reason": "cash"},
        {"plates": [], "reason": "cash"},
        {"plates": ["x"], "reason": "cash"},
        {"bin": "B-14", "count": 0, "reason": "cash"},
        {"bin": "B-14", "count": 1, "reason": "gift"},
        {"bin": "B-14", "count": 1, "reason": "cash", "price": "NaN"},
        {"bin": "B-14", "count": 1, "reason": "cash", "price": "-1"},
        {"bin": "B-14", "count": 1, "reason": "cash", "due": "soon"},
    ],
)
def test_hand_outs_that_cannot_be_read(api: Api, body: dict[str, Any]) -> None:
    assert refused(api.post("hand-outs/", body)).status == 400


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@pytest.mark.parametrize("path", ["fits/", "kinds/", "specs/", "bins/", "plates/", "lots/", "hand-outs/", "matches/"])
def test_no_value_anywhere_is_a_fault_of_ours(api: Api, bodies: Bodies, path: str) -> None:
    """Every member replaced by anything at all: a problem or an answer, never 5xx. What was made is undone."""
    from django.db import transaction

    @settings(max_examples=25, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(name=st.sampled_from(sorted(bodies[path])), value=json_values)
    def tried(name: str, value: Any) -> None:
        with transaction.atomic():
            assert api.post(path, {**bodies[path], name: value}).status < 500
            transaction.set_rollback(True)

    run: Callable[[], None] = tried
    run()
