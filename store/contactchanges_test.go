package store_test

import (
	"maps"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// aReminder is a message of the salon x.
func (x *filled) aReminder() string {
	return value[string](x.salon, `SELECT min(reminder_id) FROM reminder WHERE salon_id = $1`, x.row.ID)
}

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"AddContactChange": func(t *store.Tx, x *filled) (any, error) {
			_, err := t.AddContactChange(x.t.Context(), store.ContactChange{Client: x.client, Way: "mail", Changed: at(9, 0)})
			return nil, err
		},
		"ContactChanges":    func(t *store.Tx, x *filled) (any, error) { return t.ContactChanges(x.t.Context(), x.client) },
		"ContactChangeTold": func(t *store.Tx, x *filled) (any, error) { return t.ContactChangeTold(x.t.Context(), x.aReminder()) },
		"SetTelling": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.SetTelling(x.t.Context(), store.NewID(), x.aReminder())
		},
	})
}

func TestAnOldAddressIsTakenOutAfterAMonth(t *testing.T) {
	s := newSalon(t, 4)
	ctx := t.Context()
	var client string
	s.tx(func(t *store.Tx) error {
		c, err := t.AddClient(ctx, store.Client{GivenName: "Mara", Mail: "new@example.org", ContactBy: "mail"})
		if err != nil {
			return err
		}
		client = c.ID
		_, err = t.AddContactChange(ctx, store.ContactChange{Client: client, Way: "mail", Was: "old@example.org", Changed: at(9, 0), By: "desk"})
		return err
	})
	was := func() string {
		var list []store.ContactChange
		s.tx(func(t *store.Tx) (err error) { list, err = t.ContactChanges(ctx, client); return err })
		require.Len(t, list, 1)
		require.Equal(t, "desk", list[0].By)
		return list[0].Was
	}
	erase := func(days int) {
		_, err := s.store.EraseByAge(ctx, at(9, 0).AddDate(0, 0, days))
		require.NoError(t, err)
	}
	erase(29)
	require.Equal(t, "old@example.org", was())
	erase(31)
	require.Empty(t, was())
	require.ErrorIs(t, s.store.InTx(ctx, s.row.ID, func(t *store.Tx) error { return t.SetTelling(ctx, "none", "none") }), scheduling.ErrNotFound)
}
