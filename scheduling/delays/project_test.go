package delays_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"chairblock/scheduling"
	"chairblock/scheduling/delays"
	"chairblock/scheduling/openings"
	"chairblock/scheduling/problemfile"

	"github.com/stretchr/testify/require"
)

const data = "../../testdata"

// TestPublishedProblemsHaveTheirProvenAnswers asks the day problems whose
// answers were proved with a general constraint solver (MiniZinc with Gecode).
func TestPublishedProblemsHaveTheirProvenAnswers(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(data, "problems", "t4-*.json"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			in, err := os.Open(file)
			require.NoError(t, err)
			defer in.Close()
			p, err := problemfile.ReadDelays(in)
			require.NoError(t, err)
			var want struct {
				Expect struct {
					Feasible bool                       `json:"feasible"`
					Starts   map[string]openings.Minute `json:"starts"`
					LastEnd  openings.Minute            `json:"last_end"`
					First    [3]string                  `json:"first_contradiction_met"`
				} `json:"expect"`
			}
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			require.NoError(t, json.Unmarshal(text, &want))

			got, err := delays.Project(p.Problem)
			require.NoError(t, err)
			require.Equal(t, want.Expect.Feasible, got.Feasible)
			require.Equal(t, want.Expect.Starts, got.Starts)
			require.Equal(t, want.Expect.LastEnd, got.LastEnd)
			if !got.Feasible {
				first := [3]string{got.Conflict.Before, got.Conflict.After, got.Conflict.Why}
				require.Equal(t, want.Expect.First, first)
			}
		})
	}
}

func TestAConflictNamesTheRulesThatForcedItInOrder(t *testing.T) {
	begun := func(m openings.Minute) *openings.Minute { return &m }
	got, err := delays.Project(delays.Problem{Minutes: 1440, Now: 640,
		Pieces: []delays.Piece{
			{ID: "a/rinse", Minutes: 40, Fixed: begun(630)},
			{ID: "b/process", Minutes: 30, Fixed: begun(620)},
			{ID: "b/rinse", Minutes: 10, NotBefore: 640, Closed: []openings.Span{{From: 675, To: 690}}}},
		Links: []delays.Link{
			{Before: "a/rinse", After: "b/rinse", Min: 1, Why: "clearing of basin 1"},
			{Before: "b/process", After: "b/rinse", Max: begun(5), Why: "rinse within 5"}}})
	require.NoError(t, err)
	require.False(t, got.Feasible)
	require.Equal(t, "a/rinse began at minute 630\n"+
		"b/rinse begins 1 minutes or more after the end of a/rinse (clearing of basin 1), at minute 671 or later\n"+
		"b/rinse may not touch minutes 675 to 690, so it begins at minute 690 or later\n"+
		"b/rinse begins 5 minutes or less after the end of b/process (rinse within 5), which therefore begins at minute 655 or later",
		got.Conflict.String())
}

func TestPiecesThatPushOneAnotherOnForEverAreALoop(t *testing.T) {
	limit := openings.Minute(5)
	got, err := delays.Project(delays.Problem{Minutes: openings.MaxHorizon,
		Pieces: []delays.Piece{{ID: "a", Minutes: 10}, {ID: "b", Minutes: 10}, {ID: "c", Minutes: 10}, {ID: "d", Minutes: 1}},
		Links: []delays.Link{{Before: "a", After: "b"}, {Before: "b", After: "c"}, {Before: "c", After: "d"},
			{Before: "a", After: "c", Min: 0, Max: &limit, Why: "c within 5"}}})
	require.NoError(t, err)
	require.False(t, got.Feasible)
	require.True(t, got.Conflict.Loop)
	require.Len(t, got.Conflict.Chain, 3, "a, b and c, and not what follows them: %s", got.Conflict)
}

func TestAPieceWithoutRoomSaysSo(t *testing.T) {
	got, err := delays.Project(delays.Problem{Minutes: 600, Pieces: []delays.Piece{
		{ID: "cut", Minutes: 45, NotBefore: 500, Closed: []openings.Span{{From: 540, To: 600}}}}})
	require.NoError(t, err)
	require.Empty(t, got.Conflict.Before)
	require.Equal(t, "cut", got.Conflict.After)
	require.Equal(t, "cut cannot begin before minute 500\n"+
		"cut may not touch minutes 540 to 600, so it begins at minute 600 or later", got.Conflict.String())
}

// TestProjectGivesPublishedEarliestAndLatestStarts reads textbook exercises of
// the critical path method and of three-point estimates; the sources stand in
// the file. Three-point means are counted in sixths, so that they are whole.
func TestProjectGivesPublishedEarliestAndLatestStarts(t *testing.T) {
	var file struct {
		Cases []struct {
			Name       string
			Kind       string
			Activities []struct {
				ID                              string
				Optimistic, Likely, Pessimistic int
				Duration                        float64
				After                           []string
			}
			Duration float64
			Table    map[string]struct{ ES, EF, LS, LF float64 }
		}
	}
	text, err := os.ReadFile(filepath.Join(data, "scheduling", "cpm_pert.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &file))
	published := map[string]float64{"cpm-9": 33, "pert-14": 50.83, "pert-11": 28.67}
	for _, c := range file.Cases {
		t.Run(c.Name, func(t *testing.T) {
			forward := delays.Problem{Minutes: 10_000}
			for _, a := range c.Activities {
				sixths := openings.Minute(a.Optimistic + 4*a.Likely + a.Pessimistic)
				if c.Kind == "CPM" {
					sixths = openings.Minute(6 * a.Duration)
				}
				forward.Pieces = append(forward.Pieces, delays.Piece{ID: a.ID, Minutes: sixths})
				for _, b := range a.After {
					forward.Links = append(forward.Links, delays.Link{Before: b, After: a.ID})
				}
			}
			backward := forward
			backward.Links = nil
			for _, l := range forward.Links {
				backward.Links = append(backward.Links, delays.Link{Before: l.After, After: l.Before})
			}
			first, err := delays.Project(forward)
			require.NoError(t, err)
			last, err := delays.Project(backward)
			require.NoError(t, err)
			require.InDelta(t, published[c.Name], float64(first.LastEnd)/6, 0.005)
			require.InDelta(t, c.Duration, float64(first.LastEnd)/6, 0.0001)
			for id, row := range c.Table {
				require.InDelta(t, row.ES, float64(first.Starts[id])/6, 0.0001, id)
				// The latest end is the earliest start of the day turned round.
				require.InDelta(t, row.LF, float64(last.LastEnd-last.Starts[id])/6, 0.0001, id)
			}
		})
	}
}

func TestProjectNamesThePlaceOfAFault(t *testing.T) {
	sound := func() delays.Problem {
		limit, begun := openings.Minute(5), openings.Minute(10)
		return delays.Problem{Minutes: 100, Pieces: []delays.Piece{
			{ID: "a", Minutes: 10, Fixed: &begun, Closed: []openings.Span{{From: 50, To: 60}}}, {ID: "b", Minutes: 10}},
			Links: []delays.Link{{Before: "a", After: "b", Min: 1, Max: &limit}}}
	}
	_, err := delays.Project(sound())
	require.NoError(t, err)
	at := func(m openings.Minute) *openings.Minute { return &m }
	for _, tt := range []struct {
		name  string
		spoil func(p *delays.Problem)
		want  string
	}{
		{"no horizon", func(p *delays.Problem) { p.Minutes = 0 }, "minutes is 0"},
		{"ten years", func(p *delays.Problem) { p.Minutes = 5_256_000 }, "minutes is 5256000"},
		{"now after the horizon", func(p *delays.Problem) { p.Now = 101 }, "now is 101"},
		{"no pieces", func(p *delays.Problem) { p.Pieces = nil }, "pieces is 0"},
		{"too many pieces", func(p *delays.Problem) { p.Pieces = make([]delays.Piece, 5001) }, "pieces is 5001"},
		{"too many links", func(p *delays.Problem) { p.Links = make([]delays.Link, 20_001) }, "links has 20001 entries"},
		{"too many windows", func(p *delays.Problem) {
			for i := range openings.Minute(20_001) {
				p.Pieces[1].Closed = append(p.Pieces[1].Closed, openings.Span{From: i, To: i + 1})
			}
		}, "pieces have 20002 closed windows"},
		{"a piece without name", func(p *delays.Problem) { p.Pieces[1].ID = "" }, "pieces[1].id is empty"},
		{"a piece twice", func(p *delays.Problem) { p.Pieces[1].ID = "a" }, `pieces[1].id is "a" again`},
		{"a piece of no length", func(p *delays.Problem) { p.Pieces[1].Minutes = 0 }, "pieces[1].minutes is 0"},
		{"not before the day", func(p *delays.Problem) { p.Pieces[1].NotBefore = -1 }, "pieces[1].not_before is -1"},
		{"begun after the day", func(p *delays.Problem) { p.Pieces[0].Fixed = at(101) }, "pieces[0].fixed_start is 101"},
		{"begun before the day", func(p *delays.Problem) { p.Pieces[0].Fixed = at(-1) }, "pieces[0].fixed_start is -1"},
		{"an empty window", func(p *delays.Problem) { p.Pieces[0].Closed[0].To = 50 }, "pieces[0].closed[0] is 50 to 50"},
		{"a window turned round", func(p *delays.Problem) { p.Pieces[0].Closed[0].To = 40 }, "pieces[0].closed[0] is 50 to 40"},
		{"a link from nothing", func(p *delays.Problem) { p.Links[0].Before = "z" }, `links[0].before is "z"`},
		{"a link to nothing", func(p *delays.Problem) { p.Links[0].After = "z" }, `links[0].after is "z"`},
		{"a link to itself", func(p *delays.Problem) { p.Links[0].After = "a" }, `links[0].after is "a" again`},
		{"an impossible wait", func(p *delays.Problem) { p.Links[0].Min = 6 }, "links[0].max is 5; expected at least min, which is 6"},
		{"a wait of ten years", func(p *delays.Problem) { p.Links[0].Max = at(5_256_000) }, "links[0].max is 5256000"},
		{"a wait into the past", func(p *delays.Problem) { p.Links[0].Min = -5_256_000 }, "links[0].min is -5256000"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := sound()
			tt.spoil(&p)
			_, err := delays.Project(p)
			require.ErrorContains(t, err, tt.want)
			var faults scheduling.Faults
			require.ErrorAs(t, err, &faults)
		})
	}
}

func TestAChainInTheWrongOrderIsStillWorkedOut(t *testing.T) {
	const n = 2000
	p := delays.Problem{Minutes: openings.MaxHorizon}
	for i := range n {
		p.Pieces = append(p.Pieces, delays.Piece{ID: fmt.Sprint(i), Minutes: 10})
	}
	for i := n - 1; i > 0; i-- {
		p.Links = append(p.Links, delays.Link{Before: fmt.Sprint(i - 1), After: fmt.Sprint(i)})
	}
	got, err := delays.Project(p)
	require.NoError(t, err)
	require.Equal(t, openings.Minute(10*n), got.LastEnd)
}

// Two pieces of a minute with no wait between them, which may both stand in odd
// minutes only, push one another through all windows.
func TestPiecesClimbThroughAllWindowsOnlyOnce(t *testing.T) {
	never := openings.Minute(0)
	p := delays.Problem{Minutes: 20_000, Pieces: []delays.Piece{{ID: "a", Minutes: 1}, {ID: "b", Minutes: 1}},
		Links: []delays.Link{{Before: "a", After: "b", Max: &never}}}
	for m := openings.Minute(0); m < 19_998; m += 2 {
		p.Pieces[0].Closed = append(p.Pieces[0].Closed, openings.Span{From: m, To: m + 1})
		p.Pieces[1].Closed = append(p.Pieces[1].Closed, openings.Span{From: m, To: m + 1})
	}
	got, err := delays.Project(p)
	require.NoError(t, err)
	require.True(t, got.Feasible)
	require.Equal(t, openings.Minute(19_997), got.Starts["a"])
}
