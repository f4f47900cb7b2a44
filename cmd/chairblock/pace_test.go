package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
	"chairblock/store/storetest"
)

func TestPaceReadsTheSalonOfADatabase(t *testing.T) {
	st, err := store.Open(t.Context(), storetest.URL(t), 2)
	require.NoError(t, err)
	t.Cleanup(st.Close)
	var out bytes.Buffer
	_, err = (&PaceCmd{Months: 12}).ofStore(t.Context(), st, &out)
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	require.ErrorContains(t, err, "there is no salon in the database")

	n, err := st.AddSalon(t.Context(), store.Salon{Name: "Harbour Chairs", Zone: "Europe/Berlin"})
	require.NoError(t, err)
	require.NoError(t, st.InTx(t.Context(), n.ID, func(tx *store.Tx) error {
		_, err := tx.AddStaff(t.Context(), store.Staff{Unit: store.Unit{Name: "Ada"}, Initials: "A", MayLead: true})
		return err
	}))
	report, err := (&PaceCmd{Months: 12, Staff: "ada"}).ofStore(t.Context(), st, &out)
	require.NoError(t, err)
	require.NoError(t, writePaceReport(&out, report))
	require.True(t, strings.HasPrefix(out.String(), "Harbour Chairs\nRecords from "), out.String())
	require.Contains(t, out.String(), "No visit is over yet whose length was promised and noted.\n\n0 steps count.")

	_, err = (&PaceCmd{Months: 12, Staff: "Nobody"}).ofStore(t.Context(), st, &out)
	require.ErrorContains(t, err, `--staff is "Nobody", who does not work here`)
}

func TestPaceTakesOneSource(t *testing.T) {
	var out, errs bytes.Buffer
	require.Equal(t, exitUsage, run([]string{"pace", "--database-url", "postgres://x", "--file", "testdata/visits.json"}, strings.NewReader(""), &out, &errs))
	require.Contains(t, errs.String(), "--file and --database-url do not go together")
}
