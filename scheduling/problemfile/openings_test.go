package problemfile_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

const problems = "../../testdata/problems"

// smallProblem is a sound problem in which tests replace one part.
const smallProblem = `{"schema": "openings/1", "task": "T1", "id": "small", "zone": "Europe/Berlin",
	"origin": "2026-05-12T00:00:00+02:00", "minutes": 1440, "premises": [[540, 1080]], "units": [
	{"id": "S1", "kind": "stylist", "changeover": 2, "open": [[540, 1080]], "breaks": [[700, 730]], "bookings": [[560, 600]]},
	{"id": "C1", "kind": "chair", "skills": null, "changeover": 10, "open": [[540, 1080]]}],
	"visit": {"roles": [{"role": "lead", "kinds": ["stylist"]}, {"role": "chair", "kinds": ["chair"]}],
	"phases": [{"name": "cut", "minutes": 45, "roles": ["lead", "chair"]}, {"name": "rest", "minutes": 5, "roles": ["chair"], "pool": null}],
	"gaps": [{"min": 0, "max": 5, "hold": ["chair"]}]},
	"query": {"from": 0, "to": 1439, "grid": 1, "end_by": null}, "expect": {"count": "not looked at"}}`

func TestReadOpeningsTakesNullAndAbsentListsAsEmpty(t *testing.T) {
	p, err := problemfile.ReadOpenings(strings.NewReader(smallProblem))
	require.NoError(t, err)
	require.Equal(t, "small", p.ID)
	require.Equal(t, int64(1778536800), p.Origin.Unix())
	require.Empty(t, p.Shop.Units[1].Skills)
	require.Empty(t, p.Shop.Units[1].Bookings)
	require.Equal(t, []openings.Booking{{From: 560, To: 600, Clear: 2}}, p.Shop.Units[0].Bookings)
	require.Nil(t, p.Query.EndBy)

	empty, err := problemfile.ReadOpenings(strings.NewReader(strings.NewReplacer(
		`"premises": [[540, 1080]], `, ``, `"end_by": null`, `"end_by": 900`).Replace(smallProblem)))
	require.NoError(t, err)
	require.Equal(t, openings.Minute(900), *empty.Query.EndBy)
	require.True(t, search(t, empty).Empty())
}

func TestReadOpeningsNamesThePlaceOfAFault(t *testing.T) {
	for _, tt := range []struct{ name, old, new, want string }{
		{"another schema", `openings/1`, `openings/2`, `schema is "openings/2"`},
		{"another task", `"T1"`, `"T4"`, `task is "T4"; expected T1, a search for openings; T4, a day in progress, is for chairblock delay`},
		{"a task that nobody knows", `"T1"`, `"T7"`, `task is "T7"; expected T1, a search for openings`},
		{"no task", `"task": "T1", `, ``, `task is missing`},
		{"minutes as text", `1440, "prem`, `"1440", "prem`, `minutes is "1440"; expected a whole number`},
		{"a fraction", `"minutes": 45`, `"minutes": 45.5`, `visit.phases[0].minutes is 45.5`},
		{"a huge number", `"minutes": 45`, `"minutes": 1e99`, `visit.phases[0].minutes is 1e99`},
		{"a number beyond 64 bits", `"minutes": 45`, `"minutes": 99999999999999999999`, `visit.phases[0].minutes is 9999`},
		{"no length", `"minutes": 45`, `"minutes": 0`, `visit.phases[0].minutes is 0`},
		{"an empty horizon", `1440, "prem`, `0, "prem`, `minutes is 0`},
		{"a span turned round", `[[560, 600]]`, `[[560, 600], [700, 690]]`, `units[0].bookings[1] is 700 to 690`},
		{"an empty span", `[[700, 730]]`, `[[700, 700]]`, `units[0].breaks[0] is 700 to 700`},
		{"a span beyond the horizon", `"premises": [[540, 1080]]`, `"premises": [[540, 1500]]`, `premises[0][1] is 1500`},
		{"a span before the origin", `[[560, 600]]`, `[[-5, 600]]`, `units[0].bookings[0][0] is -5`},
		{"a span of three", `[[560, 600]]`, `[[560, 600, 610]]`, `units[0].bookings[0] is a list of 3`},
		{"a span that is none", `[[560, 600]]`, `[560, 600]`, `units[0].bookings[0] is 560`},
		{"spans that are none", `[[560, 600]]`, `"all day"`, `units[0].bookings is "all day"; expected a list`},
		{"null in a span", `[[560, 600]]`, `[[560, null]]`, `units[0].bookings[0][1] is null`},
		{"bookings that overlap", `[[560, 600]]`, `[[640, 660], [560, 600], [599, 620]]`,
			`units[0].bookings[2] is 599 to 620 and overlaps bookings[1], 560 to 600`},
		{"a booking inside an earlier one", `[[560, 600]]`, `[[560, 700], [570, 580], [690, 705]]`,
			`units[0].bookings[2] is 690 to 705 and overlaps bookings[0], 560 to 700`},
		{"a booking twice", `[[560, 600]]`, `[[560, 600], [560, 600]]`, `units[0].bookings[1] is 560 to 600 and overlaps bookings[0]`},
		{"ten years", `1440, "prem`, `5256000, "prem`, `minutes is 5256000; expected a whole number from 1 to 1054080`},
		{"ten thousand units", `"units": [`, `"units": [` + strings.Repeat(`{},`, 10_000), `units has 10002 entries; expected at most 2000`},
		{"more roles than a search binds", `"roles": [{`, `"roles": [` + strings.Repeat(`{},`, 9) + `{`, `visit.roles has 11 entries; expected at most 8`},
		{"more phases than a visit has", `"phases": [{`, `"phases": [` + strings.Repeat(`{},`, 200) + `{`, `visit.phases has 202 entries`},
		{"a unit that is not there", `"kinds": ["chair"]`, `"kinds": ["chair"], "only": ["C1", "C9"]`, `visit.roles[1].only[1] is "C9"; expected the id of one of units`},
		{"a unit without name", `"id": "C1"`, `"id": ""`, `units[1].id is empty`},
		{"a negative wait", `"min": 0, "max": 5`, `"min": -1, "max": 5`, `visit.gaps[0].min is -1`},
		{"a wait of ten years", `"max": 5`, `"max": 5256000`, `visit.gaps[0].max is 5256000`},
		{"an object of too many members", `"id": "small"`, `"remarks": {` + manyMembers(1001) + `}`, `an object has too many members`},
		{"a negative changeover", `"changeover": 2`, `"changeover": -2`, `units[0].changeover is -2`},
		{"units without id", `"id": "C1", `, ``, `units[1].id is missing`},
		{"two units of one id", `"C1"`, `"S1"`, `units[1].id is "S1" again`},
		{"a unit that is none", `"units": [`, `"units": [7, `, `units[0] is 7; expected an object`},
		{"a kind of the wrong type", `"kind": "chair"`, `"kind": true`, `units[1].kind is true`},
		{"an unknown role", `"roles": ["chair"]`, `"roles": ["stool"]`, `visit.phases[1].roles[0] is "stool"`},
		{"an unknown role in hold", `"hold": ["chair"]`, `"hold": ["stool"]`, `visit.gaps[0].hold[0] is "stool"`},
		{"a role twice", `"role": "chair"`, `"role": "lead"`, `visit.roles[1].role is "lead" again`},
		{"a role twice in a phase", `["lead", "chair"]`, `["lead", "chair", "lead"]`, `visit.phases[0].roles[2] is "lead" again`},
		{"a role for nobody", `"kinds": ["chair"]`, `"kinds": []`, `visit.roles[1].kinds is empty`},
		{"a wait turned round", `"min": 0, "max": 5`, `"min": 6, "max": 5`, `visit.gaps[0] has min 6 and max 5`},
		{"a wait without end", `"max": 5`, `"max": null`, `visit.gaps[0].max is null`},
		{"too few gaps", `[{"min": 0, "max": 5, "hold": ["chair"]}]`, `[]`, `visit.gaps has 0 entries; expected 1`},
		{"no phases", `[{"name": "cut", "minutes": 45, "roles": ["lead", "chair"]}, {"name": "rest", "minutes": 5, "roles": ["chair"], "pool": null}]`,
			`null`, `visit.phases has 0 entries`},
		{"no visit", `"visit": {`, `"journey": {`, `visit is missing`},
		{"no query", `"query": {"from": 0, "to": 1439, "grid": 1, "end_by": null}, `, ``, `query is missing`},
		{"limits turned round", `"from": 0, "to": 1439`, `"from": 9, "to": 8`, `query.from is 9 with to 8`},
		{"a limit beyond the horizon", `"to": 1439`, `"to": 9999`, `query.to is 9999`},
		{"no grid", `"grid": 1, `, ``, `query.grid is missing`},
		{"a grid of nothing", `"grid": 1`, `"grid": 0`, `query.grid is 0`},
		{"an end as text", `"end_by": null`, `"end_by": "noon"`, `query.end_by is "noon"`},
		{"a misspelled member", `"bookings"`, `"bookigns"`, `units[0].bookigns is not a known member; expected bookings`},
		{"a member in capitals", `"premises"`, `"Premises"`, `Premises is not a known member; expected premises`},
		{"a member twice", `"id": "small"`, `"id": "small", "id": "big"`, `line 1: "id" is given twice`},
		{"an origin without offset", `00+02:00`, `00`, `origin is "2026-05-12T00:00:00"`},
		{"half a file", `"gaps": [{`, ``, `the file is not JSON: line 7:`},
		{"a list", smallProblem, `[]`, `the file is a list of 0; expected an object`},
		{"nothing", smallProblem, ``, `the file is not JSON`},
		{"two values", smallProblem, smallProblem + "{}", `the file is not JSON`},
		{"a picture", smallProblem, "\x89PNG\xff\xfe", `the file is not UTF-8 text`},
		{"too deep", `"id": "small"`, `"id": ` + strings.Repeat("[", 60) + strings.Repeat("]", 60), `lies too deep`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Contains(t, smallProblem, tt.old)
			_, err := problemfile.ReadOpenings(strings.NewReader(strings.Replace(smallProblem, tt.old, tt.new, 1)))
			require.ErrorContains(t, err, tt.want)
			require.NotContains(t, err.Error(), "\n")
		})
	}
}

// manyMembers are n members of an object, each of another name.
func manyMembers(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, `%q: 0,`, strconv.Itoa(i))
	}
	return strings.TrimSuffix(b.String(), ",")
}

func TestBookingsMayBeNearerThanTheChangeover(t *testing.T) {
	p, err := problemfile.ReadOpenings(strings.NewReader(
		strings.Replace(smallProblem, `[[560, 600]]`, `[[600, 620], [560, 600], [621, 622]]`, 1)))
	require.NoError(t, err)
	require.Len(t, p.Shop.Units[0].Bookings, 3)
}

func TestTheOrderOfWindowsIsOfNoImportance(t *testing.T) {
	one := strings.Replace(smallProblem, `"premises": [[540, 1080]]`, `"premises": [[540, 800], [800, 900], [950, 1080]]`, 1)
	other := strings.Replace(smallProblem, `"premises": [[540, 1080]]`, `"premises": [[950, 1080], [800, 900], [540, 800]]`, 1)
	a, err := problemfile.ReadOpenings(strings.NewReader(one))
	require.NoError(t, err)
	b, err := problemfile.ReadOpenings(strings.NewReader(other))
	require.NoError(t, err)
	require.Positive(t, search(t, a).Count())
	require.Equal(t, search(t, a).Ranges(), search(t, b).Ranges())
}

func TestReadOpeningsPassesOverMembersItDoesNotKnow(t *testing.T) {
	_, err := problemfile.ReadOpenings(strings.NewReader(
		strings.Replace(smallProblem, `"id": "S1"`, `"id": "S1", "remark": {"by": ["the desk"]}`, 1)))
	require.NoError(t, err)
}

func TestReadOpeningsListsSomeFaultsAndCountsTheRest(t *testing.T) {
	_, err := problemfile.ReadOpenings(strings.NewReader(
		strings.Replace(smallProblem, `[[560, 600]]`, `[`+strings.Repeat("0,", 99)+`0]`, 1)))
	require.ErrorContains(t, err, "and 80 more faults")
	require.Less(t, len(err.Error()), 2000)
}

func TestReadOpeningsRefusesFilesThatAreTooLong(t *testing.T) {
	_, err := problemfile.ReadOpenings(strings.NewReader(strings.Repeat(" ", longest) + smallProblem))
	require.ErrorContains(t, err, "the file is too long")
}

// search answers p.
func search(t *testing.T, p *problemfile.OpeningsProblem) *openings.StartSet {
	t.Helper()
	snap, err := openings.NewSnapshot(p.Shop)
	require.NoError(t, err)
	plan, err := openings.Compile(p.Visit, snap)
	require.NoError(t, err)
	x, err := plan.Search(snap, p.Query)
	require.NoError(t, err)
	return x
}

// BenchmarkReadOpenings reads the file from memory.
func BenchmarkReadOpenings(b *testing.B) {
	data, err := os.ReadFile(filepath.Join(problems, "bench-60-days.json"))
	require.NoError(b, err)
	b.ReportAllocs()
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := problemfile.ReadOpenings(bytes.NewReader(data)); err != nil {
			b.Fatal(err)
		}
	}
}
