"""What is said of people, terminals and settings stays said: no line of the audit ever changes or goes."""

from django.db import migrations

GUARD = """
CREATE FUNCTION shop_audit_only_grows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'the audit only grows: % is refused', TG_OP USING ERRCODE = 'restrict_violation';
END $$;
CREATE TRIGGER audit_no_change BEFORE UPDATE OR DELETE ON shop_auditline
  FOR EACH ROW EXECUTE FUNCTION shop_audit_only_grows();
CREATE TRIGGER audit_no_truncate BEFORE TRUNCATE ON shop_auditline
  FOR EACH STATEMENT EXECUTE FUNCTION shop_audit_only_grows();
"""


class Migration(migrations.Migration):
    dependencies = [("shop", "0003_people_and_terminals")]

    operations = [
        migrations.RunSQL(
            GUARD,
            """
            DROP TRIGGER audit_no_truncate ON shop_auditline;
            DROP TRIGGER audit_no_change ON shop_auditline;
            DROP FUNCTION shop_audit_only_grows();
            """,
        ),
    ]
