package problemfile_test

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

// lateDay is a sound day in progress in which tests replace one part.
const lateDay = `{"schema": "openings/1", "task": "T4", "id": "late", "minutes": 1440, "now": 560, "pieces": [
	{"id": "a/cut", "minutes": 50, "planned_start": 540, "not_before": 540, "fixed_start": 555, "closed": []},
	{"id": "b/cut", "minutes": 30, "planned_start": null, "not_before": 595, "fixed_start": null, "closed": [[720, 750], [600, 602]]},
	{"id": "b/dry", "minutes": 20}],
	"links": [{"before": "a/cut", "after": "b/cut", "min": 2, "max": null, "why": "changeover of S1"},
	{"before": "b/cut", "after": "b/dry", "min": -5, "max": 10}], "expect": {"feasible": "not looked at"}}`

func TestReadDelaysReadsThePublishedProblems(t *testing.T) {
	for name, pieces := range map[string]int{"t4-01.json": 3, "t4-03.json": 4} {
		data, err := os.ReadFile(filepath.Join(problems, name))
		require.NoError(t, err)
		p, err := problemfile.ReadDelays(bytes.NewReader(data))
		require.NoError(t, err)
		require.Equal(t, strings.TrimSuffix(name, ".json"), p.ID)
		require.Len(t, p.Problem.Pieces, pieces)
		require.NotNil(t, p.Problem.Pieces[0].Fixed)
	}
}

func TestReadDelaysReadsEveryMember(t *testing.T) {
	p, err := problemfile.ReadDelays(strings.NewReader(lateDay))
	require.NoError(t, err)
	at := func(m openings.Minute) *openings.Minute { return &m }
	require.Equal(t, delays.Problem{Minutes: 1440, Now: 560,
		Pieces: []delays.Piece{
			{ID: "a/cut", Minutes: 50, Planned: at(540), NotBefore: 540, Fixed: at(555)},
			{ID: "b/cut", Minutes: 30, NotBefore: 595, Closed: []openings.Span{{From: 720, To: 750}, {From: 600, To: 602}}},
			{ID: "b/dry", Minutes: 20}},
		Links: []delays.Link{
			{Before: "a/cut", After: "b/cut", Min: 2, Why: "changeover of S1"},
			{Before: "b/cut", After: "b/dry", Min: -5, Max: at(10)}}}, p.Problem)
}

func TestReadDelaysNamesThePlaceOfAFault(t *testing.T) {
	for _, tt := range []struct{ name, old, new, want string }{
		{"another task", `"T4"`, `"T3"`, `task is "T3"; expected T4, a day in progress; T3, visits to pack into the time that is left, is for chairblock pack`},
		{"no time of day", `"now": 560, `, ``, `now is missing`},
		{"a time of day beyond the horizon", `"now": 560`, `"now": 1441`, `now is 1441`},
		{"no pieces", `"pieces"`, `"parts"`, `pieces is empty`},
		{"a piece twice", `"id": "b/dry"`, `"id": "a/cut"`, `pieces[2].id is "a/cut" again`},
		{"a piece without name", `"id": "b/dry"`, `"id": ""`, `pieces[2].id is empty`},
		{"a piece of no length", `"minutes": 20`, `"minutes": 0`, `pieces[2].minutes is 0`},
		{"a piece without length", `"minutes": 20`, `"hours": 20`, `pieces[2].minutes is missing`},
		{"begun before the day", `"fixed_start": 555`, `"fixed_start": -5`, `pieces[0].fixed_start is -5`},
		{"a window turned round", `[720, 750]`, `[750, 720]`, `pieces[1].closed[0] is 750 to 720`},
		{"a link from nothing", `"before": "a/cut"`, `"before": "z/cut"`, `links[0].before is "z/cut"; expected the id of one of pieces`},
		{"a link to nothing", `"after": "b/dry"`, `"after": "b/perm"`, `links[1].after is "b/perm"`},
		{"a link to itself", `"after": "b/dry"`, `"after": "b/cut"`, `links[1].after is "b/cut" again; expected another piece than before`},
		{"a link that is none", `"links": [`, `"links": ["a/cut", `, `links[0] is "a/cut"; expected an object`},
		{"an impossible wait", `"max": 10`, `"max": -6`, `links[1] has min -5 and max -6`},
		{"a wait of ten years", `"max": 10`, `"max": 5256000`, `links[1].max is 5256000`},
		{"ten years", `"minutes": 1440`, `"minutes": 5256000`, `minutes is 5256000`},
		{"too many pieces", `"pieces": [`, `"pieces": [` + strings.Repeat(`{},`, 5000), `pieces has 5003 entries; expected at most 5000`},
		{"a misspelled member", `"not_before": 540`, `"notbefore": 540`, `pieces[0].notbefore is not a known member; expected not_before`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Contains(t, lateDay, tt.old)
			_, err := problemfile.ReadDelays(strings.NewReader(strings.Replace(lateDay, tt.old, tt.new, 1)))
			require.ErrorContains(t, err, tt.want)
			require.NotContains(t, err.Error(), "\n")
		})
	}
}
