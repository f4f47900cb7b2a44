package store_test

import (
	"maps"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"EstimatesOf":         func(t *store.Tx, x *filled) (any, error) { return t.EstimatesOf(x.t.Context(), x.client) },
		"InvitationsOfClient": func(t *store.Tx, x *filled) (any, error) { return t.InvitationsOfClient(x.t.Context(), x.client) },
		"HealthReadsOf":       func(t *store.Tx, x *filled) (any, error) { return t.HealthReadsOf(x.t.Context(), x.client) },
		"ErasureOf":           func(t *store.Tx, x *filled) (any, error) { return t.ErasureOf(x.t.Context(), x.client) },
		"CancelComing":        func(t *store.Tx, x *filled) (any, error) { return nil, t.CancelComing(x.t.Context(), x.client) },
		"EraseClient":         func(t *store.Tx, x *filled) (any, error) { return t.EraseClient(x.t.Context(), x.client, "", at(9, 0)) },
	})
}

// everywhere lists the columns of tables, of all salons, whose rows hold words.
func (s *salon) everywhere(words string) []string {
	s.t.Helper()
	var out []string
	for _, c := range rows[string](s, `SELECT table_name || ' ' || column_name FROM information_schema.columns c JOIN information_schema.tables t USING (table_schema, table_name)
		WHERE table_schema = 'public' AND table_type = 'BASE TABLE' ORDER BY 1`) {
		table, column, _ := strings.Cut(c, " ")
		q := `SELECT count(*) FROM ` + pgx.Identifier{table}.Sanitize() + ` x WHERE position($1 IN `
		name := "x." + pgx.Identifier{column}.Sanitize()
		text := name + `::text`
		if value[string](s, `SELECT data_type FROM information_schema.columns WHERE table_schema = 'public' AND table_name = $1 AND column_name = $2`, table, column) == "bytea" {
			text = `encode(` + name + `, 'escape')`
		}
		if value[int](s, q+text+`) > 0`, words) > 0 {
			out = append(out, table+"."+column)
		}
	}
	return out
}

func TestAnErasedClientIsNowhereAndTheWorkStays(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	x, other := s.filled(), s.second().filled()
	guest := "Guest " + s.row.ID
	require.Contains(t, s.everywhere(x.client), "visit.client_id")
	require.Contains(t, s.everywhere(guest), "client.given_name")

	err := s.try(func(tx *store.Tx) error {
		_, err := tx.EraseClient(t.Context(), x.client, "owner", at(9, 0))
		return err
	})
	require.ErrorAs(t, err, new(*scheduling.ConflictError), "she has a visit to come")
	s.tx(func(tx *store.Tx) error {
		v, err := tx.LockVisit(t.Context(), x.visit, 0)
		require.NoError(t, err)
		v.State, v.FinishedAt = store.Finished, new(at(13, 0))
		return tx.SetVisitState(t.Context(), &v)
	})
	work := func() []string {
		return rows[string](s, `SELECT concat_ws(' ', b.unit_id, b.span) FROM block b WHERE b.visit_id = $1
			UNION ALL SELECT concat_ws(' ', ordinal, kind, starts_at, ends_at) FROM visit_step WHERE visit_id = $1
			UNION ALL SELECT concat_ws(' ', service_id, lead_id, estimate_id, price_cents) FROM visit_service WHERE visit_id = $1
			UNION ALL SELECT concat_ws(' ', state, starts_at, ends_at, chair_id, price_cents, finished_at) FROM visit WHERE visit_id = $1
			UNION ALL SELECT concat_ws(' ', kind, amount_cents) FROM money_entry WHERE visit_id = $1 ORDER BY 1`, x.visit)
	}
	before, theirs := work(), other.contents()
	require.Greater(t, len(before), 4)
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.TouchFeeds(t.Context(), x.client), "of what is gone no calendar is told")
		hit, err := tx.EraseClient(t.Context(), x.client, "owner", at(9, 0))
		require.Equal(t, 1, hit.Screenings)
		require.Equal(t, 1, hit.Visits)
		require.Positive(t, hit.Messages)
		return err
	})
	require.Equal(t, before, work(), "accounts and the use of chairs do not change")
	require.Equal(t, theirs, other.contents(), "another salon is not touched")
	require.Subset(t, []string{"audit.subject", "erased_client.client_id", "health_read.client_id"}, s.everywhere(x.client))
	require.Empty(t, s.everywhere(guest))
	s.tx(func(tx *store.Tx) error {
		v, err := tx.VisitByID(t.Context(), x.visit)
		require.Equal(t, store.ErasedName, v.Title)
		require.Empty(t, v.Client)
		return err
	})
	list, err := s.store.ErasedClients(t.Context(), at(0, 0))
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Equal(t, x.client, list[0].Client)
	err = s.try(func(tx *store.Tx) error {
		_, err := tx.EraseClient(t.Context(), x.client, "owner", at(9, 0))
		return err
	})
	require.ErrorIs(t, err, scheduling.ErrNotFound)
}

func TestWhoBooksWhileAClientIsErasedComesBeforeOrFindsHerGone(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	for range 20 {
		c := s.client("Ida")
		begun, done := make(chan bool), make(chan error)
		go func() {
			done <- s.try(func(tx *store.Tx) error {
				v, blocks := s.visit(c, at(9, 0), s.seat())
				close(begun)
				return tx.InsertVisit(t.Context(), v, blocks)
			})
		}()
		<-begun
		err := s.try(func(tx *store.Tx) error { _, err := tx.EraseClient(t.Context(), c, "", time.Now()); return err })
		booked := <-done
		require.NotEqual(t, err == nil, booked == nil, "erased: %v, booked: %v", err, booked)
		if booked == nil {
			s.tx(func(tx *store.Tx) error {
				list, err := tx.VisitsOfClient(t.Context(), c)
				require.NoError(t, err)
				list[0].State = store.Cancelled
				return tx.SetVisitState(t.Context(), &list[0])
			})
		}
	}
}
