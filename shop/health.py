"""Is this shop able to work? For a load balancer, a launcher, a person with curl."""

from django.db import DEFAULT_DB_ALIAS, DatabaseError, connections
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse

from shop.errors import away_logged
from shop.people.models import Shop


def healthz(request: HttpRequest) -> JsonResponse:
    """200 when the database answers, no migration is missing and a demo shop, where there is one, is filled."""
    connection = connections[DEFAULT_DB_ALIAS]
    try:
        with connection.cursor() as cursor:
            # Whether the role may rewrite the ledger: of no table before the first migration.
            cursor.execute(
                "SELECT current_setting('server_version'), "
                "has_table_privilege(to_regclass('plates_ledgerline'), 'TRUNCATE')"
            )
            version, may_rewrite = cursor.fetchone()
        executor = MigrationExecutor(connection)
        missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
        filling = False if missing else Shop.objects.filter(is_demo=True, demo_ready=False).exists()
    except DatabaseError as error:
        return _away(error)
    if missing:
        return JsonResponse({"status": f"{len(missing)} migrations are missing: run manage.py migrate"}, status=503)
    if filling:
        return JsonResponse({"status": "the demo shop is being filled"}, status=503)
    return JsonResponse({"status": "ok", "database": version, "roles": "one" if may_rewrite else "two"})


def readyz(request: HttpRequest) -> JsonResponse:
    """As healthz, and 503 as well while nothing can be written: for what decides whether to send people here."""
    answer = healthz(request)
    if answer.status_code != 200:
        return answer
    try:
        with connections[DEFAULT_DB_ALIAS].cursor() as cursor:
            cursor.execute(
                "SELECT pg_is_in_recovery() OR current_setting('transaction_read_only')::bool, "
                "has_table_privilege('plates_ledgerline', 'INSERT'), current_setting('lock_timeout') = '0'"
            )
            reads_only, may_add, waits_for_ever = cursor.fetchone()
    except DatabaseError as error:
        return _away(error)
    if reads_only:
        return JsonResponse({"status": "the database only reads: it is a standby, or set so"}, status=503)
    if not may_add:
        return JsonResponse({"status": "the role may not write: run manage.py migrate as the owner"}, status=503)
    if waits_for_ever:
        limit = "ALTER ROLE … SET lock_timeout = '2s', for the role of DATABASE_URL"
        return JsonResponse({"status": f"nothing ends the wait for a lock: {limit}"}, status=503)
    return answer


def _away(error: DatabaseError) -> JsonResponse:
    away_logged(error.__cause__ if isinstance(error.__cause__, Exception) else error)
    return JsonResponse({"status": "the database does not answer"}, status=503)
