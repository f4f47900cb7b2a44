package storetest

import (
	"testing"
	"time"
)

// shifted makes a database whose clock is another than its server's: what programs ask
// for by name is found before what the server has of that name, and defaults of columns
// are made anew.
const shifted = `
	CREATE TABLE clock_shift (by interval NOT NULL);
	INSERT INTO clock_shift VALUES ('0');
	CREATE FUNCTION public.now() RETURNS timestamptz LANGUAGE sql STABLE AS 'SELECT pg_catalog.now() + by FROM clock_shift';
	CREATE FUNCTION public.clock_timestamp() RETURNS timestamptz LANGUAGE sql VOLATILE AS 'SELECT pg_catalog.clock_timestamp() + by FROM clock_shift';
	DO $$
	DECLARE c record;
	BEGIN
		EXECUTE format('ALTER DATABASE %I SET search_path = public, pg_catalog', current_database());
		FOR c IN SELECT d.adrelid::regclass AS tab, a.attname, pg_get_expr(d.adbin, d.adrelid) AS was
			FROM pg_attrdef d JOIN pg_attribute a ON a.attrelid = d.adrelid AND a.attnum = d.adnum
			WHERE pg_get_expr(d.adbin, d.adrelid) IN ('now()', 'CURRENT_TIMESTAMP', 'clock_timestamp()')
		LOOP
			EXECUTE format('ALTER TABLE %s ALTER %I SET DEFAULT public.%s', c.tab, c.attname, CASE c.was WHEN 'clock_timestamp()' THEN c.was ELSE 'now()' END);
		END LOOP;
	END $$`

// Clock lets a test set the clock of a database, for connections that are made after
// it: what it returns sets how far it is ahead of the server's, below 0 behind.
func Clock(t testing.TB, url string) (ahead func(time.Duration)) {
	t.Helper()
	Exec(t, url, shifted)
	return func(by time.Duration) {
		t.Helper()
		Exec(t, url, `UPDATE clock_shift SET by = make_interval(secs => $1)`, by.Seconds())
	}
}
