package main

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

func TestTheDemoHasRecordsToLearnFrom(t *testing.T) {
	d := fillAt(t, filledStore(t), moment(t, filledMoment))
	r, err := d.server.PaceReport(t.Context(), d.row.ID, "", 12)
	require.NoError(t, err)
	require.Len(t, r.Promise.ByQuantile, 1, "%v", r.Promise)
	require.GreaterOrEqual(t, r.Promise.ByQuantile[0].Minutes.Of, 3)
	require.NotNil(t, r.FittedAt)
	var out bytes.Buffer
	require.NoError(t, writePaceReport(&out, r))
	t.Log(out.String())

	ada, moved := "", 0
	for _, p := range d.staff {
		if p.Name == "Ada Birch" {
			ada = p.ID
		}
	}
	for _, x := range r.Steps {
		if x.StaffID == ada && (x.Factor > 1.02 || x.Factor < 0.98) {
			moved++
		}
	}
	require.NotZero(t, moved, "Ada's pace shows")

	// An estimate for her says so.
	hair := demoHair()
	found, err := d.server.Openings(t.Context(), d.row.ID, api.OpeningsRequest{Services: []api.ServiceRequest{{ServiceID: d.services[straightening].ID, LeadID: ada, Hair: &hair}}, Limit: 1})
	require.NoError(t, err)
	require.NotEmpty(t, found.Openings)
	v, err := d.server.Book(t.Context(), d.row.ID, api.VisitRequest{ClientID: d.clients[1].ID, Start: found.Openings[0].Start, ApprovedBy: d.licensed(),
		Services: []api.ServiceRequest{{ServiceID: d.services[straightening].ID, LeadID: ada, Hair: &hair}}})
	require.NoError(t, err)
	shown, err := d.took(t.Context(), v)
	require.NoError(t, err)
	require.Len(t, shown, len(v.Steps))
	var report strings.Builder
	for _, w := range r.Words {
		report.WriteString(w)
	}
	require.Contains(t, report.String(), "visits were to end within the promised minutes")
}
