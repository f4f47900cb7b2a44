package pace

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

const oneRecord = `{"schema": "pace/1", "time_zone": "Europe/Lisbon", "constants": {"noise_sd": 0.25}, "names": {"s1": "Ada"},
	"observations": [{"visit": "v1", "staff": "s1", "kind": "iron", "sheet_minutes": 77, "sheet_sd_minutes": 19.25, "real_minutes": 86, "at": "2026-05-07T09:00:00+01:00"}],
	"promises": [{"visit": "v1", "staff": "s1", "at": "2026-05-07T09:00:00+01:00", "quantile": 0.8, "promise_minutes": 262, "block_minutes": 270, "real_minutes": 251}]}`

func TestRecordsAreReadFromJSON(t *testing.T) {
	r, err := Read(strings.NewReader(oneRecord))
	require.NoError(t, err)
	at := time.Date(2026, 5, 7, 8, 0, 0, 0, time.UTC)
	require.True(t, r.AsOf.Equal(at))
	require.Equal(t, "Europe/Lisbon", r.Loc.String())
	require.Equal(t, 0.25, r.Settings.Noise)
	require.Equal(t, "Ada", r.Names["s1"])
	o := r.Observations[0]
	o.At = o.At.UTC()
	require.Equal(t, Observation{Visit: "v1", Staff: "s1", Kind: scheduling.Iron, Sheet: 77, SD: 19.25, Real: 86, At: at, Steps: 1}, o)
	require.Equal(t, 251.0, r.Promises[0].Real)
}

func TestRecordsAreReadFromCSV(t *testing.T) {
	r, err := Read(strings.NewReader("at,visit,staff,kind,real_minutes,sheet_minutes,left_out,steps\n" +
		"2026-05-07T09:00:00+01:00,v1,ada,iron,86,77,,\n2026-05-08T09:00:00+01:00,v2,ada,dry_2,20,14.6,interrupted,5\n"))
	require.NoError(t, err)
	require.Len(t, r.Observations, 2)
	require.Equal(t, []any{1, Reason("")}, []any{r.Observations[0].Steps, r.Observations[0].Out})
	require.Equal(t, []any{5, Interrupted, 14.6}, []any{r.Observations[1].Steps, r.Observations[1].Out, r.Observations[1].Sheet})
	require.Equal(t, 8, r.AsOf.Day())
}

func TestWrongFilesSayWhatIsWrongAndWhere(t *testing.T) {
	with := func(old, new string) string { return strings.Replace(oneRecord, old, new, 1) }
	for _, tt := range []struct{ name, file, want string }{
		{"nothing", "", "the file has no line of headings"},
		{"cut off", oneRecord[:200], "the file ends in the middle"},
		{"another schema", with("pace/1", "pace/9"), `schema is "pace/9"; expected pace/1`},
		{"an unknown field", with(`"visit": "v1", "staff"`, `"visitor": "v1", "staff"`), `unknown field "visitor"`},
		{"text for a number", with(`"real_minutes": 86`, `"real_minutes": "long"`), "real_minutes holds a JSON string; expected a number"},
		{"a time in words", with(`"at": "2026-05-07T09:00:00+01:00", "quantile"`, `"at": "noon", "quantile"`), "noon"},
		{"no JSON", `{"schema": pace}`, "line 1: invalid character 'p'"},
		{"two objects", oneRecord + "{}", "something follows the object"},
		{"no such zone", with("Europe/Lisbon", "Local"), `time_zone is "Local"`},
		{"the machine's own zone", with("Europe/Lisbon", "localtime"), `time_zone is "localtime"`},
		{"no such constant", with("noise_sd", "noise"), "constants.noise is not a setting of pace"},
		{"a constant out of range", with("0.25", "9"), "constants.noise_sd is 9; expected 0.05 to 0.6"},
		{"a wrong kind", with(`"kind": "iron"`, `"kind": "dwell"`), `observations[0].kind is "dwell"`},
		{"zero steps", with(`"kind": "iron"`, `"kind": "iron", "steps": 0`), "observations[0].steps is 0"},
		{"a wrong share", with(`"quantile": 0.8`, `"quantile": 80`), "promises[0].quantile is 80; expected 0.5 to 0.99"},
		{"headings", "visit,staff,what\n", `headings have "what"`},
		{"missing headings", "visit,staff\n", `headings lack "kind"`},
		{"a heading twice", "visit,visit\n", `headings have "visit"`},
		{"short line", "visit,staff,kind,sheet_minutes,real_minutes,at\nv1,ada\n", "wrong number of fields"},
		{"no number", "visit,staff,kind,sheet_minutes,real_minutes,at\nv1,ada,iron,x,86,2026-05-07T09:00:00Z\n", `observations[0].sheet_minutes is "x"`},
		{"no time", "visit,staff,kind,sheet_minutes,real_minutes,at\nv1,ada,iron,77,86,yesterday\n", `observations[0].at is "yesterday"`},
	} {
		_, err := Read(strings.NewReader(tt.file))
		require.ErrorContains(t, err, tt.want, tt.name)
		_, many := errors.AsType[scheduling.Faults](err)
		_, one := errors.AsType[*scheduling.InvalidError](err)
		require.True(t, many || one, "%s: %T", tt.name, err)
	}
}

func TestManyFaultsAreCutOff(t *testing.T) {
	rows := "visit,staff,kind,sheet_minutes,real_minutes,at\n" + strings.Repeat("v1,ada,iron,-1,86,2026-05-07T09:00:00Z\n", 500)
	_, err := Read(strings.NewReader(rows))
	faults, ok := errors.AsType[scheduling.Faults](err)
	require.True(t, ok)
	require.LessOrEqual(t, len(faults), mostFaults+1)
}

func FuzzReadNeverPanics(f *testing.F) {
	f.Add(oneRecord)
	f.Add("visit,staff,kind,sheet_minutes,real_minutes,at\nv1,ada,iron,77,86,2026-05-07T09:00:00Z\n")
	f.Fuzz(func(t *testing.T, s string) {
		r, err := Read(strings.NewReader(s))
		if err != nil {
			return
		}
		fit, err := Fitter{Settings: r.Settings}.Fit(r.Observations, r.AsOf)
		if err != nil {
			t.Fatal(err)
		}
		for _, row := range fit.Rows {
			if !(row.Factor >= leastFactor && row.Factor <= mostFactor && row.Low <= row.Factor && row.Factor <= row.High) {
				t.Fatalf("%+v", row)
			}
		}
		Promises(r.Promises, r.Loc)
	})
}
