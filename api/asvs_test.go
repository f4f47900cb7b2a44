package api_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// applies are the ids of OWASP ASVS 5.0.0 that the list has to speak of.
const applies = `1.2.1 1.2.2 1.2.3 1.2.4 1.3.6 1.3.11 2.2.1 2.2.2 2.2.3 2.3.1 2.3.3 2.3.4 2.4.1 3.2.2 3.3.1 3.3.2 3.3.3 3.3.4
	3.4.1 3.4.2 3.4.3 3.4.4 3.4.5 3.4.6 3.5.1 3.5.3 4.1.1 4.1.3 4.2.1 5.4.2 6.2.1 6.2.4 6.2.7 6.2.8 6.2.9 6.2.12 6.3.1 6.3.2 6.3.3
	6.4.1 6.4.3 6.4.4 6.5.1 6.5.2 6.5.3 6.5.4 6.5.5 7.2.3 7.2.4 7.3.1 7.3.2 7.4.1 7.4.2 7.4.5 7.5.2 8.2.1 8.2.2 8.2.3 8.3.1
	11.4.2 11.5.1 12.2.1 12.3.1 12.3.2 13.2.4 13.4.2 13.4.4 13.4.5 14.2.1 14.3.2 14.3.3 15.1.2 15.3.1 15.3.2 15.3.3
	16.2.5 16.3.1 16.3.2 16.3.3 16.4.1 16.5.1 16.5.2 16.5.3`

var testName = regexp.MustCompile(`(?m)^func (Test[A-Z]\w*)\(t \*testing\.T\)`)

func TestEveryRequirementNamesTestsThatExist(t *testing.T) {
	t.Parallel()
	known := map[string]bool{}
	require.NoError(t, filepath.WalkDir("..", func(path string, _ fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		for _, m := range testName.FindAllSubmatch(text, -1) {
			known[string(m[1])] = true
		}
		return err
	}))
	require.Greater(t, len(known), 1000)
	text, err := os.ReadFile("ASVS.md")
	require.NoError(t, err)
	var said []string
	for line := range strings.Lines(string(text)) {
		if !regexp.MustCompile(`^\| \d`).MatchString(line) {
			continue
		}
		cells := strings.Split(strings.TrimSpace(line), "|")
		require.Len(t, cells, 6, line)
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		id, asks, state, tests := cells[1], cells[2], cells[3], strings.FieldsFunc(cells[4], func(r rune) bool { return r == ',' || r == ' ' })
		said = append(said, id)
		require.NotEmpty(t, asks, id)
		require.Regexp(t, `^(met|in part: .+|not met.*: .+)$`, state, "%s says plainly whether it is met, and why not", id)
		require.True(t, len(tests) > 0 || strings.HasPrefix(state, "not met"), "%s is proven by a test", id)
		for _, name := range tests {
			require.True(t, known[name], "%s names %s, which is no test", id, name)
		}
	}
	require.Equal(t, strings.Fields(applies), said)
}
