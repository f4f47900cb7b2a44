package store_test

import (
	"context"
	"maps"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"Log": func(t *store.Tx, x *filled) (any, error) {
			return t.Log(x.t.Context(), store.LogQuery{Subject: x.client, Limit: 100})
		},
	})
}

// logOf is what is noted of a row, the oldest first.
func (s *salon) logOf(subject string) (out []store.Noted) {
	s.t.Helper()
	s.tx(func(tx *store.Tx) error {
		list, err := tx.Log(s.t.Context(), store.LogQuery{Subject: subject, Limit: 100})
		for _, n := range list {
			out = append([]store.Noted{n}, out...)
		}
		return err
	})
	return out
}

func TestWhoChangedWhatIsNotedAndNotWhatItSaid(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := store.As(t.Context(), "account:0190")
	var c store.Client
	require.NoError(t, s.store.InTx(ctx, s.row.ID, func(tx *store.Tx) (err error) {
		c, err = tx.AddClient(ctx, store.Client{GivenName: "Zqgiven", Phone: "+4930901829", ContactBy: "none"})
		return err
	}))
	require.NoError(t, s.store.InTx(store.As(t.Context(), "it's; drop"), s.row.ID, func(tx *store.Tx) (err error) {
		c.Note = "zqnote"
		c, err = tx.UpdateClient(t.Context(), c)
		return err
	}))
	s.tx(func(tx *store.Tx) (err error) { c, err = tx.UpdateClient(t.Context(), c); return err }) // nothing but the version
	failed := s.try(func(tx *store.Tx) error {
		c.Note = "never"
		if _, err := tx.UpdateClient(t.Context(), c); err != nil {
			return err
		}
		return context.Canceled
	})
	require.Error(t, failed)
	log := s.logOf(c.ID)
	require.Len(t, log, 2)
	require.Equal(t, []string{"account:0190", "client", "added"}, []string{log[0].Actor, log[0].What, log[0].Done})
	require.Equal(t, []string{"", "client", "changed"}, []string{log[1].Actor, log[1].What, log[1].Done}, "a name that cannot be one is left out")
	require.Equal(t, []string{"note"}, log[1].Columns)
	require.Zero(t, value[int](s, `SELECT count(*) FROM audit a WHERE a::text ILIKE '%zq%' OR a::text LIKE '%4930901829%'`))
}

func TestTheLogStaysAsItIs(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.second()
	c := s.client("Ida")
	n, err := s.store.SealLog(t.Context())
	require.NoError(t, err)
	require.Equal(t, value[int](s, `SELECT count(*) FROM audit`), n)
	for _, q := range []string{`UPDATE audit SET actor = 'x'`, `DELETE FROM audit`, `UPDATE audit SET hash = NULL, place = NULL`, `UPDATE audit SET place = place + 1000`} {
		_, err := s.db.Exec(t.Context(), q)
		require.ErrorContains(t, err, "stays as it is", q)
	}
	// Whoever seals at once makes one chain for each salon all the same.
	for range 3 {
		s.client("Ada")
		other.client("Ben")
		var all sync.WaitGroup
		for range 3 {
			all.Go(func() {
				if _, err := s.store.SealLog(t.Context()); err != nil {
					t.Error(err)
				}
			})
		}
		all.Wait()
	}
	lines, err := store.CheckLog(t.Context(), s.url)
	require.NoError(t, err)
	require.EqualValues(t, value[int](s, `SELECT count(*) FROM audit`), lines)
	require.Equal(t, 0, value[int](s, `SELECT count(*) FROM (SELECT place - row_number() OVER (PARTITION BY salon_id ORDER BY audit_id) AS d FROM audit) x WHERE d <> 0`))

	// The owner of the tables can switch the guard off; the chain tells.
	_, err = s.db.Exec(t.Context(), `ALTER TABLE audit DISABLE TRIGGER audit_stays`)
	require.NoError(t, err)
	place := value[int64](s, `SELECT place FROM audit WHERE subject = $1 AND what = 'client'`, c)
	for name, q := range map[string]string{
		"another who": `UPDATE audit SET actor = 'somebody' WHERE subject = $1`, "another when": `UPDATE audit SET at = at - interval '1 hour' WHERE subject = $1`,
		"taken away": `DELETE FROM audit WHERE subject = $1`, "hidden columns": `UPDATE audit SET columns = '{}', what = 'salon' WHERE subject = $1`,
	} {
		t.Run(name, func(t *testing.T) {
			kept := rows[string](s, `SELECT to_jsonb(a)::text FROM audit a WHERE subject = $1`, c)
			_, err := s.db.Exec(t.Context(), q, c)
			require.NoError(t, err)
			_, err = store.CheckLog(t.Context(), s.url)
			var broken *store.BrokenLogError
			require.ErrorAs(t, err, &broken)
			require.Equal(t, s.row.ID, broken.Salon)
			require.Equal(t, place, broken.Place)
			_, err = s.db.Exec(t.Context(), `DELETE FROM audit WHERE subject = $1`, c)
			require.NoError(t, err)
			for _, row := range kept {
				_, err = s.db.Exec(t.Context(), `INSERT INTO audit OVERRIDING SYSTEM VALUE SELECT * FROM jsonb_populate_record(NULL::audit, $1::jsonb)`, row)
				require.NoError(t, err)
			}
			_, err = store.CheckLog(t.Context(), s.url)
			require.NoError(t, err, "as it was")
		})
	}
}
