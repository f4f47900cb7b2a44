package notify

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

func london(t *testing.T) *time.Location {
	loc, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	return loc
}

// withPages is a language file with texts of pages.
func withPages(t *testing.T, file string, pages map[string]string) (*Words, error) {
	t.Helper()
	doc, err := os.ReadFile("testdata/languages/" + file)
	require.NoError(t, err)
	var all map[string]any
	require.NoError(t, json.Unmarshal(doc, &all))
	all["pages"] = pages
	doc, err = json.Marshal(all)
	require.NoError(t, err)
	return ParseWords(doc)
}

func TestEveryEnglishTextOfAPageSaysSomething(t *testing.T) {
	p := PageWords{Words: English(), Zone: time.UTC, Hour24: true, Now: time.Date(2026, 6, 8, 9, 0, 0, 0, time.UTC)}
	require.Greater(t, len(englishPages), 150)
	for name, text := range englishPages {
		says := Says{}
		for n := range pageNames(text) {
			says[n] = "Mara"
		}
		got, in := p.Text(name, says)
		require.NotEmpty(t, got, name)
		require.Empty(t, in, name)
		require.NotContains(t, got, "{", name)
	}
	require.Empty(t, English().MissingPages())
}

func TestATextOfAPageIsWrittenInItsLanguageAsFarAsTheFileGoes(t *testing.T) {
	w, err := withPages(t, "de.json", map[string]string{"title_visits": "Ihre Termine", "dry_until": "Haar trocken bis {until}"})
	require.NoError(t, err)
	p := PageWords{Words: w, Zone: london(t), Hour24: true, Now: time.Date(2026, 6, 8, 9, 0, 0, 0, time.UTC)}
	at := time.Date(2026, 6, 10, 13, 5, 0, 0, time.UTC)
	for _, tt := range []struct {
		name     string
		says     Says
		text, in string
	}{
		{"title_visits", nil, "Ihre Termine", ""},
		{"dry_until", Says{"until": at}, "Haar trocken bis Mittwoch, 10. Juni, 14:05 Uhr", ""},
		{"untied_until", Says{"until": at}, "Hair untied until Wednesday 10 June, 14:05", "en"}, // with its dates
		{"no_such_text", nil, "", "en"},
	} {
		text, in := p.Text(tt.name, tt.says)
		require.Equal(t, []string{tt.text, tt.in}, []string{text, in}, tt.name)
	}
	require.Equal(t, "Mittwoch, 10. Juni", p.Day(at))
	require.Equal(t, "4 Stunden 15 Minuten", strings.ReplaceAll(p.Long(255*time.Minute), "\u00a0", " "))
	require.NotContains(t, w.MissingPages(), "dry_until")
	require.Contains(t, w.MissingPages(), "untied_until")
}

func TestWhatAPageSaysOfFactsIsCleanedAndWrittenByTheirKind(t *testing.T) {
	p := PageWords{Words: English(), Zone: time.UTC, Hour24: true, Now: time.Date(2026, 6, 8, 9, 0, 0, 0, time.UTC)}
	text, _ := p.Text("for_guardian", Says{"guardian": "Ro\u202esa\n Quist", "child": "{until}"})
	require.Equal(t, "For Rosa Quist, about {until}", text)
	text, _ = p.Text("retouch_from", Says{"due": date.New(2026, time.September, 1)})
	require.Equal(t, "Enough new hair for a retouch is expected on Tuesday 1 September.", text)
	text, _ = p.Text("retouch_from", Says{"due": date.New(2028, time.September, 1)})
	require.Contains(t, text, "2028", "a far day has its year")
	text, _ = p.Text("hair_length", Says{"length": Hair(35.2)})
	require.Equal(t, "35 cm long", text)
	p.Inches = true
	text, _ = p.Text("hair_length", Says{"length": Hair(35.2)})
	require.Equal(t, "14 inches long", text)
	text, _ = p.Text("consent_line", Says{"by": "Mara", "on": Day(p.Now)})
	require.Equal(t, "Mara agreed on Monday 8 June.", text)
}

func TestAFileWithBadTextsOfPagesIsRefusedByTheirNames(t *testing.T) {
	for _, tt := range []struct {
		name  string
		pages map[string]string
		field string
	}{
		{"a text that nobody asks for", map[string]string{"titel": "Ihre Termine"}, "pages"},
		{"nothing", map[string]string{"title_visits": " "}, "pages.title_visits"},
		{"too much", map[string]string{"title_visits": strings.Repeat("x", 2001)}, "pages.title_visits"},
		{"what the English text does not speak of", map[string]string{"dry_until": "bis {until} bei {lead}"}, "pages.dry_until"},
		{"a tag without an end", map[string]string{"dry_until": "{if until}bis {until}"}, "pages.dry_until"},
	} {
		_, err := withPages(t, "de.json", tt.pages)
		var f scheduling.Faults
		require.ErrorAs(t, err, &f, tt.name)
		require.Equal(t, tt.field, f[0].Field, tt.name)
	}
}
