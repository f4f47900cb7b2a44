package store_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func TestStepsComeBackAsTheyWereKept(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 1)
	x := scheduling.StandardServices()[0]
	x.Steps[5].Held = []scheduling.Held{scheduling.HeldBasin, scheduling.HeldLead}
	x.Steps[6].WatchFor = []string{}
	x.Steps[7].WatchFor = []string{"our own line, {off_scalp}"}
	x.Steps[7].MayOverrun = false
	s.tx(func(tx *store.Tx) error {
		row, err := tx.AddService(t.Context(), x)
		require.NoError(t, err)
		require.Equal(t, x.Steps, row.Steps)
		return nil
	})
}

// A step from before such things were asked holds the chair, may overrun while
// hands are on it, and has the usual lines.
func TestOldStepsAreReadAsTheProgramBehaved(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 1)
	_, err := s.db.Exec(t.Context(), `UPDATE service_version SET steps = '[
		{"kind": "apply", "label": "apply", "who": "lead", "where": "chair", "formula": "head", "hands_on": true},
		{"kind": "process", "label": "wait", "who": "lead", "where": "chair", "formula": "head", "hands_on": false, "watched": true},
		{"kind": "neutral", "label": "neutralize", "who": "lead", "where": "chair", "minutes": 9, "hands_on": true, "wait_max": 4},
		{"kind": "beard", "label": "beard", "who": "lead", "where": "chair", "minutes": 9, "hands_on": true}]'
		WHERE salon_id = $1`, s.row.ID)
	require.NoError(t, err)
	s.tx(func(tx *store.Tx) error {
		row, err := tx.ServiceByID(t.Context(), s.service.ID)
		require.NoError(t, err)
		for i, overruns := range []bool{true, false, false, true} {
			st := row.Steps[i]
			require.Equal(t, overruns, st.MayOverrun, st.Kind)
			require.Empty(t, st.Held)
			require.Equal(t, []scheduling.Held{scheduling.HeldChair}, row.HeldAfter(i))
			require.Equal(t, scheduling.StandardWatchFor(st), st.WatchFor)
		}
		require.NotEmpty(t, row.Steps[0].WatchFor)
		return nil
	})
}

func TestEveryVersionOfAServiceStays(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 1)
	s.tx(func(tx *store.Tx) error {
		x := s.service.Service
		for i := range 3 {
			x.PriceCents = int64(1000 + i)
			_, err := tx.UpdateService(t.Context(), x, int64(1+i))
			require.NoError(t, err)
		}
		list, err := tx.ServiceVersions(t.Context(), x.ID)
		require.NoError(t, err)
		require.Len(t, list, 4)
		for i, r := range list {
			require.Equal(t, 4-i, r.Version)
			require.False(t, r.Made.IsZero())
			one, err := tx.ServiceVersion(t.Context(), x.ID, r.Version)
			require.NoError(t, err)
			require.Equal(t, r, one)
		}
		require.EqualValues(t, 1002, list[0].PriceCents)
		require.Equal(t, s.service.PriceCents, list[3].PriceCents)
		_, err = tx.ServiceVersions(t.Context(), "none")
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		visits := []store.Visit{{Services: []store.VisitService{{Service: x.ID, Version: 2}, {Service: x.ID, Version: 4}}}, {Services: []store.VisitService{{Service: x.ID, Version: 2}}}}
		got, err := tx.ServicesOf(t.Context(), visits)
		require.NoError(t, err)
		require.Equal(t, map[store.ServiceKey]store.ServiceRow{{ID: x.ID, Version: 2}: list[2], {ID: x.ID, Version: 4}: list[0]}, got)
		return nil
	})
}

func TestStepsOfAnAssistantAreFoundByKind(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 1)
	add := func(hour int, staff, role string) string {
		v, blocks := s.visit(s.client("Guest"), at(hour, 0), s.seat())
		v.Steps[1].Units = append(v.Steps[1].Units, store.StepUnit{Ordinal: 1, Unit: staff, Role: role})
		s.tx(func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, blocks) })
		return v.ID
	}
	early := add(9, s.mina, "assistant")
	late := add(12, s.mina, "helper")
	add(15, s.ben, "assistant") // licensed
	found := func(hour int, may ...scheduling.StepKind) (out []string) {
		s.tx(func(tx *store.Tx) error {
			list, err := tx.AssistedSteps(t.Context(), at(hour, 0), may)
			require.NoError(t, err)
			for _, x := range list {
				require.Equal(t, []any{scheduling.Wash, "wash", s.mina}, []any{x.Kind, x.Label, x.Staff})
				out = append(out, x.Visit)
			}
			return nil
		})
		return out
	}
	require.Equal(t, []string{early, late}, found(8))
	require.Equal(t, []string{early, late}, found(8, "rinse_1"))
	require.Empty(t, found(8, "wash"))
	require.Equal(t, []string{late}, found(9), "what has begun is over and done")
	s.tx(func(tx *store.Tx) error {
		v, err := tx.VisitByID(t.Context(), late)
		require.NoError(t, err)
		v.State = store.Cancelled
		return tx.SetVisitState(t.Context(), &v)
	})
	require.Equal(t, []string{early}, found(8))
}

func TestABookedVisitKeepsTheServiceAsItWas(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Guest"), at(9, 0), s.seat())
	next := s.service.Service
	next.Name, next.PriceCents = "Dearer", 1
	s.tx(func(tx *store.Tx) error {
		now, err := tx.UpdateService(t.Context(), next, 1)
		require.NoError(t, err)
		require.Equal(t, 2, now.Version)
		require.NoError(t, tx.RetireService(t.Context(), next.ID, 2))
		list, err := tx.Services(t.Context())
		require.NoError(t, err)
		require.Empty(t, list)
		old, err := tx.ServiceVersion(t.Context(), next.ID, 1)
		require.NoError(t, err)
		require.Equal(t, s.service.Steps, old.Steps)
		got, err := tx.VisitByID(t.Context(), v.ID)
		require.NoError(t, err)
		require.Equal(t, s.service.Name, got.Services[0].Name)
		_, err = tx.ServiceVersion(t.Context(), next.ID, 3)
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		return nil
	})
}
