package api_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api/notify"
)

// named finds where the pages name a text, and any word that may be such a name.
var (
	named   = regexp.MustCompile(`\.(?:text|label|fact|head|sub|said)\("([a-z_]*[a-z])"[,)]|\.say\("[a-z]*", "([a-z_]*[a-z])"|\.link\([^\n]*, "([a-z_]*[a-z])", (?:true|false|len)|makeForm\([^\n]*?, "([a-z_]*[a-z])"`)
	anyWord = regexp.MustCompile(`"([a-z][a-z_]*)"`)
	// Names that are put together begin with these.
	begins = regexp.MustCompile(`^(done|state|asked|need|skin_test|hair_amount|hair_each|hair_porosity|ask_late|ask|topic|delete_now|delete_ask)_`)
)

func TestEveryTextThatAClientsPagesNameExistsAndEveryTextIsNamed(t *testing.T) {
	var english struct{ Pages map[string]string }
	require.NoError(t, json.Unmarshal(notify.EnglishFile(), &english))
	files, err := filepath.Glob("own*.go")
	require.NoError(t, err)
	words, found := map[string]bool{}, 0
	for _, file := range files {
		src, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range named.FindAllSubmatch(src, -1) {
			for _, name := range m[1:] {
				if len(name) > 0 {
					found++
					require.Contains(t, english.Pages, string(name), file)
				}
			}
		}
		for _, m := range anyWord.FindAllSubmatch(src, -1) {
			words[string(m[1])] = true
		}
	}
	require.Greater(t, found, 100)
	for name := range english.Pages {
		require.True(t, words[name] || begins.MatchString(name), "nothing names the text %s", name)
	}
}
