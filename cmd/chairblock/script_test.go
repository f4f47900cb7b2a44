package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/migrations"
	"chairblock/store"
	"chairblock/store/storetest"
)

var update = flag.Bool("update", false, "rewrite the wanted output of the script files")

// asProgram makes the test binary behave as chairblock itself.
const asProgram = "CHAIRBLOCK_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
		return
	}
	if what := os.Getenv(asSender); what != "" {
		sendAll(what)
		return
	}
	code := storetest.Main(m, store.Migrate, migrations.Hash())
	cleanUp()
	os.Exit(code)
}

// cleanUp removes what tests have left for each other.
var cleanUp = func() {}

// script is one test in a file: a command line, perhaps its standard input,
// and what the program must answer.
//
//	$ chairblock estimate --file -
//	< {"length_cm": 35}
//	wanted standard output
//	! wanted standard error
//	? exit code, when it is not 0
type script struct {
	line         int
	args         []string
	input        string
	stdout, errs string
	code         int
}

func readScripts(t *testing.T, path string) (comment string, scripts []script) {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	for i, line := range strings.SplitAfter(string(data), "\n") {
		if args, ok := strings.CutPrefix(line, "$ chairblock"); ok {
			scripts = append(scripts, script{line: i + 1, args: strings.Fields(args)})
			continue
		}
		if len(scripts) == 0 {
			comment += line
			continue
		}
		s := &scripts[len(scripts)-1]
		switch {
		case strings.HasPrefix(line, "< "):
			s.input += line[2:]
		case strings.HasPrefix(line, "! "):
			s.errs += line[2:]
		case strings.HasPrefix(line, "? "):
			_, err := fmt.Sscanf(line, "? %d", &s.code)
			require.NoError(t, err, "%s:%d", path, i+1)
		default:
			s.stdout += line
		}
	}
	return comment, scripts
}

func (s script) String() string {
	var b strings.Builder
	mark := func(text, with string) {
		for line := range strings.Lines(text) {
			b.WriteString(with + line)
		}
	}
	fmt.Fprintf(&b, "$ chairblock %s\n", strings.Join(s.args, " "))
	mark(s.input, "< ")
	mark(s.stdout, "")
	mark(s.errs, "! ")
	if s.code != 0 {
		fmt.Fprintf(&b, "? %d\n", s.code)
	}
	return b.String()
}

func runProgram(t *testing.T, s script) script {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	var stdout, errs bytes.Buffer
	cmd := exec.Command(self, s.args...)
	cmd.Env = append(os.Environ(), asProgram+"=1")
	cmd.Dir = "testdata"
	cmd.Stdin, cmd.Stdout, cmd.Stderr = strings.NewReader(s.input), &stdout, &errs
	if err := cmd.Run(); err != nil {
		require.ErrorAs(t, err, new(*exec.ExitError))
	}
	s.code = cmd.ProcessState.ExitCode()
	s.stdout, s.errs = stdout.String(), errs.String()
	return s
}

func TestScripts(t *testing.T) {
	paths, err := filepath.Glob("testdata/*.script")
	require.NoError(t, err)
	require.NotEmpty(t, paths)
	for _, path := range paths {
		t.Run(filepath.Base(path), func(t *testing.T) {
			comment, scripts := readScripts(t, path)
			rewritten := comment
			for _, want := range scripts {
				got := runProgram(t, want)
				rewritten += got.String() + "\n"
				if *update {
					continue
				}
				blank := strings.TrimRight(want.stdout, "\n")
				require.Equal(t, blank, strings.TrimRight(got.stdout, "\n"), "%s:%d, standard output", path, want.line)
				require.Equal(t, want.errs, got.errs, "%s:%d, standard error", path, want.line)
				require.Equal(t, want.code, got.code, "%s:%d, exit code", path, want.line)
				for line := range strings.Lines(got.errs) {
					require.True(t, strings.HasPrefix(line, "chairblock: "), line)
				}
			}
			if *update {
				require.NoError(t, os.WriteFile(path, []byte(strings.TrimRight(rewritten, "\n")+"\n"), 0o644))
			}
		})
	}
}
