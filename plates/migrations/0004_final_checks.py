"""Final checks get rows of their own, and every taken match the option that was built."""

from datetime import datetime

from django.db import migrations

from shop.rows import uuid7

#: How far a stacked plate and its micrometer move a prediction, when the checks were written (see uncertainty).
_READING_U_NM = {"feeler": 38_100.0, "indicator": 25_400.0, "depth": 35_560.0, "air": 50_800.0}


def rows_of_their_own(apps, schema_editor):
    db = schema_editor.connection.alias
    Match, Final, Person = (apps.get_model(*name) for name in [
        ("plates", "Match"), ("plates", "FinalCheck"), ("shop", "Person")])  # fmt: skip
    people = {(person.shop_id, person.username): person.pk for person in Person.objects.using(db).all()}
    for match in Match.objects.using(db).exclude(slip=[], finals=[]).iterator():
        built = next((option for option in reversed(match.options) if option["in"] == match.slip), None)
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
