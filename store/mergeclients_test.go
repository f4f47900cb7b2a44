package store_test

import (
	"maps"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"CountOfClient": func(t *store.Tx, x *filled) (any, error) {
			n, err := t.CountOfClient(x.t.Context(), x.client, at(9, 0))
			require.Zero(x.t, n)
			return nil, err
		},
		"VisitsTwice": func(t *store.Tx, x *filled) (any, error) { return t.VisitsTwice(x.t.Context(), x.client, x.client) },
		"LockClients": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.LockClients(x.t.Context(), x.client, x.client)
		},
		"MergeClients": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.MergeClients(x.t.Context(), x.client, x.client, at(9, 0))
		},
	})
}

// Every table that names a client has to be thought of when two files become one.
func TestEveryTableOfAClientIsThoughtOfInAMerge(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	rows, err := s.db.Query(t.Context(), `SELECT table_name FROM information_schema.columns WHERE table_schema = current_schema() AND column_name = 'client_id' ORDER BY 1`)
	require.NoError(t, err)
	var got []string
	for rows.Next() {
		var name string
		require.NoError(t, rows.Scan(&name))
		got = append(got, name)
	}
	require.NoError(t, rows.Err())
	require.Equal(t, []string{"client", "client_request", "consent", "contact_change", "erased_client", "estimate", "hair_treatment", "head", "health_read", "merged_client", "message_choice", "message_wish",
		"minor", "minor_change", "own_closed", "own_link", "quote", "screening", "test_record", "visit", "wish"}, got,
		"a new table of a client's either moves with her (store/mergeclients.go) or ends with the file that is erased")
}

func TestWithAClientTheFilesThatWentIntoHersAreNotedAsErased(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	first, second, third, other, hers := s.client("Mara"), s.client("Mara"), s.client("Mara"), s.client("Juna"), s.client("Juna")
	merge := func(keep, gone string) {
		t.Helper()
		s.tx(func(tx *store.Tx) error {
			require.NoError(t, tx.LockClients(t.Context(), keep, gone))
			return tx.MergeClients(t.Context(), keep, gone, at(9, 0))
		})
	}
	merge(second, first)
	merge(third, second)
	merge(other, hers)
	erased := func() []string {
		list, err := s.store.ErasedClients(t.Context(), at(9, 30))
		require.NoError(t, err)
		var out []string
		for _, e := range list {
			require.Equal(t, s.row.ID, e.Salon)
			require.Equal(t, "owner", e.By)
			out = append(out, e.Client)
		}
		return out
	}
	require.Empty(t, erased(), "who was kept is there, and a backup from before gives both back")
	s.tx(func(tx *store.Tx) error {
		_, err := tx.EraseClient(t.Context(), third, "owner", at(10, 0))
		return err
	})
	require.ElementsMatch(t, []string{first, second, third}, erased())
	require.Equal(t, []string{hers}, rows[string](s, `SELECT client_id FROM merged_client WHERE into_id = $1`, other))
	require.Equal(t, 1, value[int](s, `SELECT count(*) FROM merged_client`))
	s.tx(func(tx *store.Tx) error {
		_, err := tx.EraseClient(t.Context(), other, "owner", at(10, 0))
		return err
	})
	require.ElementsMatch(t, []string{first, second, third, other, hers}, erased())
	require.Zero(t, value[int](s, `SELECT count(*) FROM merged_client`))
}
