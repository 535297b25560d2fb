"""Is this shop able to work? For a load balancer, a launcher, a person with curl."""

from django.db import DEFAULT_DB_ALIAS, DatabaseError, connections
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse

from shop.people.models import Shop


def healthz(request: HttpRequest) -> JsonResponse:
    """200 when the database answers, no migration is missing and a demo shop, where there is one, is filled."""
    connection = connections[DEFAULT_DB_ALIAS]
    try:
        with connection.cursor() as cursor:
            cursor.execute("SHOW server_version")
            version = cursor.fetchone()[0]
        executor = MigrationExecutor(connection)
        missing = executor.migration_plan(executor.loader.graph.leaf_nodes())
        filling = False if missing else Shop.objects.filter(is_demo=True, demo_ready=False).exists()
    except DatabaseError:
        return JsonResponse({"status": "the database does not answer"}, status=503)
    if missing:
        return JsonResponse({"status": f"{len(missing)} migrations are missing: run manage.py migrate"}, status=503)
    if filling:
        return JsonResponse({"status": "the demo shop is being filled"}, status=503)
    owner = connections["owner"].settings_dict.get("USER") if "owner" in connections else None
    roles = "one" if owner == connection.settings_dict.get("USER") else "two"
    return JsonResponse({"status": "ok", "database": version, "roles": roles})
