package ics

import (
	"bytes"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/emersion/go-ical"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// hostile draws texts from what breaks calendars: separators, line ends of all
// kinds, controls, marks, wide characters, whole content lines, broken UTF-8.
func hostile() *rapid.Generator[string] {
	piece := rapid.OneOf(
		rapid.String(),
		rapid.SampledFrom([]string{
			"\r\n", "\r", "\n", "\x00", "\a", "\t", "\u2028", "\u0085", "\ufeff", "\ufffd", "\xff\xfe", "\xe2\x82",
			`\`, `\n`, ";", ",", ":", `"`, "^", "^n", " ", "  ", "<b>", "%0d%0a",
			"BEGIN:VEVENT\r\n", "\r\nEND:VEVENT", "\r\nATTENDEE:mailto:x@example.org", "\r\n ",
			"é", "ß", "漢字", "👩🏽‍🦱", "\u202e", "שלום", "e\u0301", strings.Repeat("ü", 40), strings.Repeat("x", 80),
		}),
	)
	return rapid.Custom(func(t *rapid.T) string {
		return strings.Join(rapid.SliceOfN(piece, 0, 12).Draw(t, "pieces"), "")
	})
}

func TestHostileTextComesBackCleanFromAnotherReader(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := sample()
		e := &c.Events[0]
		e.Summary = "x" + hostile().Draw(t, "summary")
		e.Description = hostile().Draw(t, "description")
		e.Location = hostile().Draw(t, "location")
		e.Categories = []string{"a" + hostile().Draw(t, "category"), "b"}
		c.Name = "n" + hostile().Draw(t, "name")
		out := encode(t, c)
		requireLines(t, out)

		cal, err := ical.NewDecoder(bytes.NewReader(out)).Decode()
		require.NoError(t, err)
		require.Len(t, cal.Children, 1+len(c.Events))
		read := cal.Children[1].Props
		for name, want := range map[string]string{
			ical.PropSummary: oneLine(e.Summary), ical.PropDescription: clean(e.Description), ical.PropLocation: oneLine(e.Location),
		} {
			got, err := read.Text(name)
			require.NoError(t, err)
			require.Equal(t, want, got)
		}
		list, err := read.Get(ical.PropCategories).TextList()
		require.NoError(t, err)
		require.Equal(t, []string{oneLine(e.Categories[0]), "b"}, list)
		name, err := cal.Props.Text(ical.PropName)
		require.NoError(t, err)
		require.Equal(t, oneLine(c.Name), name)
	})
}

// requireLines checks the rules of RFC 5545 section 3.1 on the octets.
func requireLines(t require.TestingT, out []byte) {
	require.True(t, bytes.HasSuffix(out, []byte("\r\n")))
	for line := range bytes.SplitSeq(bytes.TrimSuffix(out, []byte("\r\n")), []byte("\r\n")) {
		require.LessOrEqual(t, len(line), 75, "%q", line)
		require.NotEmpty(t, bytes.TrimLeft(line, " "), "empty line")
		require.True(t, utf8.Valid(line), "folded inside a character: %q", line)
		require.False(t, bytes.ContainsFunc(line, func(r rune) bool { return r != '\t' && unicode.IsControl(r) }), "%q", line)
	}
}

func TestFoldedLinesUnfoldToThemselves(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		line := "X:" + strings.NewReplacer("\r", "", "\n", "").Replace(rapid.String().Draw(t, "value"))
		line += strings.Repeat(rapid.SampledFrom([]string{"a", "é", "漢", "👩"}).Draw(t, "tail"), rapid.IntRange(0, 120).Draw(t, "n"))
		var f folder
		n, err := f.Write([]byte(line + "\r\n"))
		require.NoError(t, err)
		require.Equal(t, len(line)+2, n)
		require.Equal(t, line+"\r\n", strings.ReplaceAll(f.out.String(), "\r\n ", ""))
		for physical := range strings.SplitSeq(strings.TrimSuffix(f.out.String(), "\r\n"), "\r\n") {
			require.LessOrEqual(t, len(physical), 75)
			require.True(t, utf8.ValidString(physical))
		}
	})
}

func TestLineIsFoldedAtExactly75Octets(t *testing.T) {
	for _, tt := range []struct {
		name string
		n    int
		want []int
	}{
		{"75 stay", 75, []int{75}},
		{"76 are two lines", 76, []int{75, 2}},
		{"149 fill both", 149, []int{75, 75}},
		{"150 are three", 150, []int{75, 75, 2}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var f folder
			_, _ = f.Write([]byte(strings.Repeat("x", tt.n) + "\r\n"))
			var got []int
			for line := range strings.SplitSeq(strings.TrimSuffix(f.out.String(), "\r\n"), "\r\n") {
				got = append(got, len(line))
			}
			require.Equal(t, tt.want, got)
		})
	}
}

func TestBrokenUTF8IsStillFolded(t *testing.T) {
	var f folder
	_, _ = f.Write(bytes.Repeat([]byte{0x80}, 200))
	require.Equal(t, 200, bytes.Count(f.out.Bytes(), []byte{0x80}))
}

func TestTextExampleOfRFC5545Section3311(t *testing.T) {
	require.Equal(t, `Project XYZ Final Review\nConference Room - 3B\nCome Prepared.`,
		escape(clean("Project XYZ Final Review\r\nConference Room - 3B\r\nCome Prepared.")))
	require.Equal(t, `a\;b\,c\\d:e`, escape(`a;b,c\d:e`), "a colon is never escaped")
}

func TestCleanText(t *testing.T) {
	for _, tt := range []struct{ name, in, want string }{
		{"nothing to do", "Prep and apply", "Prep and apply"},
		{"line ends of three systems", "a\r\nb\rc\nd", "a\nb\nc\nd"},
		{"separators that some readers split at", "a\u2028b\u2029c", "a\nb\nc"},
		{"controls", "a\x00b\x07c\x7fd\u0085e", "abcde"},
		{"a tab is allowed", "a\tb", "a\tb"},
		{"broken UTF-8", "a\xffb\xe2\x82", "ab"},
		{"marks", "\ufeffa\ufffdb", "ab"},
		{"white space around", " \n a \r\n", "a"},
		{"only controls", "\x01\x02", ""},
	} {
		t.Run(tt.name, func(t *testing.T) { require.Equal(t, tt.want, clean(tt.in)) })
	}
	require.Equal(t, "a b c", oneLine("a\r\nb\t c"))
}
