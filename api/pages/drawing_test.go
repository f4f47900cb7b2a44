package pages

import (
	"bytes"
	"compress/gzip"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares got with a file of testdata, or writes it under -update.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run go test -update and look at the picture")
	require.Equal(t, string(want), string(got), "run go test -update and look at the picture")
}

func TestTheStraighteningDayIsDrawnAsSettled(t *testing.T) {
	s, err := straighteningBoard().StandaloneSVG()
	require.NoError(t, err)
	golden(t, "straightening-day.svg", s)
}

func TestAnImageOfItsOwnHasNeitherLinksNorOutsideHelp(t *testing.T) {
	s, err := straighteningBoard().StandaloneSVG()
	require.NoError(t, err)
	for _, bad := range []string{"<a ", "href", "<script", "http://www.w3.org/1999", "@import", "https:"} {
		lacks(t, string(s), bad)
	}
	require.Equal(t, 1, strings.Count(string(s), "<svg"))
	require.Contains(t, string(s), "Corner Salon · Thursday 11 June")
}

// hostile is what somebody might type as a name.
var hostile = []string{
	`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `' onmouseover='alert(1)`, `]]>`, `<!--`, `&lt;b&gt;`,
	"\x00\x01\x1f", "\xff\xfe", "\u202e\u2066", `</svg><style>*{}</style>`, `{{.}}`, `javascript:alert(1)`, "a\r\nb", "\ufffe",
}

func hostileBoard(s string) Board {
	b := straighteningBoard()
	b.Salon, b.DateLabel, b.ZoneLabel = s, s, s
	b.Conflicts, b.Notes = []string{s}, []string{s}
	for _, lines := range [][]Line{b.People, b.Stations} {
		for i := range lines {
			l := &lines[i]
			l.Name, l.Role = s, s
			for j := range l.Parts {
				p := &l.Parts[j]
				p.Code, p.Label, p.Chair, p.Title = s, s, s, s
			}
			for j := range l.Core {
				l.Core[j].Code = s
			}
			for j := range l.Free {
				l.Free[j].Text = s
			}
			l.Shadows = []Shadow{{TimeSpan{on11June(13, 30), on11June(13, 52)}, s, s, "/visits/1"}}
			l.Candidates = []Candidate{{on11June(17, 0), on11June(17, 30), s, s, "", CandidateOffer}}
		}
	}
	return b
}

// lacks demands that page does not hold bad, without printing all of the page.
func lacks(t *testing.T, page, bad string) {
	t.Helper()
	if i := strings.Index(page, bad); i >= 0 {
		t.Fatalf("%q stands in …%q…", bad, page[max(0, i-60):min(len(page), i+60)])
	}
}

func TestHostileNamesStayTextInTheDrawing(t *testing.T) {
	known := map[string]bool{"svg": true, "style": true, "defs": true, "pattern": true, "path": true, "rect": true, "g": true, "text": true, "a": true, "title": true, "p": true}
	for _, s := range hostile {
		for _, alone := range []bool{true, false} {
			b := hostileBoard(s)
			b.People, b.Stations = b.People[:1], b.Stations[:1]
			out, err := b.draw(alone)
			require.NoError(t, err)
			d := xml.NewDecoder(bytes.NewReader(out))
			var titles []string
			for {
				tok, err := d.Token()
				if errors.Is(err, io.EOF) {
					break
				}
				require.NoError(t, err, "%q makes bad XML", s)
				e, ok := tok.(xml.StartElement)
				if !ok {
					continue
				}
				require.True(t, known[e.Name.Local], "%q became <%s>", s, e.Name.Local)
				for _, a := range e.Attr {
					require.NotContains(t, strings.ToLower(a.Name.Local), "on", "%q became an attribute", s)
				}
				if e.Name.Local == "title" {
					var text string
					require.NoError(t, d.DecodeElement(&text, &e))
					titles = append(titles, text)
				}
			}
			require.Contains(t, titles[0], clean(s), "the name is still there")
		}
	}
}

func TestHostileNamesStayTextOnTheBoardPage(t *testing.T) {
	for _, s := range hostile {
		out := string(boardPage(t, hostileBoard(s)))
		for _, bad := range []string{"<script>alert", "<img", "<style", "onerror=alert(1)>", "<!--", "\x00", "\u202e"} {
			lacks(t, out, bad)
		}
		lacks(t, out, " style=")
		lacks(t, out, " onmouseover='")
		require.Equal(t, 2, strings.Count(out, "<script"), "from %q", s)
	}
}

func TestBoardsThatCannotBeDrawnAreRefusedByField(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*Board)
		field  string
	}{
		{"no times", func(b *Board) { b.From = time.Time{} }, "from"},
		{"no length", func(b *Board) { b.To = b.From }, "to"},
		{"a week", func(b *Board) { b.To = b.From.AddDate(0, 0, 7) }, "to"},
		{"too narrow", func(b *Board) { b.Width = 100 }, "width"},
		{"a link elsewhere", func(b *Board) { b.BookHref = "//example.org/" }, "book_href"},
		{"a script as link", func(b *Board) { b.People[0].Parts[0].Href = "javascript:alert(1)" }, "people[0].parts[0].href"},
		{"a link with a line break", func(b *Board) { b.People[0].Parts[0].Href = "/a\nb" }, "people[0].parts[0].href"},
		{"an unknown kind", func(b *Board) { b.Stations[1].Parts[0].Kind = "dance" }, "stations[1].parts[0].kind"},
		{"a part without length", func(b *Board) { b.People[1].Parts[0].To = b.People[1].Parts[0].From }, "people[1].parts[0].to"},
		{"a limit before its check", func(b *Board) { b.People[0].Parts[3].Latest = ptr(on11June(10, 0)) }, "people[0].parts[3].latest"},
		{"a limit without check", func(b *Board) { b.People[0].Parts[0].Latest = ptr(on11June(10, 0)) }, "people[0].parts[0].latest"},
		{"a break that ends first", func(b *Board) { b.People[0].Breaks[0].To = b.From }, "people[0].breaks[0].to"},
		{"a core that ends first", func(b *Board) { b.People[0].Core[0].To = b.From }, "people[0].core[0].to"},
		{"too many parts", func(b *Board) { b.People[0].Parts = make([]Part, 501) }, "people[0].parts"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b := straighteningBoard()
			tt.change(&b)
			err := RenderBoard(io.Discard, b)
			faults, ok := errors.AsType[scheduling.Faults](err)
			require.True(t, ok, "%v", err)
			require.Equal(t, tt.field, faults[0].Field)
			require.NotEmpty(t, faults[0].Want)
		})
	}
}

// zipped returns how long b is after gzip.
func zipped(t *testing.T, b []byte) int {
	t.Helper()
	var buf bytes.Buffer
	z := gzip.NewWriter(&buf)
	_, err := z.Write(b)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return buf.Len()
}

func TestPagesStaySmall(t *testing.T) {
	const kb = 1024
	board := zipped(t, boardPage(t, fullBoard()))
	t.Logf("board of 6 people and 18 parts each: %d bytes after gzip", board)
	require.Less(t, board, 15*kb)
	css := zipped(t, assetsByPath[AssetPath("page.css")].body)
	js := zipped(t, assetsByPath[AssetPath("board.js")].body)
	t.Logf("style sheet %d, script %d bytes after gzip", css, js)
	require.Less(t, css+js, 10*kb)
}

func BenchmarkRenderBoard(b *testing.B) {
	board := fullBoard()
	b.ReportAllocs()
	for b.Loop() {
		if err := RenderBoard(io.Discard, board); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkBoardSVG(b *testing.B) {
	board := fullBoard()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := board.SVG(); err != nil {
			b.Fatal(err)
		}
	}
}
