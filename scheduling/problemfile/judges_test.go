package problemfile_test

import (
	"context"
	"encoding/json"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The tests in the files judge_*_test.go let programs of other people judge our
// answers: a general constraint solver (MiniZinc with Gecode) and a solver for
// linear programs in whole numbers (CBC). Their models are written from what the
// schema says and share no code with the searches.

// judged is how many problems of each kind are judged: each is a program of its own
// to start. They are the same ones every time.
var judged = flag.Int("judged", 14, "random problems of each kind that other programs judge")

// judgeTime is how long one question to a judge may take. Most take a tenth of a
// second; a question that takes longer than this was made too large.
const judgeTime = 60 * time.Second

// judge is the path of a program that judges. Without it the test is skipped, or
// fails where CI=true promises it.
func judge(t testing.TB, program, debian string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		require.NotEqual(t, "true", os.Getenv("CI"), "CI needs %s (Debian package %s)", program, debian)
		t.Skipf("SKIPPED: needs %s (Debian package %s), otherwise nobody else judges our answers", program, debian)
	}
	return path
}

// ask runs a judge on a file of its own.
func ask(t testing.TB, path, file, model string, args ...string) string {
	t.Helper()
	dir := t.TempDir()
	name := filepath.Join(dir, file)
	require.NoError(t, os.WriteFile(name, []byte(model), 0o600))
	ctx, cancel := context.WithTimeout(t.Context(), judgeTime)
	defer cancel()
	for i, a := range args {
		args[i] = strings.ReplaceAll(a, "FILE", name)
	}
	cmd := exec.CommandContext(ctx, path, args...)
	cmd.Dir = dir
	var errs strings.Builder
	cmd.Stderr = &errs
	out, err := cmd.Output()
	require.NoError(t, ctx.Err(), "no answer within %v to\n%s", judgeTime, model)
	require.NoError(t, err, "%s%s\n%s", out, errs.String(), model)
	return string(out)
}

// gecode solves a MiniZinc model to the end and returns the values of its
// variables in the best solution, nil when it proved that there is none.
func gecode(t testing.TB, model string) map[string]any {
	t.Helper()
	out := ask(t, judge(t, "minizinc", "minizinc"), "model.mzn", model,
		"--solver", "org.gecode.gecode", "--output-mode", "json", "FILE")
	if strings.Contains(out, "=====UNSATISFIABLE=====") {
		return nil
	}
	solutions, complete := strings.CutSuffix(strings.TrimSpace(out), "==========")
	require.True(t, complete, "not proved:\n%s\n%s", out, model)
	all := strings.Split(strings.TrimSuffix(strings.TrimSpace(solutions), "----------"), "----------")
	var best map[string]any
	require.NoError(t, json.Unmarshal([]byte(all[len(all)-1]), &best), out)
	return best
}
