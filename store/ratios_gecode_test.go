package store_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling/openings"
)

// solver is the path of MiniZinc. Without it the test is skipped, or fails where
// CI=true promises it.
func solver(t testing.TB) string {
	t.Helper()
	path, err := exec.LookPath("minizinc")
	if err != nil {
		require.NotEqual(t, "true", os.Getenv("CI"), "CI needs minizinc")
		t.Skip("SKIPPED: needs minizinc, otherwise no general solver looks for the first start")
	}
	return path
}

// firstStartModel asks MiniZinc for the first start. The model is an informed
// one: it is given, for every step, the set of starts at which a basin and hands
// are free for long enough, or each lead, and the runs of chairs.
func (q question) firstStartModel() string {
	var b strings.Builder
	last := len(q.Visit.Phases) - 1
	var lo, hi []string
	length := openings.Minute(0)
	for i, ph := range q.Visit.Phases {
		length += ph.Minutes
		if i < last {
			length += q.Visit.Gaps[i].Min
		}
	}
	lead, basins, hands := []int{}, []int{}, []int{}
	for u, unit := range q.Shop.Units {
		switch unit.Kind {
		case openings.Stylist:
			lead, hands = append(lead, u), append(hands, u)
		case openings.Assistant:
			hands = append(hands, u)
		case openings.Basin:
			basins = append(basins, u)
		case openings.Chair:
			for _, s := range q.free[u] {
				if s.To-s.From >= length {
					lo, hi = append(lo, fmt.Sprint(s.From)), append(hi, fmt.Sprint(s.To))
				}
			}
		}
	}
	fmt.Fprintf(&b, "array[1..%d] of int: lo = [%s];\narray[1..%d] of int: hi = [%s];\n",
		len(lo), strings.Join(lo, ","), len(hi), strings.Join(hi, ","))
	fmt.Fprintf(&b, "var 1..%d: run;\nvar 1..%d: lead;\n", len(lo), len(lead))
	given := map[openings.Minute]bool{}
	var starts []string
	for i, ph := range q.Visit.Phases {
		uses, s := q.uses(i), fmt.Sprintf("s%d", i)
		starts = append(starts, s)
		domain := fmt.Sprintf("0..%d", q.Shop.Minutes)
		if uses.basin {
			domain = set(q.anyFree(basins, ph.Minutes))
		}
		fmt.Fprintf(&b, "var %s: %s;\n", domain, s)
		if uses.hands {
			fmt.Fprintf(&b, "constraint %s in %s;\n", s, set(q.anyFree(hands, ph.Minutes)))
		}
		if uses.lead && !given[ph.Minutes] {
			given[ph.Minutes] = true
			var each []string
			for _, u := range lead {
				each = append(each, set(q.anyFree([]int{u}, ph.Minutes)))
			}
			fmt.Fprintf(&b, "array[1..%d] of set of int: lead%d = [%s];\n", len(lead), ph.Minutes, strings.Join(each, ","))
		}
		if uses.lead {
			fmt.Fprintf(&b, "constraint %s in lead%d[lead];\n", s, ph.Minutes)
		}
		if i > 0 {
			before, g := q.Visit.Phases[i-1].Minutes, q.Visit.Gaps[i-1]
			fmt.Fprintf(&b, "constraint s%d - s%d >= %d /\\ s%d - s%d <= %d;\n", i, i-1, before+g.Min, i, i-1, before+g.Max)
		}
	}
	fmt.Fprintf(&b, "constraint s0 >= lo[run] /\\ s%d + %d <= hi[run];\n", last, q.Visit.Phases[last].Minutes)
	fmt.Fprintf(&b, "solve :: int_search([%s,run,lead], input_order, indomain_min) minimize s0;\noutput [show(s0)];\n", strings.Join(starts, ","))
	return b.String()
}

// anyFree are the minutes from which one of units is free for n minutes.
func (q question) anyFree(units []int, n openings.Minute) []openings.Span {
	var out []openings.Span
	for _, u := range units {
		for _, s := range q.free[u] {
			if s.To-s.From >= n {
				out = append(out, openings.Span{From: s.From, To: s.To - n + 1})
			}
		}
	}
	return out
}

// set writes spans as a set of MiniZinc.
func set(spans []openings.Span) string {
	parts := []string{"1..0"}
	for _, s := range spans {
		parts = append(parts, fmt.Sprintf("%d..%d", s.From, s.To-1))
	}
	return strings.Join(parts, " union ")
}

var solveTime = regexp.MustCompile(`solveTime=([0-9.e+-]+)`)

// firstByGecode returns the first start, and how long the solver itself took
// once the model was read and flattened.
func firstByGecode(t testing.TB, path, file string) (openings.Minute, time.Duration) {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), path, "--solver", "org.gecode.gecode", "--statistics", file).Output()
	require.NoError(t, err)
	require.Contains(t, string(out), "==========", "proved")
	at := -1
	for line := range strings.Lines(string(out)) {
		if n, err := strconv.Atoi(strings.TrimSpace(line)); err == nil {
			at = n
		}
	}
	var seconds float64
	if m := solveTime.FindStringSubmatch(string(out)); m != nil {
		seconds, err = strconv.ParseFloat(m[1], 64)
		require.NoError(t, err)
	}
	return openings.Minute(at), time.Duration(seconds * float64(time.Second))
}

// modelFile writes the model for the first start.
func modelFile(t testing.TB, q question) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "first.mzn")
	require.NoError(t, os.WriteFile(file, []byte(q.firstStartModel()), 0o600))
	return file
}

func TestGecodeFindsTheSameFirstStartInSixtyDays(t *testing.T) {
	t.Parallel()
	path, q := solver(t), sixtyDays(t)
	first, ok, err := q.plan.Soonest(q.snap, q.Query)
	require.NoError(t, err)
	require.True(t, ok)
	found, _ := firstByGecode(t, path, modelFile(t, q))
	require.Equal(t, first, found)
}
