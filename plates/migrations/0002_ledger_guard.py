"""The ledger guards itself: each line hangs on the one before it, and no line ever changes or goes."""

from django.db import migrations

CHAIN = """
ALTER TABLE plates_ledgerline ADD CONSTRAINT ledger_chain
  FOREIGN KEY (shop_id, plate_id, prev_seq, prev_balance)
  REFERENCES plates_ledgerline (shop_id, plate_id, seq, balance);
"""

GUARD = """
CREATE FUNCTION plates_ledger_only_grows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION 'the ledger only grows: % is refused', TG_OP USING ERRCODE = 'restrict_violation';
END $$;
CREATE TRIGGER ledger_no_change BEFORE UPDATE OR DELETE ON plates_ledgerline
  FOR EACH ROW EXECUTE FUNCTION plates_ledger_only_grows();
CREATE TRIGGER ledger_no_truncate BEFORE TRUNCATE ON plates_ledgerline
  FOR EACH STATEMENT EXECUTE FUNCTION plates_ledger_only_grows();
"""


class Migration(migrations.Migration):
    dependencies = [("plates", "0001_initial")]

    operations = [
        migrations.RunSQL(CHAIN, "ALTER TABLE plates_ledgerline DROP CONSTRAINT ledger_chain;"),
        migrations.RunSQL(
            GUARD,
            """
            DROP TRIGGER ledger_no_truncate ON plates_ledgerline;
            DROP TRIGGER ledger_no_change ON plates_ledgerline;
            DROP FUNCTION plates_ledger_only_grows();
            """,
        ),
    ]
