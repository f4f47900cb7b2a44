package store_test

import (
	"errors"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func TestATransactionRemembersUntilItWritesOrWaitsForTheRota(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 1)
	ctx := t.Context()
	name := func(tx *store.Tx) string {
		list, err := tx.StaffList(ctx)
		require.NoError(t, err)
		return list[0].Name
	}
	elsewhere := func(to string) {
		_, err := s.db.Exec(ctx, `UPDATE unit SET name = $2 WHERE salon_id = $1 AND unit_id = $3`, s.row.ID, to, s.ada)
		require.NoError(t, err)
	}
	s.tx(func(tx *store.Tx) error {
		was := name(tx)
		elsewhere("Zoe")
		require.Equal(t, was, name(tx), "remembered")
		p, err := tx.StaffByID(ctx, s.ada)
		require.NoError(t, err)
		require.Equal(t, was, p.Name, "the same by id")
		require.NoError(t, tx.LockRota(ctx))
		require.Equal(t, "Zoe", name(tx), "who waited sees what was done")
		p, err = tx.StaffByID(ctx, s.ada)
		require.NoError(t, err)
		undone := errors.New("undone")
		require.ErrorIs(t, tx.Savepoint(ctx, func(tx *store.Tx) error {
			p.Name = "Yva"
			_, err := tx.UpdateStaff(ctx, p)
			require.NoError(t, err)
			require.Equal(t, "Yva", name(tx), "what it wrote itself")
			return undone
		}), undone)
		require.Equal(t, "Zoe", name(tx), "and what was undone")

		_, err = tx.ServiceByID(ctx, s.service.ID)
		require.NoError(t, err)
		x, err := tx.ServiceByID(ctx, s.service.ID)
		require.NoError(t, err)
		x.Steps[0].Label = "spoilt by a caller"
		again, err := tx.ServiceByID(ctx, s.service.ID)
		require.NoError(t, err)
		require.NotEqual(t, x.Steps[0].Label, again.Steps[0].Label, "steps are each caller's own")
		again.Name = "another"
		_, err = tx.UpdateService(ctx, again.Service, again.Row)
		require.NoError(t, err)
		now, err := tx.ServiceByID(ctx, s.service.ID)
		require.NoError(t, err)
		require.Equal(t, "another", now.Name)
		old, err := tx.ServiceVersion(ctx, x.ID, x.Version)
		require.NoError(t, err)
		require.NotEqual(t, "another", old.Name)
		return nil
	})
}

func TestClientsAreRememberedOnlyWhileTheyAreLocked(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 1)
	ctx := t.Context()
	var id string
	s.tx(func(tx *store.Tx) error {
		c, err := tx.AddClient(ctx, store.Client{GivenName: "Mara", ContactBy: "none"})
		id = c.ID
		return err
	})
	s.tx(func(tx *store.Tx) error {
		_, err := tx.ClientByID(ctx, id)
		require.NoError(t, err)
		_, err = s.db.Exec(ctx, `UPDATE client SET given_name = 'Mira' WHERE client_id = $1`, id)
		require.NoError(t, err)
		now, err := tx.ClientByID(ctx, id)
		require.NoError(t, err)
		require.Equal(t, "Mira", now.GivenName, "nobody has locked her, and so she is read anew")
		require.NoError(t, tx.LockClient(ctx, id))
		c, err := tx.ClientByID(ctx, id)
		require.NoError(t, err)
		c.GivenName = "Mora"
		_, err = tx.UpdateClient(ctx, c)
		require.NoError(t, err)
		now, err = tx.ClientByID(ctx, id)
		require.NoError(t, err)
		require.Equal(t, "Mora", now.GivenName)
		return nil
	})
}

// Nobody is asked for what a new visit cannot have yet, and everything that it got is found.
func TestWhatANewVisitGotIsFound(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 1)
	ctx := t.Context()
	v, blocks := s.visit(s.client("Mara"), at(9, 0), s.seat())
	count := func(tx *store.Tx) (messages, money int) {
		list, err := tx.RemindersOf(ctx, v.ID)
		require.NoError(t, err)
		entries, err := tx.MoneyOf(ctx, v.ID)
		require.NoError(t, err)
		return len(list), len(entries)
	}
	require.ErrorIs(t, s.try(func(tx *store.Tx) error {
		require.NoError(t, tx.InsertVisit(ctx, v, blocks))
		messages, money := count(tx)
		require.Zero(t, messages+money)
		undone := errors.New("undone")
		require.ErrorIs(t, tx.Savepoint(ctx, func(tx *store.Tx) error {
			_, err := tx.AddReminder(ctx, store.Reminder{Visit: v.ID, Kind: "confirmation", Due: v.Start, MessageID: "one of " + v.ID})
			require.NoError(t, err)
			messages, money = count(tx)
			require.Equal(t, []int{1, 0}, []int{messages, money})
			return undone
		}), undone)
		messages, money = count(tx)
		require.Zero(t, messages+money)
		_, err := tx.AddMoney(ctx, store.MoneyEntry{Visit: v.ID, Kind: store.DepositAsked, Amount: 100}, v.Start)
		require.NoError(t, err)
		messages, money = count(tx)
		require.Equal(t, []int{0, 1}, []int{messages, money})
		return scheduling.ErrNotFound
	}), scheduling.ErrNotFound)
}

// What is remembered is forgotten by the tables that statements name.
func TestEveryTableOfWhatIsRememberedIsWatched(t *testing.T) {
	t.Parallel()
	from := regexp.MustCompile(`(?:FROM|JOIN) (\w+)`)
	for _, q := range store.RememberedQueries {
		for _, m := range from.FindAllStringSubmatch(q, -1) {
			require.NotEmpty(t, store.Forgets("UPDATE "+m[1]+" SET a = 1"), m[1])
			require.NotEmpty(t, store.Forgets("WITH x AS (DELETE FROM "+m[1]+" RETURNING a) SELECT a FROM x"), m[1])
			require.NotEmpty(t, store.Forgets("INSERT INTO "+m[1]+" (a) VALUES (1) ON CONFLICT DO NOTHING"), m[1])
			require.Empty(t, store.Forgets("SELECT a FROM "+m[1]+" FOR UPDATE"), m[1])
		}
	}
}
