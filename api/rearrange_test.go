package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/scheduling"
)

func TestADayIsRearrangedWholeWithGivenSchedulesAndNewVisits(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, _ := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	nora, noraTag := s.book(s.client("Nora"), tuesday(13, 30), []object{s.by(s.ada, "Dry cut")})
	ines, _ := s.book(s.client("Ines"), tuesday(14, 0), []object{s.by(s.ada, "Dry cut")})
	s.sendDue()
	lena := s.client("Lena")
	wanted := &api.VisitRequest{ClientID: lena, Start: tuesday(13, 45), Services: []api.ServiceRequest{{ServiceID: s.services["Dry cut"], LeadID: s.ada}}}
	list := []api.Change{
		{ID: ines.ID, Version: 1, Start: tuesday(9, 0)},     // looked for
		{ID: mara.ID, Version: 1, Like: mara.ID, Later: 30}, // into the time that it has itself
		{Book: wanted, Like: nora.ID, Later: 30},            // a new visit, given to the minute
		{ID: nora.ID, Version: 1, Start: tuesday(14, 45)},
	}
	wanted.Start = tuesday(14, 0)
	out, err := s.server.Rearrange(t.Context(), s.row.ID, list)
	require.NoError(t, err)
	require.Len(t, out, 4)
	require.Equal(t, []string{ines.ID, mara.ID, out[2].ID, nora.ID}, []string{out[0].ID, out[1].ID, out[2].ID, out[3].ID})
	for i, want := range []time.Time{tuesday(9, 0), tuesday(9, 30), tuesday(14, 0), tuesday(14, 45)} {
		v, _ := s.read(out[i].ID)
		require.True(t, want.Equal(v.Start), "%d", i)
		require.True(t, v.End.Equal(out[i].End))
		kind := "moved waiting"
		if i == 2 {
			kind = "confirmation waiting"
			require.Equal(t, lena, v.ClientID)
			require.EqualValues(t, 3900, v.PriceCents)
		}
		require.Equal(t, 1, s.reminders(out[i].ID)[kind])
	}
	s.sound()

	tables := s.tables()
	before := tables()
	_, tag := s.read(nora.ID)
	require.NotEqual(t, noraTag, tag)
	late := &api.VisitRequest{ClientID: lena, Start: tuesday(9, 0), Services: []api.ServiceRequest{{ServiceID: "none"}}}
	for name, x := range map[string]struct {
		list []api.Change
		want string
	}{
		"one has changed":      {[]api.Change{{ID: ines.ID, Version: 2, Start: tuesday(17, 0)}, {ID: nora.ID, Version: 1, Start: tuesday(16, 0)}}, scheduling.ErrStale.Error()},
		"one is gone":          {[]api.Change{{ID: ines.ID, Version: 2, Start: tuesday(17, 0)}, {ID: "none", Start: tuesday(16, 0)}}, scheduling.ErrNotFound.Error()},
		"given ones clash":     {[]api.Change{{ID: ines.ID, Version: 2, Like: ines.ID, Later: 15}, {ID: nora.ID, Version: 2, Start: tuesday(16, 0)}}, "Ines Q. does not fit on Tue 9 June at 09:15"},
		"given beside each":    {[]api.Change{{ID: ines.ID, Version: 2, Like: nora.ID, Later: 60}, {ID: nora.ID, Version: 2, Like: nora.ID, Later: 61}}, "Nora Q. does not fit on Tue 9 June at 15:46"},
		"steps of another":     {[]api.Change{{ID: ines.ID, Version: 2, Like: mara.ID, ApprovedBy: "Ada"}}, "the time is taken"},
		"fewer steps":          {[]api.Change{{ID: mara.ID, Version: 2, Like: ines.ID, ApprovedBy: "Ada"}}, "the time is taken"},
		"twice":                {[]api.Change{{ID: ines.ID, Start: tuesday(16, 0)}, {ID: ines.ID, Start: tuesday(17, 0)}}, "twice"},
		"a new one is at odds": {[]api.Change{{ID: ines.ID, Version: 2, Start: tuesday(17, 0)}, {Book: late}}, "services[0].service_id"},
		"the past":             {[]api.Change{{ID: ines.ID, Version: 2, Like: ines.ID, Later: -1530}}, "lies in the past"},
	} {
		_, err := s.server.Rearrange(t.Context(), s.row.ID, x.list)
		require.ErrorContains(t, err, x.want, name)
		require.Equal(t, before, tables(), name)
	}
}

func TestChangesFarApartAreMadeTogether(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, _ := s.book(s.client("Mara"), tuesday(9, 0), s.straightening())
	nora, _ := s.book(s.client("Nora"), tuesday(10, 0).AddDate(0, 5, 0), s.straightening()) // behind the autumn change of the clocks
	out, err := s.server.Rearrange(t.Context(), s.row.ID, []api.Change{{ID: mara.ID, Start: nora.Start}, {ID: nora.ID, Start: mara.Start, ApprovedBy: "Ada"}})
	require.NoError(t, err)
	require.True(t, out[0].Start.Equal(nora.Start))
	require.True(t, out[1].Start.Equal(mara.Start))
	s.sound()
	_, err = s.server.Rearrange(t.Context(), s.row.ID, []api.Change{{ID: mara.ID, Start: nora.Start.AddDate(150, 0, 0)}, {ID: nora.ID, Start: mara.Start}})
	require.ErrorContains(t, err, "start lies more than 366 days after that of another visit")
}
