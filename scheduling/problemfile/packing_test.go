package problemfile_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/packing"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

// smallDay is a sound day to pack in which tests replace one part.
const smallDay = `{"schema": "openings/1", "task": "T3", "id": "day", "objective": "max_value",
	"origin": "2026-05-12T00:00:00+02:00", "minutes": 1440, "premises": [[540, 1080]], "units": [
	{"id": "S1", "kind": "stylist", "changeover": 5, "open": [[540, 1080]]},
	{"id": "C1", "kind": "chair", "open": [[540, 1080]], "bookings": [[560, 600]]}],
	"visits": {
	"cut": {"roles": [{"role": "lead", "kinds": ["stylist"]}], "phases": [{"name": "cut", "minutes": 45, "roles": ["lead"], "pool": [{"kinds": ["chair"]}]}], "gaps": []},
	"look": {"roles": [], "phases": [{"name": "look", "minutes": 5}], "gaps": null}},
	"requests": [
	{"id": "a", "visit": "cut", "value": 45, "from": 540, "to": null, "grid": 5, "end_by": null, "lead_only": ["S1"]},
	{"id": "b", "visit": "cut", "value": 50, "from": 540, "to": 900, "grid": 1, "end_by": 1000, "must": true, "move": 20, "per_minute": 1,
	 "stay": {"roles": {"lead": "S1"}, "phases": [{"phase": "cut", "start": 700, "end": 745, "pool": ["C1"]}]}}],
	"links": [{"a": "a", "b": "b", "from": "start", "min": -30, "max": 30, "other_lead": true}], "expect": {"optimal": "not looked at"}}`

func TestReadPackingReadsThePublishedProblems(t *testing.T) {
	for name, requests := range map[string]int{"t3-02.json": 6, "t3-09.json": 5} {
		data, err := os.ReadFile(filepath.Join(problems, name))
		require.NoError(t, err)
		p, err := problemfile.ReadPacking(bytes.NewReader(data))
		require.NoError(t, err)
		require.Equal(t, strings.TrimSuffix(name, ".json"), p.ID)
		require.Len(t, p.Problem.Requests, requests)
		require.Equal(t, openings.Query{From: 540, To: 1440, Grid: 5}, p.Problem.Requests[0].Query)
		require.NotEmpty(t, p.Problem.Requests[0].Visit.Phases)
	}
}

func TestReadPackingReadsWhereARequestStands(t *testing.T) {
	p, err := problemfile.ReadPacking(strings.NewReader(smallDay))
	require.NoError(t, err)
	end := openings.Minute(1000)
	want := packing.Request{ID: "b", Name: "cut", Value: 50, Query: openings.Query{From: 540, To: 900, Grid: 1, EndBy: &end},
		Must: true, Move: 20, PerMinute: 1, Visit: p.Problem.Requests[0].Visit,
		Stay: &openings.Schedule{Roles: map[string]string{"lead": "S1"},
			Phases: []openings.Placed{{Phase: "cut", Start: 700, End: 745, Pool: []string{"C1"}}}}}
	require.Equal(t, want, p.Problem.Requests[1])
	require.Nil(t, p.Problem.Requests[0].Stay)
	require.Equal(t, []string{"S1"}, p.Problem.Requests[0].LeadOnly)
	require.Equal(t, []packing.Link{{A: "a", B: "b", From: "start", Min: -30, Max: 30, OtherLead: true}}, p.Problem.Links)
	require.Equal(t, packing.MaxValue, p.Problem.Objective)
}

func TestReadPackingNamesThePlaceOfAFault(t *testing.T) {
	for _, tt := range []struct{ name, old, new, want string }{
		{"another task", `"T3"`, `"T1"`, `task is "T1"; expected T3, visits to pack into the time that is left; T1, a search for openings, is for chairblock openings`},
		{"an unknown aim", `max_value`, `max_fun`, `objective is "max_fun"; expected max_value or min_makespan`},
		{"no aim", `"objective": "max_value",`, ``, `objective is missing`},
		{"an unknown template", `"visit": "cut", "value": 45`, `"visit": "perm", "value": 45`, `requests[0].visit is "perm"; expected the name of one of visits`},
		{"no templates", `"visits"`, `"visit_types"`, `visits is missing`},
		{"a fault in a template", `"roles": ["lead"]`, `"roles": ["laed"]`, `visits.cut.phases[0].roles[0] is "laed"`},
		{"a template that is none", `"look": {`, `"glance": 3, "look": {`, `visits.glance is 3; expected an object`},
		{"a template with a name of two lines", `"look": {`, `"a\nb": 3, "look": {`, `visits.a\nb is 3`},
		{"a request twice", `"id": "b"`, `"id": "a"`, `requests[1].id is "a" again`},
		{"a request without name", `"id": "b"`, `"id": ""`, `requests[1].id is empty`},
		{"a negative value", `"value": 45`, `"value": -45`, `requests[0].value is -45`},
		{"a value as text", `"value": 45`, `"value": "45"`, `requests[0].value is "45"`},
		{"a value beyond reason", `"value": 45`, `"value": 2000000000`, `requests[0].value is 2000000000`},
		{"limits turned round", `"to": 900`, `"to": 500`, `requests[1].from is 540 with to 500`},
		{"no grid", `"grid": 5`, `"grid": null`, `requests[0].grid is null`},
		{"an unknown lead", `"lead_only": ["S1"]`, `"lead_only": ["S1", "S4"]`, `requests[0].lead_only[1] is "S4"; expected the id of one of units`},
		{"a lead where there is no role", `"visit": "cut", "value": 45`, `"visit": "look", "value": 45`, `requests[0].lead_only is given for a visit that has no role`},
		{"must as text", `"must": true`, `"must": "yes"`, `requests[1].must is "yes"; expected true or false`},
		{"standing on an unknown unit", `{"lead": "S1"}`, `{"lead": "S2"}`, `requests[1].stay.roles.lead is "S2"; expected the id of one of units`},
		{"standing without a lead", `{"lead": "S1"}`, `{}`, `requests[1].stay.roles.lead is missing`},
		{"standing in too few phases", `[{"phase": "cut", "start": 700, "end": 745, "pool": ["C1"]}]`, `[]`, `requests[1].stay.phases has 0 entries; expected 1`},
		{"standing without chair", `"pool": ["C1"]`, `"pool": []`, `requests[1].stay.phases[0].pool has 0 entries; expected 1`},
		{"standing backwards", `"start": 700`, `"start": 745`, `requests[1].stay.phases[0] is 745 to 745`},
		{"a link to nothing", `"b": "b"`, `"b": "z"`, `links[0].b is "z"; expected the id of one of requests`},
		{"a link to itself", `"b": "b"`, `"b": "a"`, `links[0].b is "a" again`},
		{"a link of no end", `"from": "start"`, `"from": "middle"`, `links[0].from is "middle"`},
		{"a link turned round", `"min": -30`, `"min": 31`, `links[0] has min 31 and max 30`},
		{"bookings that overlap", `[[560, 600]]`, `[[560, 600], [590, 610]]`, `units[1].bookings[1] is 590 to 610 and overlaps bookings[0]`},
		{"ten years", `1440, "prem`, `5256000, "prem`, `minutes is 5256000; expected a whole number from 1 to 20160`},
		{"more requests than are packed", `"requests": [`, `"requests": [` + strings.Repeat(`{},`, 60), `requests has 62 entries; expected at most 60`},
		{"more links than are kept", `"links": [`, `"links": [` + strings.Repeat(`{},`, 200), `links has 201 entries; expected at most 200`},
		{"more phases than are packed", `"requests": [`, `"requests": [` + manyRequests(11), `requests have 1102 phases in all; expected at most 1000`},
		{"a misspelled member", `"per_minute"`, `"per_minutes"`, `requests[1].per_minutes is not a known member; expected per_minute`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Contains(t, smallDay, tt.old)
			text := strings.Replace(smallDay, tt.old, tt.new, 1)
			text = strings.Replace(text, `"look": {`, `"long": `+longVisit(100)+`, "look": {`, 1)
			_, err := problemfile.ReadPacking(strings.NewReader(text))
			require.ErrorContains(t, err, tt.want)
			require.NotContains(t, err.Error(), "\n")
		})
	}
}

// manyRequests are n requests for a long visit.
func manyRequests(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `{"id": "more%d", "visit": "long", "value": 1, "from": 0, "grid": 1},`, i)
	}
	return b.String()
}

// longVisit is a visit of n phases.
func longVisit(n int) string {
	return `{"phases": [` + strings.Repeat(`{"minutes": 1},`, n-1) + `{"minutes": 1}], "gaps": [` +
		strings.Repeat(`{"min": 0, "max": 0},`, n-2) + `{"min": 0, "max": 0}]}`
}
