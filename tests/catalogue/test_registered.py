"""Every constraint in the database has its clear error, or is listed here as one that no request reaches."""

import re

import pytest
from django.apps import apps
from django.db import connection

from shop import errors
from shop.rows import SameShop

#: Constraints that only a fault of ours could break, and why.
INTERNAL = {
    "missed_of_job": "written in one statement that looks at it first",
    "missed_once": "written in the same statement as its question, once",
    "supplier_name": "suppliers are looked up by name first",
    "slot_position": "positions are counted out by the service",
    "slotfit_once": "further fits are made distinct by the service",
    "plate_lengths": "the edge takes no length of zero",
    "plate_held_until": "written by the hold alone",
    "lot_measured": "the service compares count and readings",
    "ledger_chain": "the ledger guards itself against our own faults",
    "ledger_chain_end": "the ledger guards itself against our own faults",
    "ledger_delta": "the ledger guards itself against our own faults",
    "ledger_balance": "the ledger guards itself against our own faults",
    "ledger_before": "the ledger guards itself against our own faults",
    "ledger_first": "the ledger guards itself against our own faults",
    "ledger_state": "the ledger guards itself against our own faults",
    "job_number": "numbers are counted out under a lock",
    "match_number": "numbers are counted out under a lock",
    "match_window": "copied from a spec that holds it",
    "match_held_until": "written by the hold alone",
    "finalcheck_residual": "the service takes the difference itself",
    "gaugecheck_standard": "the edge takes no length of zero",
    "gaugestudy_trials": "the service counts the trials first",
    "bincount_read_before_booked": "the service books what was read",
    "bincount_booked_or_dropped": "the service locks the count and looks first",
    "order_number": "numbers are counted out under a lock",
    "order_sent": "written by sending alone",
    "orderline_position": "positions are counted out by the service",
    "orderline_kind_once": "the service looks for a kind that stands twice",
    "orderset_once": "the service looks for a kind that stands twice, and sets share none",
    "claim_once": "opened once: as its plate is booked, or with its order locked for what has none",
    "claim_settled": "written by settling alone, which asks for a note",
    "pricebreak_once": "the service looks for a count that stands twice",
    "buyrule_once": "made or set anew in one step",
    "requestkey_once": "a twin waits at it and replays",
    "counter_once": "a counter is made or counted up in one statement",
    "person_role": "the form takes no other role",
    "person_pin_wrong": "tries are counted only while there are any left",
    "shop_person_badge_sha256_key": "a hash of 100 random bits",
    "shop_terminal_sha256_key": "a hash of 32 random bytes",
    "shop_token_sha256_key": "a hash of 32 random bytes",
}
#: Made by Django for every positive integer field (the edge bounds them), by us for every link and key of a shop.
PATTERNS = (r"\w+_check", r"\w+_shop_id", r"\w+_shop_id_\w+_fk_shop_shop_id", r"django_\w+", r"shop_person_shop_id_\w+")


@pytest.mark.django_db
def test_every_constraint_has_its_clear_error_or_its_reason() -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT conname FROM pg_constraint c JOIN pg_class t ON t.oid = c.conrelid"
            " WHERE (t.relname LIKE 'plates\\_%' OR t.relname LIKE 'shop\\_%') AND contype IN ('c', 'u', 'x', 'f')"
            # What is unique among some rows only is an index, and no constraint.
            " UNION SELECT i.indexrelid::regclass::text FROM pg_index i JOIN pg_class t ON t.oid = i.indrelid"
            " WHERE (t.relname LIKE 'plates\\_%' OR t.relname LIKE 'shop\\_%') AND indisunique AND indpred IS NOT NULL"
        )
        standing = {name for (name,) in cursor.fetchall()}
    links = {
        constraint.name
        for model in apps.get_models()
        for constraint in model._meta.constraints
        if isinstance(constraint, SameShop)
    }
    assert links <= standing
    registered = set(errors._constraints)
    assert registered <= standing, "a clear error for a constraint that does not stand"
    rest = standing - registered - links
    rest = {name for name in rest if not any(re.fullmatch(pattern, name) for pattern in PATTERNS)}
    assert rest == set(INTERNAL)
