package screening_test

import (
	"errors"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/scheduling/screening"
)

func TestTheFormAsksEverythingOnceAndSaysWhatFor(t *testing.T) {
	f := form(t)
	seen := map[string]bool{}
	for _, q := range f.Questions {
		require.Regexp(t, `^[a-z][a-z0-9_]{1,30}$`, q.ID)
		require.False(t, seen[q.ID], q.ID)
		seen[q.ID] = true
		require.True(t, strings.HasSuffix(q.Text, "?"), q.ID)
		require.NotEmpty(t, q.For, q.ID)
		require.Equal(t, q.Kind == screening.Choice, len(q.Choices) > 0, q.ID)
		require.False(t, q.Optional && q.Kind != screening.Text, q.ID)
		if q.After != "" {
			require.True(t, seen[q.After], "%s is asked before what it belongs to", q.ID)
		}
		for _, r := range q.Rules {
			require.NotEmpty(t, r.Source, q.ID)
			require.False(t, r.Lift && (r.Level != screening.DoNotBook || !r.StrandTest), q.ID)
			for _, on := range r.On {
				require.True(t, slices.ContainsFunc(q.Choices, func(o screening.Option) bool { return o.ID == on }), q.ID)
			}
		}
	}
	for _, version := range []int{0, 2, -1} {
		_, ok := screening.NewForm(1, version, nil)
		require.False(t, ok)
	}
	plainForm, ok := screening.NewForm(1, screening.Newest, nil)
	require.True(t, ok)
	require.Len(t, plainForm.Questions, len(f.Questions)-2, "forms do not share their questions")
}

func TestNobodyIsAskedWhereTheyComeFrom(t *testing.T) {
	f := form(t)
	words := regexp.MustCompile(`(?i)ethni|\brace\b|racial|origin|nationality|ancest|countr|born|skin colou?r|heritage`)
	for _, q := range f.Questions {
		require.NotRegexp(t, words, q.Text+q.For)
	}
	for _, text := range []string{"What is your ethnic background?", "Your nationality?", "Of which race are you?", "Country of origin?", "Which ancestry?", "Skin colour?"} {
		require.Equal(t, []string{"[0].text"}, fields(screening.CheckOwn([]screening.Own{{Text: text, Level: screening.Ask}})), text)
	}
}

// fields names the places of faults.
func fields(err error) []string {
	list, _ := errors.AsType[scheduling.Faults](err)
	var out []string
	for _, e := range list {
		out = append(out, e.Field)
	}
	return out
}

func TestQuestionsOfTheSalonsOwnAreChecked(t *testing.T) {
	own := func(n int) []screening.Own {
		var out []screening.Own
		for i := range n {
			out = append(out, screening.Own{Text: "Question " + string(rune('a'+i)) + "?", Level: screening.Ask})
		}
		return out
	}
	require.NoError(t, screening.CheckOwn(nil))
	require.NoError(t, screening.CheckOwn(own(screening.MaxOwn)))
	require.Equal(t, []string{""}, fields(screening.CheckOwn(own(screening.MaxOwn+1))))
	require.NoError(t, screening.CheckOwn([]screening.Own{{Text: strings.Repeat("é", 200), Level: screening.DoNotBook}}))
	got := fields(screening.CheckOwn([]screening.Own{
		{Text: " ", Level: screening.Ask}, {Text: strings.Repeat("é", 201), Level: screening.Ask}, {Text: "a\x00b", Level: screening.Ask}, {Text: "Why?", Level: screening.Clear},
		{Text: " why?", Level: "perhaps"}, {Text: "a\xffb?", Level: screening.Ask},
	}))
	require.Equal(t, []string{"[0].text", "[1].text", "[2].text", "[3].outcome", "[4].text", "[4].outcome", "[5].text"}, got)
}

func TestEveryFaultOfTheAnswersIsNamedWithoutTheAnswer(t *testing.T) {
	f := form(t)
	secret := "zqsecret"
	tests := []struct {
		name   string
		change map[string]string
		want   []string
	}{
		{"all right", nil, nil},
		{"unknown answer", map[string]string{"perm": secret}, []string{"answer"}},
		{"empty answer", map[string]string{"perm": ""}, []string{"answer"}},
		{"unknown choice", map[string]string{"keeps_dry": secret}, []string{"answer"}},
		{"a yes where a choice is asked", map[string]string{"straightened": "yes"}, []string{"answer"}},
		{"no date", map[string]string{"last_wash": secret}, []string{"answer"}},
		{"a day that does not exist", map[string]string{"last_wash": "2026-02-30"}, []string{"answer"}},
		{"another way to write a day", map[string]string{"last_wash": "20260607"}, []string{"answer"}},
		{"tomorrow", map[string]string{"last_wash": "2026-06-09"}, []string{"answer"}},
		{"too long ago", map[string]string{"last_wash": "2006-06-07"}, []string{"answer"}},
		{"too long a text", map[string]string{"wanted": strings.Repeat("é", screening.MaxText+1)}, []string{"answer"}},
		{"ten thousand characters", map[string]string{"details": strings.Repeat(secret, 1250)}, []string{"answer"}},
		{"a control character", map[string]string{"wanted": secret + "\x07"}, []string{"answer"}},
		{"bytes that are no text", map[string]string{"wanted": secret + "\xff"}, []string{"answer"}},
		{"an empty text", map[string]string{"wanted": " \n"}, []string{"answer"}},
		{"missing", map[string]string{"perm": "-"}, []string{""}},
		{"two missing", map[string]string{"perm": "-", "own_2": "-"}, []string{"", ""}},
		{"an optional text is left out", map[string]string{"details": "-"}, nil},
		{"a date without its question", map[string]string{"coloured_on": "2026-01-01"}, []string{"answer"}},
		{"an unknown question", map[string]string{secret: "yes"}, []string{"question"}},
		{"nothing and something", map[string]string{"where_done": "nothing_done", "bleach": "yes"}, []string{"answer"}},
		{"nothing, and not sure of something", map[string]string{"where_done": "nothing_done", "bleach": "not_sure"}, nil},
		{"three at once", map[string]string{"perm": secret, "bleach": secret, "wanted": ""}, []string{"answer", "answer", "answer"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			answers := said(tt.change)
			_, err := screening.Judge(f, answers, today)
			var got []string
			for _, field := range fields(err) {
				_, name, _ := strings.Cut(field, ".")
				got = append(got, name)
			}
			require.Equal(t, tt.want, got, "%v", err)
			if err != nil {
				require.NotContains(t, err.Error(), secret)
			}
		})
	}
	twice := append(said(nil), screening.Answer{Question: "perm", Text: "yes"})
	require.Equal(t, []string{"[32].question"}, fields(f.Check(twice, today)))
	many := make([]screening.Answer, 1000)
	require.Equal(t, []string{""}, fields(f.Check(many, today)))
	coloured := plain()
	coloured["colour"], coloured["where_done"] = "yes", "salon"
	missing := f.Check(list(coloured), today)
	require.ErrorContains(t, missing, "lacks the answer to coloured_on")
	lost := f.Check(nil, today)
	require.Len(t, lost, len(f.Questions)-2, "all at once: all but the optional text and the date that is not asked")
}
