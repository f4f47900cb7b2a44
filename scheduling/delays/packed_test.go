package delays_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

// packedDay is the day of two stylists and five clients whose optimum, an end at
// minute 715, was proved with two general solvers (MiniZinc with Gecode, CBC),
// in a salon that closes at that minute: there is not one minute to spare.
func packedDay(t testing.TB) delays.Day {
	path := filepath.Join(data, "problems", "t3-09.json")
	in, err := os.Open(path)
	require.NoError(t, err)
	defer in.Close()
	p, err := problemfile.ReadPacking(in)
	require.NoError(t, err)
	var file struct {
		Expect struct {
			Optimal  openings.Minute
			Schedule struct {
				Visits []struct {
					Request string
					Roles   map[string]string
					Phases  []struct {
						Phase      string
						Start, End openings.Minute
						Pool       []string
					}
				}
			}
		}
	}
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &file))
	d := delays.Day{Shop: p.Problem.Shop, Now: 540}
	open := []openings.Span{{From: 540, To: file.Expect.Optimal}}
	d.Shop.Premises = open
	for i := range d.Shop.Units {
		d.Shop.Units[i].Open = open
	}
	for k, r := range p.Problem.Requests {
		w := file.Expect.Schedule.Visits[k]
		require.Equal(t, r.ID, w.Request)
		v := delays.Visit{ID: r.ID, Name: r.ID, Spec: r.Visit, Booked: openings.Schedule{Roles: w.Roles}}
		for _, ph := range w.Phases {
			v.Booked.Phases = append(v.Booked.Phases, openings.Placed{Phase: ph.Phase, Start: ph.Start, End: ph.End, Pool: ph.Pool})
			v.Care = append(v.Care, delays.Care{Keep: ph.Phase == "process" || ph.Phase == "rinse", Product: ph.Phase == "process" ||
				ph.Phase == "apply"})
		}
		d.Visits = append(d.Visits, v)
	}
	return d
}

// late is the packed day at minute 541: of the two clients who come first, one
// began on time and one a minute late.
func late(t testing.TB, id string) delays.Day {
	d := packedDay(t)
	d.Now = 541
	for k := range d.Visits {
		v := &d.Visits[k]
		switch {
		case v.ID == id:
			happened(v, 541)
		case v.Booked.Phases[0].Start == 540:
			happened(v, 540)
		}
	}
	return d
}

func TestAFullyPackedDayOnTimeNeedsNothing(t *testing.T) {
	d := packedDay(t)
	p, err := d.Project()
	require.NoError(t, err)
	require.Empty(t, p.Broken)
	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	require.Empty(t, remedies)
}

func TestOneMinuteBreaksAFullyPackedDayAndThereIsARemedy(t *testing.T) {
	d := late(t, "a")
	strict, _, err := d.Problem()
	require.NoError(t, err)
	x, err := delays.Project(strict)
	require.NoError(t, err)
	require.False(t, x.Feasible)

	p, err := d.Project()
	require.NoError(t, err)
	require.Len(t, p.Broken, 2)
	require.Equal(t, "b would stay until 11:56, 1 minute while the salon is closed, from 11:55 on", p.Broken[0].Words)
	require.Equal(t, []string{
		"“apply solution” of a runs since 09:01 and ends at 09:31 at the earliest",
		"“dry” of a follows “rinse”, at 10:16 or later",
		"C1 is taken by a until 10:41: “cut” of e has to wait",
		"S2 is taken by e until 11:31: “dry” of b has to wait",
		"the salon is closed from 11:55 on: there is no time for “dry” of b"}, p.Broken[0].Chain)

	remedies, err := d.Remedies(t.Context(), delays.Options{})
	require.NoError(t, err)
	var words []string
	for _, r := range remedies {
		words = append(words, r.Words)
	}
	require.Equal(t, []string{
		"Do not start e, rebook: open until 10:41",
		"Do not start b, rebook: open until 10:06",
		"Ask for patience: b would stay until 11:56, 1 minute while the salon is closed, from 11:55 on; S2 would work 1 minute outside of the hours, from 11:55 on",
	}, words)
	require.Empty(t, remedies[0].Left)
	require.Equal(t, openings.Minute(641), *remedies[0].OpenUntil)
	require.Equal(t, []string{"e"}, remedies[0].Moved)
	require.Equal(t, []delays.Ask{{Visit: "b"}, {Unit: "S2"}}, remedies[2].Asks)
}

func TestSlackOnAPackedDayIsUsed(t *testing.T) {
	p, err := late(t, "d").Project()
	require.NoError(t, err)
	require.Empty(t, p.Broken, "fifteen minutes lie free after d")
	require.Equal(t, openings.Minute(1), p.LateMinutes)
}
