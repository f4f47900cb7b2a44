package pages

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

func TestCleanKeepsNamesAndDropsWhatIsNotText(t *testing.T) {
	for in, want := range map[string]string{
		"  Ada \t Lovely\n":         "Ada Lovely",
		"a\x00b\x1fc":               "abc",
		"\u202eevil\u2066":          "evil",
		"\xff":                      "\ufffd",
		"Ναυσικᾶ 中村 👩‍🦱":            "Ναυσικᾶ 中村 👩‍🦱",
		"z\u0301\u0302\u0303\u0304": "z\u0301\u0302\u0303",
		"\ufffe\uffff":              "",
		"":                          "",
		" ":                         "",
		"a ":                        "a",
		"a  b":                      "a b",
		"a\x7f":                     "a",
		"a b~":                      "a b~",
	} {
		require.Equal(t, want, clean(in), "%q", in)
	}
	require.Equal(t, maxText+1, utf8.RuneCountInString(clean(strings.Repeat("x", 5000))))
}

func TestTextAtTheLimitIsKeptAndLongerTextIsCut(t *testing.T) {
	s := strings.Repeat("x", maxText)
	require.Equal(t, s, clean(s))
	require.Equal(t, s+"…", clean(s+"x"))
}

func TestNamesFromRightToLeftAreSetApart(t *testing.T) {
	require.Equal(t, "\u2068ליאור כ.\u2069", whose("ליאור כ."))
	require.Equal(t, "\u2068ياسمين ع.\u2069", whose("\u202bياسمين ع.\u202c"))
	require.Equal(t, "Bo Q.", whose(" Bo Q."))
	w, sure := textWidth(whose("ליאור כ."), 12, true)
	bare, _ := textWidth("ליאור כ.", 12, true)
	require.True(t, sure)
	require.InDelta(t, bare, w, 1e-9, "the marks draw nothing")
}

func TestShortenedTextFits(t *testing.T) {
	for _, s := range []string{"consultation and prepare", "WWWWWWWWWW", "中村中村中村", "a, b", ""} {
		for width := 0.0; width < 200; width += 3.7 {
			got := shorten(s, 11, true, width)
			w, _ := textWidth(got, 11, true)
			require.LessOrEqual(t, w, max(width, 0))
			if got != s && got != "" {
				require.True(t, strings.HasSuffix(got, "…"), got)
				require.True(t, strings.HasPrefix(s, strings.TrimRight(strings.TrimSuffix(got, "…"), " ")), got)
			}
		}
	}
}

func TestNamesWrapAtSpacesAndHyphens(t *testing.T) {
	require.Equal(t, []string{"Dorothea-", "Wilhelmine"}, wrapName("Dorothea-Wilhelmine", 15, 3))
	require.Equal(t, []string{"Ada Lovely"}, wrapName("Ada Lovely", 15, 3))
	for _, row := range wrapName(strings.Repeat("Maximiliana ", 9), 15, 3) {
		w, _ := textWidth(row, 15, true)
		require.LessOrEqual(t, w, nameWidth)
	}
	require.Len(t, wrapName(strings.Repeat("Maximiliana ", 9), 15, 3), 3)
	require.Empty(t, wrapName("", 15, 3))
}

func TestACapitalStandsInFrontOfAnyText(t *testing.T) {
	for in, want := range map[string]string{"": "", "late": "Late", "émile is quick": "Émile is quick", "“999” cannot be": "“999” cannot be", "ßa": "ßa", "\xffx": "\ufffdx"} {
		require.Equal(t, want, Capital(in))
	}
}
