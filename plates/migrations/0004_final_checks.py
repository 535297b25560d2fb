"""Final checks get rows of their own, every taken match the option that was built, and every option its budget."""

from datetime import datetime

from django.db import migrations

from shop.rows import uuid7

#: How far a stacked plate and its micrometer move a prediction, when the checks were written (see uncertainty).
_READING_U_NM = {"feeler": 38_100.0, "indicator": 25_400.0, "depth": 35_560.0, "air": 50_800.0}


def _complete(option, match):
    """What the budget of an option needs; the whole of its reading stands as one line."""
    rows = option["out"] + option["in"]
    for row in rows:
        row.setdefault("gauge", "")
    for row in option["in"]:
        row.setdefault("unread_u_nm", row["u_nm"])
        row.setdefault("alike_u_nm", 0.0)
    for row in option["out"]:
        for name, value in (("unread_u_nm", 0.0), ("at_book", False), ("cone_nm", None)):
            row.setdefault(name, value)
    reading = {"name": f"reading by {match.method}", "u_nm": match.u_nm}
    kind = {"distribution": "normal", "times": 1, "shared": ""}
    option.setdefault("reading", [{**reading, **kind}])
    option.setdefault("shared_u_nm", {})
    option.setdefault("up_to_nm", option["predicted_nm"])
    option.setdefault("guard_nm", None)


def rows_of_their_own(apps, schema_editor):
    db = schema_editor.connection.alias
    Match, Final, Person = (apps.get_model(*name) for name in [
        ("plates", "Match"), ("plates", "FinalCheck"), ("shop", "Person")])  # fmt: skip
    people = {(person.shop_id, person.username): person.pk for person in Person.objects.using(db).all()}
    for match in Match.objects.using(db).iterator():
        for option in match.options:
            _complete(option, match)
        match.save(using=db, update_fields=["options"])
        slip = [row["plate"] for row in match.slip]
        built = next((o for o in reversed(match.options) if [row["plate"] for row in o["in"]] == slip), None)
        if match.slip and built:
            match.built = built
        elif match.finals and match.state == "closed":
            match.built = next((option for option in match.options if option["changes"] == 0), None)
        if match.built:
            match.save(using=db, update_fields=["built"])
        for final in match.finals:
            u_reading = _READING_U_NM[match.method]
            Final.objects.using(db).create(
                id=uuid7(),
                shop_id=match.shop_id,
                match_id=match.pk,
                person_id=people.get((match.shop_id, final["person"]), match.person_id),
                at=datetime.fromisoformat(final["at"]),
                method=final["method"],
                asked_method=match.method,
                readings=final["readings"],
                as_read_nm=final["clearance_nm"],
                clearance_nm=final["clearance_nm"],
                predicted_nm=final["predicted_nm"],
                u_nm=final["u_nm"],
                u_reading_nm=_READING_U_NM[final["method"]],
                u_moves_nm=max(final["u_nm"] ** 2 - u_reading**2, 0.0) ** 0.5,
                residual_nm=final["residual_nm"],
                in_window=match.low_nm <= final["clearance_nm"] <= match.high_nm,
            )


class Migration(migrations.Migration):
    dependencies = [("plates", "0003_gauges_and_readings")]

    operations = [migrations.RunPython(rows_of_their_own, migrations.RunPython.noop)]
