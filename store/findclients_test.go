package store_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func init() { ownOnly = append(ownOnly, "FindClients", "MaybeKnown") } // they take words only

// named adds clients with full names and numbers, and returns their ids.
func (s *salon) named(list ...store.Client) []string {
	s.t.Helper()
	var ids []string
	s.tx(func(t *store.Tx) error {
		for _, c := range list {
			c.ContactBy = "none"
			row, err := t.AddClient(s.t.Context(), c)
			if err != nil {
				return err
			}
			ids = append(ids, row.ID)
		}
		return nil
	})
	return ids
}

func (s *salon) found(text, whole string) (out []string) {
	s.t.Helper()
	s.tx(func(t *store.Tx) error {
		list, err := t.FindClients(s.t.Context(), text, whole, time.Now(), 5)
		for _, c := range list {
			out = append(out, c.GivenName+" "+c.FamilyName)
		}
		return err
	})
	return out
}

func TestClientsAreFoundByAnyPartOfTheirNameAndByTheirNumber(t *testing.T) {
	s := newSalon(t, 2)
	s.named(store.Client{GivenName: "Mara", FamilyName: "Kestrel", Phone: "+442079460018"},
		store.Client{GivenName: "Anne-Marie", FamilyName: "O'Dell", Phone: "+442079460019", Mail: "Am@example.org"},
		store.Client{GivenName: "Kesia", FamilyName: "Marsh"}, store.Client{GivenName: "עדי", FamilyName: "%_\\"},
		store.Client{GivenName: "Omar", FamilyName: "Vale", Phone: "+442079460018"})
	other := s.second()
	other.named(store.Client{GivenName: "Mara", FamilyName: "Elsewhere", Phone: "+442079460018"})
	for _, tt := range []struct {
		text, whole string
		want        []string
	}{
		{"mar", "", []string{"Mara Kestrel", "Anne-Marie O'Dell", "Kesia Marsh"}},
		{"KES", "", []string{"Kesia Marsh", "Mara Kestrel"}},
		{"mara k", "", []string{"Mara Kestrel"}},
		{"k mara", "", []string{"Mara Kestrel"}},
		{"anne-m", "", []string{"Anne-Marie O'Dell"}},
		{"o'd", "", []string{"Anne-Marie O'Dell"}},
		{"dell", "", []string{"Anne-Marie O'Dell"}},
		{"עד", "", []string{"עדי %_\\"}},
		{"% _", "", nil},
		{"ara", "", nil},
		{"0018", "", []string{"Mara Kestrel", "Omar Vale"}},
		{"020 7946 0019", "", []string{"Anne-Marie O'Dell"}},
		{"+44 20 79460018", "+442079460018", []string{"Mara Kestrel", "Omar Vale"}},
		{"18", "", nil},
		{"000", "", nil},
		{"", "", nil},
		{"  ", "", nil},
		{"mara \x01 ' or 1=1", "", nil},
	} {
		require.Equal(t, tt.want, s.found(tt.text, tt.whole), "%q", tt.text)
	}
}

func TestAClientMayBeThereAlready(t *testing.T) {
	s := newSalon(t, 2)
	s.named(store.Client{GivenName: "Mara", FamilyName: "Kestrel", Phone: "+442079460018"},
		store.Client{GivenName: "mara", FamilyName: "Quinn", Mail: "m@example.org"}, store.Client{GivenName: "Noor", Phone: "+442079460018"})
	for _, tt := range []struct {
		like store.Client
		want []string
	}{
		{store.Client{GivenName: "Mara", FamilyName: "K."}, []string{"Mara Kestrel"}},
		{store.Client{GivenName: "Mara"}, nil},
		{store.Client{GivenName: "Somebody", Phone: "+442079460018"}, []string{"Mara Kestrel", "Noor "}},
		{store.Client{GivenName: "Somebody", Mail: "M@example.org"}, []string{"mara Quinn"}},
		{store.Client{}, nil},
	} {
		var got []string
		s.tx(func(tx *store.Tx) error {
			list, err := tx.MaybeKnown(t.Context(), tt.like, time.Now(), 5)
			for _, c := range list {
				got = append(got, c.GivenName+" "+c.FamilyName)
			}
			return err
		})
		require.Equal(t, tt.want, got, "%+v", tt.like)
	}
}

func TestAFoundClientComesWithTheVisitsAroundNow(t *testing.T) {
	s := newSalon(t, 2)
	id := s.named(store.Client{GivenName: "Mara"})[0]
	for _, hour := range []int{8, 12, 16} {
		v, blocks := s.visit(id, at(hour, 0), s.seat())
		require.NoError(t, s.try(func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, blocks) }))
	}
	for _, tt := range []struct {
		now        time.Time
		last, next int // hours, 0 for none
	}{{at(7, 0), 0, 8}, {at(12, 0), 12, 16}, {at(11, 0), 8, 12}, {at(20, 0), 16, 0}} {
		s.tx(func(tx *store.Tx) error {
			list, err := tx.FindClients(t.Context(), "mara", "", tt.now, 2)
			require.NoError(t, err)
			require.Len(t, list, 1)
			for _, x := range []struct {
				hour int
				got  *time.Time
			}{{tt.last, list[0].Last}, {tt.next, list[0].Next}} {
				if x.hour == 0 {
					require.Nil(t, x.got)
				} else {
					require.True(t, at(x.hour, 0).Equal(*x.got))
				}
			}
			return nil
		})
	}
}

// BenchmarkFindClients looks among 10,000 clients of one salon beside 10,000 of
// another.
func BenchmarkFindClients(b *testing.B) {
	s := newSalon(b, 4)
	for _, x := range []*salon{s, s.second()} {
		_, err := s.db.Exec(b.Context(), `INSERT INTO client (salon_id, client_id, given_name, family_name, phone, mail, contact_by)
			SELECT $1, $1 || '-' || n, chr(65 + n % 26) || chr(97 + n / 26 % 26) || chr(97 + n / 676 % 26) || 'ra', chr(65 + n * 7 % 26) || 'estrel' || n, '+44207' || (1000000 + n), '', 'none'
			FROM generate_series(1, 10000) n`, x.row.ID)
		require.NoError(b, err)
	}
	_, err := s.db.Exec(b.Context(), `ANALYZE`)
	require.NoError(b, err)
	for _, text := range []string{"k", "kestrel99", "abara w", "1009999", "nobody at all"} {
		b.Run(fmt.Sprintf("%q", text), func(b *testing.B) {
			require.NoError(b, s.store.Read(b.Context(), s.row.ID, func(tx *store.Tx) error {
				for b.Loop() {
					if _, err := tx.FindClients(b.Context(), text, "", time.Now(), 9); err != nil {
						return err
					}
				}
				return nil
			}))
		})
	}
	b.Run("alike", func(b *testing.B) {
		require.NoError(b, s.store.Read(b.Context(), s.row.ID, func(tx *store.Tx) error {
			for b.Loop() {
				if _, err := tx.MaybeKnown(b.Context(), store.Client{GivenName: "Mara", FamilyName: "K", Phone: "+442071000099"}, time.Now(), 5); err != nil {
					return err
				}
			}
			return nil
		}))
	})
}
